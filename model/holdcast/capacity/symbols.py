"""The type of what the model is written in."""

from typing import Any

__all__ = ["Tensor"]

Tensor = Any
"""A PyTensor variable, or a number or array in its place; the library gives no types of its own."""
