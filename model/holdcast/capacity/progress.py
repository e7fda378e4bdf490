"""Telling a person what is being done."""

from collections.abc import Callable

__all__ = ["Progress", "silent"]

Progress = Callable[[str], None]
"""Takes one line that says what is being done."""


def silent(line: str) -> None:
    """Show nothing: the progress of a library call that asked for none."""
