"""``holdcast fit``: from a campaign to a results folder."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from holdcast.campaign.doubts.pulls_to_check import pull_findings
from holdcast.campaign.records import Campaign, PullToCheck
from holdcast.commands.folders.kept_draws import (
    draws_folder,
    draws_of_same_fit,
    drop_draws,
    keeping_draws,
    wanted_fit,
)
from holdcast.commands.folders.leftovers import clean_up
from holdcast.commands.folders.locking import only_writer
from holdcast.commands.folders.results import (
    keep_full_fit,
    quick_folder,
    results_target,
    swap_in,
    unreliable_folder,
)
from holdcast.commands.published.look_again import PULLS_FILE, look_again
from holdcast.commands.shared.checked_campaign import (
    accounting_line,
    carried_lines,
    read_checked,
    results_folder,
)
from holdcast.commands.shared.common import (
    BAD_VERDICT,
    AsJson,
    Progress,
    Units,
    progress,
    say,
    say_json,
    show_findings,
    tell_text,
    warn,
)
from holdcast.commands.shared.progress_bar import watched

if TYPE_CHECKING:
    import xarray as xr

    from holdcast.capacity.fitting import Fit
    from holdcast.capacity.sampler.verdict import Verdict

__all__ = ["fit", "fit_campaign"]

_LARGEST_SEED = 2**31 - 1  # what every library here takes, and the results file can hold
Seed = Annotated[
    int | None, typer.Option("--seed", min=0, max=_LARGEST_SEED, help="The same seed gives the same tables.")
]
Out = Annotated[Path | None, typer.Option("--out", help="Results folder (default: CAMPAIGN/results).")]
Quick = Annotated[
    bool,
    typer.Option(
        "--quick",
        help="A first look with few draws, marked APPROXIMATE; default folder CAMPAIGN/results-quick.",
    ),
]


def fit(
    campaign: Annotated[
        Path, typer.Argument(help="Campaign: a folder, or a workbook (.xlsx).", show_default=False)
    ],
    out: Out = None,
    seed: Seed = None,
    quick: Quick = False,
    units: Units = None,
    as_json: AsJson = False,
) -> None:
    """Fit a campaign and write its results: the table of every anchor in every seabed, a figure and a page.

    A fit whose draws cannot be relied on never replaces a good one: it is written beside, marked, with exit
    status 4.  A quick fit never replaces a full one.

    Example: holdcast fit my-campaign --seed 7
    """
    target = out or results_folder(campaign)
    if quick and out is None:
        target = quick_folder(target)
    fit_campaign(campaign, target, seed, units, quick=quick, as_json=as_json)


def fit_campaign(
    campaign: Path,
    target: Path,
    seed: int | None,
    units: str | None,
    *,
    quick: bool = False,
    as_json: bool = False,
    tell: Progress = progress,
) -> None:
    """Fit a campaign into a results folder and print its table.

    Raises
    ------
    CampaignError
        When the campaign has faults.
    InputError
        When a quick fit would replace a full one.
    typer.Exit
        With status 4 when the verdict is bad.
    """
    tell(f"reading {campaign}")
    read = read_checked(campaign)
    # Odd pulls stand in one list, with what the fit expects of them, once it is made.
    odd_pulls = pull_findings(read.trials, read.anchors)
    others = [doubt for doubt in read.doubts if doubt not in odd_pulls]
    show_findings(others, "About the log as it was read, before any fitting:")
    for text in (accounting_line(read), *carried_lines(read)):
        tell_text(text, tell)
    target = results_target(target)
    with only_writer(target):
        for line in clean_up(target):
            tell(line)
        if quick:
            keep_full_fit(target)
        _fit_into(read, target, seed, units or read.units, quick=quick, as_json=as_json, tell=tell)


def _fit_into(
    read: Campaign, target: Path, seed: int | None, units: str, *, quick: bool, as_json: bool, tell: Progress
) -> None:
    tell("loading the libraries: a few seconds")
    from holdcast.answers.cells.cells import cells
    from holdcast.answers.doubts.doubts import result_doubts
    from holdcast.commands.published import publishing
    from holdcast.show.text.result_doubts import pulls_to_check_short, result_doubt_lines

    fitted, earlier = _fitted(read, target, seed, quick=quick, tell=tell)
    with keeping_draws(fitted, target):
        table = cells(fitted)
        doubts, pulls = result_doubts(fitted, table), look_again(fitted)
        folder = target if fitted.verdict.ok else unreliable_folder(target)

        def write(path: Path) -> None:
            if quick:  # a page takes as long as the draws; ``report`` makes it
                publishing.write_tables(fitted, table, pulls, path, tell)
            else:
                publishing.write_results(fitted, table, doubts, pulls, path, units, tell)

        swap_in(folder, write)
    if earlier:
        drop_draws(draws_folder(target))
    short = pulls_to_check_short(pulls, units, str(folder / PULLS_FILE))
    warn("\n".join([*result_doubt_lines(doubts), *short, ""]))
    for text in publishing.correction_lines(fitted, units):
        tell_text(text, tell)
    _answer(table, fitted.verdict, pulls, folder, units, as_json=as_json)
    if not fitted.verdict.ok:
        warn(
            f"UNRELIABLE: the results were written to {folder}; "
            f"any good results in {target} stand as they were"
        )
        raise typer.Exit(BAD_VERDICT)


def _fitted(
    read: Campaign, target: Path, seed: int | None, *, quick: bool, tell: Progress
) -> "tuple[Fit, bool]":
    """Return the fit and whether it was sampled by an earlier run, which could not finish its results."""
    from holdcast.capacity.fitting import DEFAULT_SEED
    from holdcast.capacity.fitting import fit as fit_capacity

    number, draws = DEFAULT_SEED if seed is None else seed, draws_folder(target)
    earlier = draws_of_same_fit(draws, wanted_fit(read, number, quick=quick)) if draws.exists() else None
    if earlier is not None:
        tell_text(
            f"going on from the draws in {draws}: they are of this campaign and seed, so nothing is sampled",
            tell,
        )
        return earlier, True
    if draws.exists():
        tell_text(
            f"{draws} is of another campaign, seed or version of the program: it is left as it is, "
            "and may be deleted",
            tell,
        )
    with watched(tell) as bar:
        return fit_capacity(read, seed=number, quick=quick, progress=bar), False


def _answer(
    table: "xr.Dataset",
    verdict: "Verdict",
    pulls: Sequence[PullToCheck],
    folder: Path,
    units: str,
    *,
    as_json: bool,
) -> None:
    from holdcast.commands.shared.answering import finite_or_none
    from holdcast.show.text.cell_table import cell_table
    from holdcast.show.text.result_doubts import pulls_to_check_rows
    from holdcast.show.text.sentences import verdict_sentences
    from holdcast.show.text.text_columns import terminal_width, wrap

    if as_json:
        plain = {name: finite_or_none(value) for name, value in verdict.as_dict().items()}
        look = {"pulls_to_check": pulls_to_check_rows(pulls)}
        say_json({"results": str(folder), "approximate": verdict.approximate, "verdict": plain, **look})
        return
    say(cell_table(table, units, reliable=verdict.ok))
    heading, *reasons = verdict_sentences(verdict.as_dict())
    # The table of an unreliable fit ends with that heading already.
    for sentence in ("", *([heading] if verdict.ok else []), *reasons):
        say("\n".join(wrap(sentence, terminal_width())))
    page = f"holdcast report {folder} draws it" if verdict.approximate else str(folder / "report.html")
    say(f"\nResults: {folder}\nPage:    {page}")
