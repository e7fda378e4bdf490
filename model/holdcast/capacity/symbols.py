"""What the model is written in: types, and names that only serve sampling."""

from typing import Any

__all__ = ["Compiled", "Tensor", "only_serves_sampling"]

Tensor = Any
"""A PyTensor variable, or a number or array in its place; the library gives no types of its own."""

Compiled = Any
"""A function or type of the compiler, or the sampler's object around one; those libraries give no types."""


def only_serves_sampling(name: object) -> bool:
    """Return whether a variable is a standard normal or beta behind another one, which says all it does."""
    return str(name).endswith(("_z", "_unit"))
