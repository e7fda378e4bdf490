"""What pictures are drawn on: our own style, pages with head and foot, files. Matplotlib lives here."""

import io
import re
import warnings
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import text_to_path

from holdcast.show.figures.lean_svg import lean_svg
from holdcast.show.figures.panel import INK, SOFT
from holdcast.show.figures.picture_measures import (
    LINE_PITCH,
    MARGIN,
    PNG_DPI,
    Format,
    Line,
    height_of,
    wrap_to,
)
from holdcast.show.figures.sheet import PictureSize
from holdcast.show.text.cautions import CAUTION_OF_PICTURES, CAUTIONS
from holdcast.show.text.sentences import verdict_heading
from holdcast.show.text.text_columns import plain

__all__ = [
    "AIR",
    "blank_figure",
    "broken_lines",
    "drop_figure",
    "foot_lines",
    "free_height",
    "head_lines",
    "inches",
    "open_page",
    "own_style",
    "place_axes",
    "save_as",
    "svg_text",
    "write_figure",
    "write_in_sizes",
    "write_lines",
]

AIR = 0.12
"""Between the head and what stands below it [inches]."""

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


def blank_figure(width: float, height: float, dpi: int = PNG_DPI) -> Figure:
    """Return a white figure of a size [inches] with an Agg canvas of its own."""
    figure = Figure(figsize=(width, height), facecolor="white", dpi=dpi)
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
    return lines + (broken_lines(text, form.room, form.small_points, colour=SOFT) if text else [])


def foot_lines(form: Format, texts: Sequence[str], order: str = "") -> list[Line]:
    """Return what stands below the panels: the order of the rows, the texts, the last of them softer.

    A paper of a fixed height has the short caution for the whole ones.
    """
    if form.height is not None:
        texts = [text.replace(" ".join(CAUTIONS), CAUTION_OF_PICTURES) for text in texts]
    points = form.small_points
    lines = broken_lines(order, form.room, points, "bold") if order else []
    for number, text in enumerate(texts, start=1):
        last = number == len(texts)
        size = points - 0.5 if last and form.height is not None else points
        lines += broken_lines(text, form.room, size, colour=SOFT if last else INK)
    return lines


def open_page(form: Format, head: list[Line], foot: list[Line], body: float) -> tuple[Figure, float]:
    """Return a page with head and foot written around a body of a height [inches], and where that begins.

    The foot of a page of a fixed height stands at its lower edge.
    """
    height = form.height or 2 * MARGIN + height_of(head) + AIR + body + height_of(foot)
    figure = blank_figure(form.width, height, form.dpi)
    begin = write_lines(figure, head, MARGIN) + AIR
    write_lines(figure, foot, begin + body if form.height is None else height - MARGIN - height_of(foot))
    return figure, begin


def free_height(form: Format, head: list[Line], foot: list[Line]) -> float:
    """Return what head and foot leave of a page of a fixed height [inches].

    Raises
    ------
    ValueError
        When the page is as tall as what stands on it.
    """
    if form.height is None:
        raise ValueError("this paper has no fixed height")
    return form.height - 2 * MARGIN - height_of(head) - AIR - height_of(foot)


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
        figure.savefig(buffer, format="png", dpi="figure", metadata={"Software": "holdcast"})
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


def write_in_sizes(
    draw: Callable[[PictureSize], list[Figure]], folder: Path, name: str, sizes: Sequence[PictureSize]
) -> list[Path]:
    """Write pictures of fixed shapes as ``NAME-wide.svg``, or ``NAME-wide-1.svg`` and so on; return paths.

    Those of an earlier answer go: they show something else, and may be more.
    """
    written: list[Path] = []
    _drop_sizes(folder, name)
    for size in dict.fromkeys(sizes):
        figures = draw(size)
        for number, figure in enumerate(figures, start=1):
            page = f"-{number:0{len(str(len(figures)))}d}" if len(figures) > 1 else ""
            written += write_figure(figure, folder, f"{name}-{size}{page}")
    return written


def drop_figure(folder: Path, name: str) -> None:
    """Remove the pictures of an earlier answer, where this one has nothing to draw."""
    _drop_sizes(folder, name)
    for suffix in ("svg", "png"):
        (folder / f"{name}.{suffix}").unlink(missing_ok=True)


def _drop_sizes(folder: Path, name: str) -> None:
    """Remove the pictures of fixed shapes that a name has."""
    of_name = re.compile(rf"{re.escape(name)}-(wide|square|phone)(-\d+)?\.(svg|png)")
    for path in folder.glob("*"):
        if of_name.fullmatch(path.name):
            path.unlink()
