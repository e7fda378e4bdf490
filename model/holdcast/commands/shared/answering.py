"""What the commands that answer a question share: loading, the mark of a bad verdict, files written whole."""

import math
import re
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from holdcast.commands.folders.package import describe_new_tables
from holdcast.commands.folders.results import write_whole
from holdcast.commands.shared.common import InputError, progress, say
from holdcast.show.figures.sheet import PictureSize
from holdcast.show.text.cautions import CAUTIONS
from holdcast.show.text.sentences import approximate_sentence, provenance_sentence, verdict_heading
from holdcast.show.text.text_columns import terminal_width, wrap

if TYPE_CHECKING:
    import pandas as pd

    from holdcast.capacity.fitting import Fit
    from holdcast.show.figures.sheet import Sheet

__all__ = [
    "Everything",
    "Picture",
    "PictureSizes",
    "Results",
    "Seabeds",
    "ask",
    "finite_or_none",
    "marks_of",
    "records",
    "say_answer",
    "say_drawn",
    "say_reading",
    "say_sheet",
    "say_written",
    "shown_units",
    "wrapped",
    "write_csv",
]

Seabeds = Annotated[list[str] | None, typer.Option("--seabed", help="A seabed; may be given again.")]
Results = Annotated[
    Path, typer.Argument(help="Folder of results, as written by holdcast fit.", show_default=False)
]


Everything = Annotated[
    bool, typer.Option("--all", help="Print every row on the screen, not the short answer.")
]


Picture = Annotated[
    bool, typer.Option("--picture", help="Draw the picture too: SVG and PNG, in the results' folder figures.")
]


PictureSizes = Annotated[
    list[PictureSize] | None,
    typer.Option(
        "--picture-size",
        help="Draw the picture, and those for a film or a web page: wide (16:9), square or phone (9:16); "
        "may be given again.",
    ),
]


def say_reading(*folders: Path) -> None:
    """Say which results are being read: libraries and draws take some seconds."""
    progress(f"reading {' and '.join(map(str, folders))}: some seconds")


def say_written(paths: Iterable[Path]) -> None:
    """Name the pictures and files that were written, one a line; numbered ones by the first and the last."""
    series: dict[str, list[Path]] = {}
    for path in paths or ():
        series.setdefault(re.sub(r"-\d+(\.\w+)$", r"-\1", str(path)), []).append(path)
    for first, *others in series.values():
        progress(f"wrote {first}" + (f" to {others[-1].name}" if others else ""))


def say_drawn(
    draw: "Callable[[Sequence[PictureSize]], Iterable[Path]]",
    picture: bool,
    sizes: "Sequence[PictureSize] | None",
) -> None:
    """Draw where a picture was asked for, and name it: the libraries that draw take a second to load.

    Parameters
    ----------
    draw : callable
        Takes the shapes to draw beside the usual picture; returns the files written.
    picture : bool
        Whether the usual picture was asked for.
    sizes : sequence of {"wide", "square", "phone"}, optional
        Shapes asked for; with any of them comes the usual picture.
    """
    if picture or sizes:
        say_written(draw(sizes or ()))


def say_sheet(
    sheet: "Callable[[], Sheet]",
    results: Path,
    name: str,
    picture: bool,
    sizes: "Sequence[PictureSize] | None",
) -> None:
    """Draw an answer's sheet into the results' figures where a picture was asked for, and name it.

    Parameters
    ----------
    sheet : callable
        Returns what is to be drawn.
    results : Path
    name : str
        Of the picture's files.
    picture, sizes
        As for :func:`say_drawn`.
    """

    def draw(shapes: "Sequence[PictureSize]") -> list[Path]:
        from holdcast.show.figures.intervals import save_figure

        return save_figure(sheet(), results / "figures", name, shapes)

    say_drawn(draw, picture, sizes)


def ask[Answer](question: Callable[[], Answer]) -> Answer:
    """Return the answer to a question; a wrong label or value becomes bad input, in its own words.

    Raises
    ------
    InputError
        For an unknown label (KeyError) or a value that is not allowed (ValueError).
    """
    try:
        return question()
    except KeyError as error:
        raise InputError(str(error.args[0]) if error.args else str(error)) from error
    except ValueError as error:
        raise InputError(str(error)) from error


def shown_units(fit: "Fit", units: str | None) -> str:
    """Return the units of the screen: those asked for, else those of the fitted campaign."""
    return units or str(fit.tree.attrs.get("units", "si"))


def say_answer(
    fit: "Fit",
    lines: Iterable[str],
    *,
    with_cautions: bool = True,
    marks: Sequence[str] | None = None,
) -> None:
    """Print an answer: first the marks, last the cautions and where it comes from.

    Lines are printed as they are; wrap sentences before.  ``marks`` replaces what :func:`marks_of` says, for
    an answer that rests on more than one fit.
    """
    width = terminal_width()
    for line in (*wrapped(marks_of(fit) if marks is None else marks), *lines):
        say(line)
    say("")
    for text in (" ".join(CAUTIONS) if with_cautions else "", provenance_sentence(fit.tree.attrs)):
        if text:
            say("\n".join(wrap(text, width)))


def marks_of(fit: "Fit") -> list[str]:
    """Return what must be said before any number of a fit: that it is unreliable, or a quick one."""
    unreliable = [] if fit.verdict.ok else [verdict_heading(False)]
    return [*unreliable, approximate_sentence()] if fit.verdict.approximate else unreliable


def write_csv(table: "pd.DataFrame", path: Path, *, approximate: bool) -> None:
    """Write a table beside its place and move it there, so that a half-written file is never seen.

    The table of a quick fit begins with a column that says so in every row; that of a full fit has none.

    Raises
    ------
    OSError
        When the folder cannot be written.
    """
    from holdcast.show.text.cells_csv import table_csv

    write_whole(path, table_csv(table, approximate=approximate))
    describe_new_tables(path.parent)
    say_written([path])


def records(table: "pd.DataFrame") -> list[dict[str, object]]:
    """Return rows for JSON: plain numbers and text, no value as null."""
    return [
        {str(name): finite_or_none(value) for name, value in zip(table.columns, row, strict=True)}
        for row in table.astype(object).itertuples(index=False, name=None)
    ]


def finite_or_none(value: object) -> object:
    """Return a number, text or truth value as plain Python; NaN and infinities as None."""
    plain = value.item() if hasattr(value, "item") else value
    return None if isinstance(plain, float) and not math.isfinite(plain) else plain


def wrapped(sentences: Sequence[str]) -> list[str]:
    """Return sentences as lines of the terminal's width."""
    return [line for text in sentences for line in wrap(text, terminal_width())]
