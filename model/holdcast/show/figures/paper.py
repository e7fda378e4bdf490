"""What pictures are drawn on: our own style, text by inches, files. Matplotlib lives here."""

import io
import warnings
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import text_to_path

from holdcast.show.figures.layout import wrap_to
from holdcast.show.figures.panel import INK
from holdcast.show.figures.plan import LINE_PITCH, MARGIN, Line
from holdcast.show.text.layout import plain

__all__ = [
    "blank_figure",
    "broken_lines",
    "inches",
    "own_style",
    "place_axes",
    "svg_text",
    "write_figure",
    "write_lines",
]

# Read afresh into every drawing, so that a user's own settings change neither looks nor bytes, and no name is
# ever taken for mathematics.
_STYLE: Mapping[str, Any] = {
    "font.family": "DejaVu Sans",
    "text.parse_math": False,
    "text.usetex": False,
    "svg.fonttype": "path",
    "svg.hashsalt": "holdcast",
    "lines.dashed_pattern": (2.6, 1.6),
}
_FONT = "DejaVu Sans"
_PNG_DPI = 200


@contextmanager
def own_style() -> Iterator[None]:
    """Draw with our settings alone; a letter the font lacks becomes a box, not a warning."""
    with mpl.rc_context(), warnings.catch_warnings():
        mpl.rcdefaults()
        for name, value in _STYLE.items():
            mpl.rcParams[name] = value  # type: ignore[index]
        warnings.filterwarnings("ignore", message="Glyph .* missing from")
        yield


def inches(text: str, points: float, weight: str = "normal") -> float:
    """Return how wide a text is [inches] in letters of a size [points]."""
    font = FontProperties(family=_FONT, size=points, weight=weight)
    width, _, _ = text_to_path.get_text_width_height_descent(text, font, ismath=False)
    return float(width) / 72


def blank_figure(width: float, height: float) -> Figure:
    """Return a white figure of a size [inches] with an Agg canvas of its own."""
    figure = Figure(figsize=(width, height), facecolor="white")
    FigureCanvasAgg(figure)
    return figure


def place_axes(figure: Figure, left: float, top: float, width: float, height: float) -> Axes:
    """Place axes by inches from the left and from the top."""
    across, down = figure.get_size_inches()
    return figure.add_axes((left / across, 1 - (top + height) / down, width / across, height / down))


def write_lines(figure: Figure, lines: list[Line], depth: float) -> float:
    """Write lines from a depth [inches from the top] downwards; return the depth below them."""
    across, down = figure.get_size_inches()
    for line in lines:
        depth += line.points * LINE_PITCH / 72
        place = (MARGIN / across, 1 - (depth - 0.3 * line.points / 72) / down)
        figure.text(*place, line.text, size=line.points, weight=line.weight, color=line.colour)
    return depth


def svg_text(figure: Figure) -> str:
    """Return a figure as SVG text; the same figure gives the same text."""
    buffer = io.BytesIO()
    with own_style():
        figure.savefig(buffer, format="svg", metadata={"Date": None, "Creator": "holdcast"})
    return buffer.getvalue().decode("utf-8")


def _png(figure: Figure) -> bytes:
    buffer = io.BytesIO()
    with own_style():
        figure.savefig(buffer, format="png", dpi=_PNG_DPI, metadata={"Software": "holdcast"})
    return buffer.getvalue()


def broken_lines(
    text: str, width: float, points: float, weight: str = "normal", colour: str = INK
) -> list[Line]:
    """Return a text broken to a page of a width [inches] with margins on both sides."""
    broken = wrap_to(plain(text), 0.96 * (width - 2 * MARGIN), lambda part: inches(part, points, weight))
    return [Line(line, points, weight, colour) for line in broken]


def write_figure(figure: Figure, folder: Path, name: str) -> list[Path]:
    """Write ``NAME.svg`` and ``NAME.png`` into a folder, made when missing; return their paths."""
    folder.mkdir(parents=True, exist_ok=True)
    svg, png = folder / f"{name}.svg", folder / f"{name}.png"
    svg.write_text(svg_text(figure), encoding="utf-8", newline="\n")
    png.write_bytes(_png(figure))
    return [svg, png]
