"""``holdcast fit``: from a campaign to a results folder."""

from pathlib import Path
from typing import Annotated

import typer

from holdcast.commands.common import (
    BAD_VERDICT,
    AsJson,
    Progress,
    Units,
    progress,
    say,
    say_json,
    show_findings,
    warn,
)
from holdcast.commands.reading import accounting_line, read_checked, results_folder
from holdcast.commands.results import check_target, restore_interrupted, swap_in, unreliable_folder

__all__ = ["fit", "fit_campaign"]

Seed = Annotated[int | None, typer.Option("--seed", min=0, help="The same seed gives the same tables.")]
Out = Annotated[Path | None, typer.Option("--out", help="Results folder (default: CAMPAIGN/results).")]


def fit(
    campaign: Annotated[Path, typer.Argument(help="Campaign folder.", show_default=False)],
    out: Out = None,
    seed: Seed = None,
    units: Units = None,
    as_json: AsJson = False,
) -> None:
    """Fit a campaign and write its results: the table of every anchor in every seabed, a figure and a page.

    A fit whose draws cannot be relied on never replaces a good one: it is written beside, marked, with exit
    status 4.

    Example: holdcast fit my-campaign --seed 7
    """
    fit_campaign(campaign, out or results_folder(campaign), seed, units, as_json=as_json)


def fit_campaign(
    campaign: Path,
    target: Path,
    seed: int | None,
    units: str | None,
    *,
    as_json: bool = False,
    tell: Progress = progress,
) -> None:
    """Fit a campaign into a results folder and print its table.

    Raises
    ------
    CampaignError
        When the campaign has faults.
    typer.Exit
        With status 4 when the verdict is bad.
    """
    tell(f"reading {campaign}")
    read = read_checked(campaign)
    show_findings(read.doubts)
    tell(accounting_line(read))
    check_target(target)
    restore_interrupted(target)
    tell("loading the libraries: a few seconds")
    from holdcast.capacity.fitting import DEFAULT_SEED
    from holdcast.capacity.fitting import fit as fit_capacity
    from holdcast.commands.publishing import correction_lines, write_results

    fitted = fit_capacity(read, seed=DEFAULT_SEED if seed is None else seed, progress=tell)
    on_screen = units or read.units
    folder = target if fitted.verdict.ok else unreliable_folder(target)
    swap_in(folder, lambda path: write_results(fitted, path, on_screen, tell))
    for line in correction_lines(fitted):
        tell(line)
    _answer(fitted, folder, on_screen, as_json=as_json)
    if not fitted.verdict.ok:
        warn(
            f"UNRELIABLE: the results were written to {folder}; "
            f"any good results in {target} stand as they were"
        )
        raise typer.Exit(BAD_VERDICT)


def _answer(fitted: object, folder: Path, units: str, *, as_json: bool) -> None:
    from holdcast.answers.cells import cells
    from holdcast.capacity.fitting import Fit
    from holdcast.show.cell_table import cell_table
    from holdcast.show.sentences import verdict_sentences
    from holdcast.show.text_layout import terminal_width, wrap

    assert isinstance(fitted, Fit)
    verdict = fitted.verdict.as_dict()
    if as_json:
        say_json({"results": str(folder), "verdict": verdict})
        return
    say(cell_table(cells(fitted), units, reliable=fitted.verdict.ok))
    for sentence in ("", *verdict_sentences(verdict)):
        say("\n".join(wrap(sentence, terminal_width())))
    say(f"\nResults: {folder}\nPage:    {folder / 'report.html'}")
