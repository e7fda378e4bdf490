"""Paths of an SVG in few letters: steps from point to point in hundredths of a point."""

import re
from collections.abc import Iterator

__all__ = ["short_number", "short_path"]

_TOKENS = re.compile(r"[MLQCz]|-?[\d.]+(?:e-?\d+)?")
_POINTS = {"M": 1, "L": 1, "Q": 2, "C": 3}
"""How many points follow a command of the drawing library, all absolute."""


def short_number(value: float) -> str:
    """Return a number to two decimals without what says nothing: "0.50" is ".5"."""
    text = f"{value:.2f}".rstrip("0").rstrip(".").replace("-0.", "-.")
    text = text[1:] if text.startswith("0.") else text
    return "0" if text in ("-", "-0", "") else text


def short_path(path: str, shift: tuple[float, float] = (0.0, 0.0)) -> str:
    """Return a path with the same points, each to a hundredth, as steps from the one before.

    Parameters
    ----------
    path : str
        Absolute commands M, L, Q, C and z, as the drawing library writes them.
    shift : (float, float)
        Added to every point.

    Raises
    ------
    ValueError
        When the path holds any other command.
    """
    if re.search(r"[A-Za-z]", re.sub(r"[MLQCz]|\de-?\d", "", path)):
        raise ValueError(f"a path with commands besides M, L, Q, C and z: {path[:40]!r}")
    parts: list[str] = []
    x = y = start_x = start_y = 0  # hundredths, so that steps do not drift
    for command, points in _commands(path, shift):
        if command == "z":
            parts.append("z")
            x, y = start_x, start_y
        elif command == "M":
            x, y = start_x, start_y = points[0]
            parts.append("M" + _joined([x, y]))
        else:
            steps = [each for px, py in points for each in (px - x, py - y)]
            x, y = points[-1]
            parts.append(_step(command, steps))
    return "".join(parts)


def _commands(path: str, shift: tuple[float, float]) -> Iterator[tuple[str, list[tuple[int, int]]]]:
    tokens = iter(_TOKENS.findall(path))
    for command in tokens:
        yield (
            command,
            [
                (round(100 * (float(next(tokens)) + shift[0])), round(100 * (float(next(tokens)) + shift[1])))
                for _ in range(_POINTS.get(command, 0))
            ],
        )


def _step(command: str, steps: list[int]) -> str:
    if command == "L" and steps[1] == 0:
        return "h" + _joined(steps[:1])
    if command == "L" and steps[0] == 0:
        return "v" + _joined(steps[1:])
    return command.lower() + _joined(steps)


def _joined(hundredths: list[int]) -> str:
    return " ".join(short_number(value / 100) for value in hundredths).replace(" -", "-")
