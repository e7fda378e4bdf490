"""The one exception of physics, and the checks that raise it."""

from collections.abc import Iterable
from difflib import get_close_matches

import numpy as np

from holdcast.physics.elementwise import Values

__all__ = ["PhysicsError", "known_word", "not_negative", "positive", "within"]


class PhysicsError(ValueError):
    """An argument outside what the physics or a published table allows."""


def _refuse(name: str, values: Values, allowed: Values, requirement: str) -> None:
    """Raise for the first element of `values` for which `allowed` is not true (NaN is never allowed)."""
    allowed_flags = np.atleast_1d(np.asarray(allowed, dtype=bool))
    if allowed_flags.all():
        return
    shown = np.broadcast_to(np.atleast_1d(np.asarray(values, dtype=float)), allowed_flags.shape)
    first = float(shown[~allowed_flags][0])
    raise PhysicsError(f"{name} is {first:g}; it must be {requirement}")


def positive(name: str, values: Values, unit: str) -> None:
    """Raise :class:`PhysicsError` unless every element of `values` is finite and above zero."""
    numbers = np.asarray(values, dtype=float)
    _refuse(name, numbers, np.isfinite(numbers) & (numbers > 0.0), f"above 0 {unit}".strip())


def not_negative(name: str, values: Values, unit: str) -> None:
    """Raise :class:`PhysicsError` unless every element of `values` is finite and zero or above."""
    numbers = np.asarray(values, dtype=float)
    _refuse(name, numbers, np.isfinite(numbers) & (numbers >= 0.0), f"0 {unit} or above".replace("  ", " "))


def within(name: str, values: Values, low: Values, high: Values, unit: str) -> None:
    """Raise :class:`PhysicsError` unless every element lies between `low` and `high`, ends included."""
    numbers = np.asarray(values, dtype=float)
    span = f"between {np.min(low):g} and {np.max(high):g} {unit}".strip()
    _refuse(name, numbers, (numbers >= low) & (numbers <= high), span)


def known_word(name: str, word: str, allowed: Iterable[str]) -> str:
    """Return `word` when it is one of `allowed`; otherwise raise an error that names the nearest one."""
    words = [str(choice) for choice in allowed]
    if word in words:
        return word
    nearest = get_close_matches(str(word).lower().replace(" ", "_").replace("-", "_"), words, n=1)
    hint = f"; did you mean '{nearest[0]}'?" if nearest else ""
    raise PhysicsError(f"{name} is '{word}'; it must be one of {', '.join(words)}{hint}")
