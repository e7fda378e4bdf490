"""``holdcast evaluate``: how good the bands are on what was hidden."""

import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal, get_args

import typer

from holdcast.commands.folders.locking import only_writer
from holdcast.commands.shared.answering import records
from holdcast.commands.shared.checked_campaign import read_checked, results_folder
from holdcast.commands.shared.common import (
    BAD_VERDICT,
    MACHINE_FAULT,
    AsJson,
    InputError,
    Units,
    progress,
    say,
    say_json,
    show_findings,
    warn,
)
from holdcast.show.text.cautions import CAUTIONS
from holdcast.show.text.plain_table import TableRow, each_row, plain_table
from holdcast.show.text.sentences import UNRELIABLE
from holdcast.show.text.text_columns import terminal_width, wrap

if TYPE_CHECKING:
    import pandas as pd
    import xarray as xr

    from holdcast.campaign.records import Campaign
    from holdcast.evaluate.campaign_refits import RunRefits

__all__ = ["evaluate", "left_out_sentence", "outcomes_file"]

HideKind = Literal["cells", "sizes", "designs", "seabeds"]
Hide = Annotated[HideKind, typer.Option("--hide", help="What each refit hides.")]
Refits = Annotated[int, typer.Option("--refits", min=1, help="Most refits; what to hide is drawn at random.")]
Seed = Annotated[int | None, typer.Option("--seed", min=0, help="The same seed hides the same pulls.")]
Workers = Annotated[
    int,
    typer.Option("--workers", min=1, help="Refits at a time, each in a process of its own on this machine."),
]
Scheduler = Annotated[
    str | None, typer.Option("--scheduler", help="Address of a running Dask scheduler whose workers refit.")
]

_BAR = 16  # characters of the longest bar
MOST_UNRELIABLE = 0.05
"""Share of groups with a high Pareto k beyond which an estimate without refits is not shown (a choice)."""


def evaluate(
    campaign: Annotated[
        Path, typer.Argument(help="Campaign: a folder, or a workbook (.xlsx).", show_default=False)
    ],
    hide: Hide = "cells",
    refits: Refits = 10,
    seed: Seed = None,
    units: Units = None,
    as_json: AsJson = False,
    workers: Workers = 1,
    scheduler: Scheduler = None,
) -> None:
    """Hide some of a campaign's tests, fit the rest, and see how often the bands hold what was hidden.

    Every refit is kept when it is done, so a run that was stopped goes on where it was; what other --hide
    kinds have found before is shown too. The same seed gives the same table however many workers there are.

    Example: holdcast evaluate my-campaign --hide designs --refits 6
    """
    if scheduler is not None and workers > 1:
        raise InputError(
            "--workers starts workers here, --scheduler takes those that have joined it; give one of them"
        )
    read = read_checked(campaign)
    show_findings(read.doubts)
    progress("loading the libraries: a few seconds")
    from holdcast.evaluate.summary import summarise, summarise_setting

    file, run = outcomes_file(campaign), _runner(workers, scheduler)
    file.parent.mkdir(parents=True, exist_ok=True)
    with only_writer(file.with_name(f".{file.name}-lock")):
        outcomes = _outcomes(read, hide, file, refits, seed, run)
    summary, setting = summarise(outcomes), summarise_setting(outcomes)
    bad = [outcome for outcome in outcomes if not outcome["ok"]]
    if as_json:
        marks = {"outcomes": str(file), "ok": not bad}
        scores = {"hidden": _as_records(summary), "setting": records(setting)}
        say_json({**marks, **scores, "left_out": _left_out(outcomes)})
    else:
        _answer(summary, setting, outcomes, file)
    for outcome in bad:
        warn(f"{UNRELIABLE}: {_named(outcome)}: {' '.join(outcome['sentences'])}")
    if bad:
        raise typer.Exit(BAD_VERDICT)


def _runner(workers: int, scheduler: str | None) -> "RunRefits":
    from holdcast.evaluate.campaign_refits import one_by_one
    from holdcast.evaluate.spreading import SpreadError, over_workers

    if workers == 1 and scheduler is None:
        return one_by_one
    try:
        return over_workers(workers, scheduler)
    except SpreadError as error:
        raise InputError(str(error)) from error


def _outcomes(
    campaign: "Campaign", hide: str, file: Path, refits: int, seed: int | None, run: "RunRefits"
) -> list[dict[str, Any]]:
    from holdcast.evaluate.campaign_refits import DEFAULT_SEED, evaluate_campaign
    from holdcast.evaluate.outcomes import OutcomesError
    from holdcast.evaluate.spreading import LostWorkersError, SpreadError

    number = DEFAULT_SEED if seed is None else seed
    try:
        return evaluate_campaign(campaign, hide, file, most=refits, seed=number, progress=progress, run=run)
    except LostWorkersError as error:
        warn(f"holdcast: {error}")
        raise typer.Exit(MACHINE_FAULT) from error
    except (OutcomesError, SpreadError, ValueError) as error:
        raise InputError(str(error)) from error


def outcomes_file(campaign: Path) -> Path:
    """Return where outcomes are kept: beside the results, which are replaced as a whole."""
    results = results_folder(campaign)
    return results.with_name(f"{results.name.removesuffix('results')}evaluation") / "refits.jsonl"


def _answer(
    summary: "xr.Dataset", setting: "pd.DataFrame", outcomes: Sequence[Mapping[str, Any]], file: Path
) -> None:
    width = terminal_width()
    if int(summary["unreliable_refits"].sum()):
        say(f"{UNRELIABLE}: some refits failed the sampler's checks; they are named below.")
    kinds = [str(kind) for kind in summary["hidden"].values]
    lines = plain_table(_HEADER, [_row(summary, kind) for kind in kinds])
    lines += ["", *wrap(_TENTHS_HEADING, width), *plain_table(["tenth", *kinds], _tenths(summary))]
    if len(setting):
        lines += ["", *plain_table(_SETTING_HEADER, [_setting_row(row) for row in each_row(setting)])]
    reading = [*_READING, *([_SETTING_READING] if len(setting) else [])]
    for text in (
        "",
        " ".join(reading),
        *_left_out_sentences(outcomes),
        f"Outcomes: {file}",
        " ".join(CAUTIONS),
    ):
        lines += wrap(text, width) if text else [""]
    say("\n".join(lines))


def _tenths(summary: "xr.Dataset") -> list[list[str]]:
    """Return where hidden pulls fell among their predictions: a row a tenth, a column a kind of hiding."""
    most = max(float(summary["pit"].max()), 0.1)
    return [
        [
            f"{100 * tenth:.0f} to {100 * tenth + 10:.0f}%",
            *(f"{100 * share:4.1f}% {'#' * round(_BAR * share / most)}" for share in map(float, shares)),
        ]
        for tenth, shares in zip(
            summary["tenth"].values, summary["pit"].transpose("tenth", "hidden").values, strict=True
        )
    ]


_HEADER = (
    "hidden", "refits", "pulls", "in 50% band", "in 90% band", "log score", "90% band of a pull",
    "of the capacity", "typical miss",
)  # fmt: skip
_SETTING_HEADER = (
    "hidden", "tests", "log score", "Brier score", "of the share seen", "in 50% band", "in 90% band",
)  # fmt: skip
_TENTHS_HEADING = "Where hidden pulls fell among their predictions; every line ought to be 10%:"
_READING = (
    "A true band holds its share: 50% and 90%; of two true bands the narrower says more. Widths are the",
    "factor from a band's lower to its upper end; the typical miss is the factor from the predicted median",
    "to the pull's interval. After ±: a standard error, tests that were hidden together counting as one.",
)
_SETTING_READING = (
    "The Brier score is the mean squared miss of a chance: 0 is perfect, and beside it stands that of always "
    "saying the share seen, which a useful chance stays below."
)


def _setting_row(row: TableRow) -> list[str]:
    def number(name: str, decimals: int, factor: float = 1.0, unit: str = "") -> str:
        value, error = (factor * float(getattr(row, each)) for each in (name, f"{name}_error"))
        return "" if math.isnan(value) else f"{value:z.{decimals}f}{unit}" + _after(error, decimals)

    words = {"setting": f"{row.tests} pulls that say whether it set", "veers": f"{row.tests} veers"}
    tests = words.get(row.test, f"{row.tests} resets, {row.attempts:.0f} attempts")
    mean = "" if math.isnan(row.brier_of_mean) else f"{row.brier_of_mean:.3f}"
    shares = [number(name, 0, 100.0, "%") for name in ("inside_50", "inside_90")]
    return [row.hidden, tests, number("log_score", 2), number("brier", 3), mean, *shares]


def _row(summary: "xr.Dataset", kind: str) -> list[str]:
    mean, error = summary["mean"].sel(hidden=kind), summary["standard_error"].sel(hidden=kind)

    def share(score: str) -> str:
        return f"{100 * float(mean.sel(score=score)):.0f}%" + _after(100 * float(error.sel(score=score)), 0)

    def factor(score: str) -> str:
        return f"x {math.exp(float(mean.sel(score=score))):.2f}"

    counts = [f"{int(summary[name].sel(hidden=kind))}" for name in ("refits", "pulls")]
    score = f"{float(mean.sel(score='log_score')):z.2f}" + _after(float(error.sel(score="log_score")), 2)
    widths = [factor("width_90"), factor("capacity_width_90"), factor("miss")]
    return [kind, *counts, share("inside_50"), share("inside_90"), score, *widths]


def _after(error: float, decimals: int) -> str:
    return "" if math.isnan(error) else f" ± {error:.{decimals}f}"


def _left_out(outcomes: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    return [group for outcome in outcomes for group in outcome.get("left_out", [])]


def _named(outcome: Mapping[str, Any]) -> str:
    """Return which fit an outcome is of."""
    if "left_out" in outcome:
        return "the fit to the whole log, for leaving out without refits"
    return f"the refit with {outcome['hide']} hidden ({outcome['label']})"


def _left_out_sentences(outcomes: Sequence[Mapping[str, Any]]) -> list[str]:
    """Say what importance sampling estimates without refits, and where only a refit can tell."""
    sentences = []
    for outcome in outcomes:
        mark = "" if outcome["ok"] else f"{UNRELIABLE}: "
        groups = outcome.get("left_out", [])
        beyond = [group for group in groups if _beyond(group)]
        sentences += [mark + left_out_sentence(group) for group in groups if not _beyond(group)]
        if len(beyond) == 1:
            sentences.append(mark + left_out_sentence(beyond[0]))
        elif beyond:
            sentences.append(mark + _beyond_sentence(beyond))
    return sentences


def _beyond(group: Mapping[str, Any]) -> bool:
    """Tell whether too many groups move the fit too much for an estimate without refits."""
    return bool(group["unreliable"] > MOST_UNRELIABLE * group["groups"])


def _beyond_sentence(kinds: Sequence[Mapping[str, Any]]) -> str:
    """Say in one sentence of which kinds of groups only refits can tell."""
    counts = ", ".join(f"{kind['unreliable']} of {kind['groups']} {kind['by']}" for kind in kinds)
    refits = [kind["by"] for kind in kinds if kind["by"] in get_args(HideKind)]
    by = f"; --hide {', '.join(refits)} refits" if refits else ""
    return (
        f"Without refits (PSIS-LOO), leaving out more cannot be told: {counts} move the fit too much (Pareto "
        f"k above 0.7){by}."
    )


def left_out_sentence(group: Mapping[str, Any]) -> str:
    """Say what importance sampling makes of leaving out one kind of group, as an outcome keeps it."""
    by, groups, unreliable = group["by"], group["groups"], group["unreliable"]
    opening = f"Without refits (PSIS-LOO), leaving out {by} one at a time: "
    moves = "moves" if unreliable == 1 else "move"
    beyond = f"{unreliable} of {groups} {moves} the fit too much (Pareto k above 0.7)"
    if _beyond(group):
        refit = f": --hide {by} refits" if by in get_args(HideKind) else ""
        return f"{opening}cannot be told, {beyond}{refit}."
    score = f"log score {group['log_score']:z.2f} ± {group['log_score_error']:.2f} a pull"
    return f"{opening}{score}{f', roughly: {beyond}' if unreliable else ''}."


def _as_records(summary: "xr.Dataset") -> list[dict[str, Any]]:
    records = []
    for kind in summary["hidden"].values:
        inside = summary.sel(hidden=kind)
        error = {str(s): float(inside["standard_error"].sel(score=s)) for s in inside["score"].values}
        records.append(
            {
                "hidden": str(kind),
                **{name: int(inside[name]) for name in ("refits", "unreliable_refits", "pulls", "clusters")},
                "mean": {str(s): float(inside["mean"].sel(score=s)) for s in inside["score"].values},
                "standard_error": {s: None if math.isnan(value) else value for s, value in error.items()},
                "pit": [float(value) for value in inside["pit"].values],
            }
        )
    return records
