"""What the commands that answer a question share: loading, the mark of a bad verdict, files written whole."""

import math
import os
import tempfile
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from holdcast.commands.common import InputError, say, warn
from holdcast.show.cautions import CAUTIONS
from holdcast.show.sentences import provenance_sentence, verdict_heading
from holdcast.show.text_layout import terminal_width, wrap

if TYPE_CHECKING:
    import pandas as pd

    from holdcast.capacity.fitting import Fit

__all__ = ["Results", "Seabeds", "ask", "finite_or_none", "records", "say_answer", "wrapped", "write_csv"]

Seabeds = Annotated[list[str] | None, typer.Option("--seabed", help="A seabed; may be given again.")]
Results = Annotated[
    Path, typer.Argument(help="Folder of results, as written by holdcast fit.", show_default=False)
]


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


def say_answer(fit: "Fit", lines: Iterable[str], *, with_cautions: bool = True) -> None:
    """Print an answer: first the mark when the fit is unreliable, last the cautions and where it comes from.

    Lines are printed as they are; wrap sentences before.
    """
    width = terminal_width()
    if not fit.verdict.ok:
        say("\n".join(wrap(verdict_heading(False), width)))
    for line in lines:
        say(line)
    say("")
    for text in (*(CAUTIONS if with_cautions else ()), provenance_sentence(fit.tree.attrs)):
        say("\n".join(wrap(text, width)))


def write_csv(table: "pd.DataFrame", path: Path) -> None:
    """Write a table beside its place and move it there, so that a half-written file is never seen.

    Raises
    ------
    OSError
        When the folder cannot be written.
    """
    from holdcast.show.cells_csv import as_csv

    handle, name = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="") as file:
            file.write(
                as_csv([str(name) for name in table], table.astype(object).itertuples(index=False, name=None))
            )
        Path(name).chmod(0o644)
        Path(name).replace(path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
    warn(f"  wrote {path}")


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
