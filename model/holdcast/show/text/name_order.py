"""In what order names stand: digits count as numbers."""

import re

__all__ = ["name_order"]


def name_order(name: str) -> tuple[tuple[int, int, str], ...]:
    """Return a sort key that puts "A 5 kg" before "A 10 kg": digits count as numbers, case does not count."""
    parts = re.split(r"([0-9]+)", name.casefold())
    return (*((0, int(part), "") if part.isdecimal() else (1, 0, part) for part in parts), (2, 0, name))
