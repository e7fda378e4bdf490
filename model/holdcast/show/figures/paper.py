"""What pictures are drawn on: our own style, pages with head and foot, files. Matplotlib lives here."""

import io
import warnings
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import text_to_path

from holdcast.show.figures.layout import LINE_PITCH, MARGIN, Format, Line, height_of, wrap_to
from holdcast.show.figures.lean_svg import lean_svg
from holdcast.show.figures.panel import INK, SOFT
from holdcast.show.text.layout import plain
from holdcast.show.text.sentences import verdict_heading

__all__ = [
    "blank_figure",
    "broken_lines",
    "drop_figure",
    "foot_lines",
    "head_lines",
    "inches",
    "open_page",
    "own_style",
    "place_axes",
    "save_as",
    "svg_text",
    "write_figure",
    "write_lines",
]

# Read afresh into every drawing, so that a user's own settings change neither looks nor bytes, and no name is
# ever taken for mathematics.  Text stays text in SVG: it can be searched, copied and read aloud.
_FONT = "DejaVu Sans"
_STYLE: Mapping[str, Any] = {
    "font.family": _FONT,
    "text.parse_math": False,
    "text.usetex": False,
    "svg.fonttype": "none",
    "svg.hashsalt": "holdcast",
    "lines.dashed_pattern": (2.6, 1.6),
}
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


def broken_lines(
    text: str, room: float, points: float, weight: str = "normal", colour: str = INK
) -> list[Line]:
    """Return a text broken to a room [inches]."""
    # A drawn text is up to 3% wider than measured, since pixels snap; hence the air.
    broken = wrap_to(plain(text), 0.96 * room, lambda part: inches(part, points, weight))
    return [Line(line, points, weight, colour) for line in broken]


def head_lines(
    form: Format, title: str, reading: Sequence[str], *, reliable: bool, subtitle: str = ""
) -> list[Line]:
    """Return what stands above the panels: the mark of a bad verdict, the title, how to read the picture."""
    mark = [] if reliable else broken_lines(verdict_heading(False), form.room, form.title_points, "bold")
    lines = mark + broken_lines(title, form.room, form.title_points, "bold")
    lines += broken_lines(subtitle, form.room, form.points + 1.5) if subtitle else []
    text = " ".join(part for part in reading if part)
    return lines + (broken_lines(text, form.room, form.points, colour=SOFT) if text else [])


def foot_lines(form: Format, texts: Sequence[str], order: str = "") -> list[Line]:
    """Return what stands below the panels: the order of the rows, the texts, the last of them softer."""
    lines = broken_lines(order, form.room, form.points, "bold") if order else []
    for number, text in enumerate(texts, start=1):
        lines += broken_lines(text, form.room, form.points, colour=SOFT if number == len(texts) else INK)
    return lines


def open_page(form: Format, head: list[Line], foot: list[Line], body: float) -> tuple[Figure, float]:
    """Return a page with head and foot written around a body of a height [inches], and where that begins."""
    height = 2 * MARGIN + height_of(head) + 0.12 + body + height_of(foot)
    figure = blank_figure(form.width, height)
    begin = write_lines(figure, head, MARGIN) + 0.12
    write_lines(figure, foot, begin + body)
    return figure, begin


def write_lines(figure: Figure, lines: Sequence[Line], depth: float) -> float:
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
    return lean_svg(buffer.getvalue().decode("utf-8"))


def _png(figure: Figure) -> bytes:
    buffer = io.BytesIO()
    with own_style():
        figure.savefig(buffer, format="png", dpi=_PNG_DPI, metadata={"Software": "holdcast"})
    return buffer.getvalue()


def save_as(figure: Figure, path: Path) -> None:
    """Write a figure into a file, PNG or else SVG by its ending."""
    if path.suffix.lower() == ".png":
        path.write_bytes(_png(figure))
    else:
        path.write_text(svg_text(figure), encoding="utf-8", newline="\n")


def write_figure(figure: Figure, folder: Path, name: str) -> list[Path]:
    """Write ``NAME.svg`` and ``NAME.png`` into a folder, made when missing; return their paths."""
    folder.mkdir(parents=True, exist_ok=True)
    paths = [folder / f"{name}.{ending}" for ending in ("svg", "png")]
    for path in paths:
        save_as(figure, path)
    return paths


def drop_figure(folder: Path, name: str) -> None:
    """Remove the picture of an earlier answer, where this one has nothing to draw."""
    for suffix in ("svg", "png"):
        (folder / f"{name}.{suffix}").unlink(missing_ok=True)
