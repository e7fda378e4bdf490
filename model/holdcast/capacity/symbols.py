"""The type of what the model is written in."""

from typing import Any

__all__ = ["Compiled", "Tensor"]

Tensor = Any
"""A PyTensor variable, or a number or array in its place; the library gives no types of its own."""

Compiled = Any
"""A function or type of the compiler, or the sampler's object around one; those libraries give no types."""
