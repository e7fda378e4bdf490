"""The command predict: capacity for any anchor, size, seabed and scope asked for."""

from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from holdcast.commands.shared.answering import (
    Picture,
    PictureSizes,
    Results,
    ask,
    records,
    say_answer,
    say_drawn,
    say_reading,
    shown_units,
    wrapped,
    write_csv,
)
from holdcast.commands.shared.common import AsJson, InputError, Units, say_json, show_findings, warn

if TYPE_CHECKING:
    import pandas as pd

    from holdcast.capacity import Fit
    from holdcast.show.figures.sheet import PictureSize, Sheet

__all__ = ["predict"]

_MOST_ROWS = 80
"""Most rows of a figure that stay readable."""
_COLUMN_OF_ANSWERS = "capacity_n_q50"
"""A column that a table of answers has, and no file of a tester's."""
_LONGEST_HEADER = 10_000
"""Characters of a file's first line that are looked at."""

Requests = Annotated[
    Path,
    typer.Argument(
        help="CSV file: request, a known anchor or a new one by the columns of anchors.csv, a known seabed "
        "or a new one by those of seabeds.csv, perhaps scope, rode, depth.",
        show_default=False,
    ),
]
Out = Annotated[Path | None, typer.Option("--out", help="Write the answers to this CSV file, in SI units.")]
SkipBad = Annotated[bool, typer.Option("--skip-bad", help="Answer the good requests and list the bad ones.")]


def predict(
    results: Results,
    requests: Requests,
    out: Out = None,
    skip_bad: SkipBad = False,
    picture: Picture = False,
    picture_size: PictureSizes = None,
    units: Units = None,
    as_json: AsJson = False,
) -> None:
    """Predict capacity, one new pull and chances of setting for any anchor, size, seabed and scope asked for.

    A new anchor, size or seabed brings its own uncertainty; the answer says on what it rests.

    Example: holdcast predict my-campaign/results requests.csv --out answers.csv
    """
    say_reading(results)
    from holdcast.answers.predict.predict import predict as answer_requests
    from holdcast.capacity import load
    from holdcast.show.views.predict import (
        prediction_lines,
        prediction_sentences,
        prediction_sheet,
        prediction_table,
        setting_lines,
    )

    if out is not None:
        _check_out(out, requests)
    fit = load(results)
    screen = shown_units(fit, units)
    rows = _read(fit, requests, skip_bad=skip_bad)
    answer = ask(lambda: answer_requests(fit, rows))
    table = prediction_table(answer)
    if out is not None:
        write_csv(table, out, approximate=fit.verdict.approximate)
    sheet = partial(prediction_sheet, answer, table, screen, reliable=fit.verdict.ok)
    say_drawn(partial(_draw, sheet, results / "figures"), picture, picture_size)
    if as_json:
        say_json({"ok": fit.verdict.ok, "approximate": fit.verdict.approximate, "answers": records(table)})
        return
    tables = [*prediction_lines(table, screen), "", *setting_lines(table), ""]
    say_answer(fit, [*tables, *wrapped(prediction_sentences(table, screen))])


def _check_out(out: Path, requests: Path) -> None:
    """Refuse to replace anything but answers, before any work.

    Raises
    ------
    InputError
        When the folder is not there, or the file holds something else.
    """
    if not out.parent.is_dir():
        raise InputError(f"--out {out}: there is no folder {out.parent}; make it, or name another file")
    if out.is_dir():
        raise InputError(f"--out {out} is a folder; name a file in it")
    if not out.exists():
        return
    with out.open(encoding="utf-8", errors="replace") as file:
        holds_answers = _COLUMN_OF_ANSWERS in file.readline(_LONGEST_HEADER).strip().split(",")
    if not holds_answers or (requests.exists() and out.samefile(requests)):
        raise InputError(
            f"{out} holds something other than predict's answers, which would be lost; name another file"
        )


def _read(fit: "Fit", requests: Path, *, skip_bad: bool) -> "pd.DataFrame":
    from holdcast.answers.draws.rode import rode_table
    from holdcast.campaign.requests import KnownNames, read_requests
    from holdcast.capacity.log_tables import log_table

    anchors, seabeds = (log_table(fit.tree, name) for name in ("anchors", "seabeds"))
    names = KnownNames(anchors, seabeds, list(rode_table(fit).index))
    rows, findings = read_requests(requests, names, skip_bad=skip_bad)
    show_findings(findings)
    return rows


def _draw(sheet_of: "Callable[[], Sheet]", folder: Path, shapes: "Sequence[PictureSize]") -> list[Path]:
    from holdcast.show.figures.intervals import drop_figure, save_figure

    sheet = sheet_of()
    if len(sheet.names) > _MOST_ROWS:
        drop_figure(folder, "predict")
        warn(f"  no picture: more than {_MOST_ROWS} requests do not fit one")
        return []
    return save_figure(sheet, folder, "predict", shapes)
