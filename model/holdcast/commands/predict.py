"""holdcast predict: capacity for any anchor, size, seabed and scope asked for."""

from pathlib import Path
from typing import Annotated

import typer

from holdcast.commands.answering import Results, ask, records, say_answer, wrapped, write_csv
from holdcast.commands.common import AsJson, InputError, Units, say_json, show_findings, warn

__all__ = ["predict"]

_MOST_ROWS = 80
"""Most rows of a figure that stay readable."""

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
    units: Units = None,
    as_json: AsJson = False,
) -> None:
    """Answer requests: the capacity and one new pull of any anchor, size, seabed and scope.

    A new anchor, size or seabed brings its own uncertainty; the answer says on what it rests.

    Example: holdcast predict my-campaign/results requests.csv --out answers.csv
    """
    from holdcast.answers.predict import predict as answer_requests
    from holdcast.answers.predict_rode import rode_table
    from holdcast.campaign.requests import KnownNames, read_requests
    from holdcast.capacity import load
    from holdcast.show.interval_figure import save_figure
    from holdcast.show.predict_view import (
        prediction_lines,
        prediction_sentences,
        prediction_sheet,
        prediction_table,
    )

    fit, shown = load(results), units or "si"
    anchors, seabeds = (fit.tree[name].to_dataset().to_dataframe() for name in ("anchors", "seabeds"))
    known = KnownNames(anchors, seabeds, list(rode_table(fit).index))
    rows, findings = read_requests(requests, known, skip_bad=skip_bad)
    show_findings(findings)
    if rows.empty:
        raise InputError(f"{requests} holds no request that can be answered")
    answer = ask(lambda: answer_requests(fit, rows))
    table = prediction_table(answer)
    if out is not None:
        write_csv(table, out)
    if len(table) > _MOST_ROWS:
        warn(f"  no figure: more than {_MOST_ROWS} requests do not fit one")
    else:
        sheet = prediction_sheet(answer, table, shown, reliable=fit.verdict.ok)
        for path in save_figure(sheet, results / "figures", "predict"):
            warn(f"  wrote {path}")
    if as_json:
        say_json({"ok": fit.verdict.ok, "answers": records(table)})
        return
    lines = prediction_lines(table, shown)
    say_answer(fit, [*lines, "", *wrapped(prediction_sentences(table, shown))])
