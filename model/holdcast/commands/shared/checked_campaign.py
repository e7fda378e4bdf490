"""Reading a campaign for a command: its doubts shown, its settings checked."""

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from holdcast.campaign import read_campaign
from holdcast.campaign.checks.need_pulls import need_pulls
from holdcast.campaign.columns.carried_columns import carried_columns, unread_columns
from holdcast.campaign.columns.known_columns import TESTS
from holdcast.campaign.doubts.gear import gear_doubts
from holdcast.campaign.doubts.lengths import length_doubts
from holdcast.campaign.doubts.pulls_to_check import pull_doubts
from holdcast.campaign.doubts.rode import rode_doubts
from holdcast.campaign.doubts.speed import speed_doubts
from holdcast.campaign.doubts.wrong_suffix import loads_in_doubt
from holdcast.campaign.files.workbook import WORKBOOK
from holdcast.campaign.read import as_in_source
from holdcast.campaign.records import Campaign, CampaignError, Finding, used_rows
from holdcast.capacity.model.priors import with_overrides

__all__ = ["accounting_line", "campaign_beside", "carried_lines", "read_checked", "results_folder"]


def read_checked(path: Path) -> Campaign:
    """Return a campaign with all its doubts, those about gear and rode included.

    Raises
    ------
    CampaignError
        With every fault of the files, or those of the priors that campaign.toml changes and of a log without
        a pull that counts.
    """
    campaign = read_campaign(path)
    faults: list[Finding] = []
    for check in (lambda: with_overrides(campaign.priors), lambda: need_pulls(campaign)):
        try:
            check()
        except CampaignError as error:
            faults += error.findings
    if faults:
        raise CampaignError((*faults, *campaign.doubts))
    if loads_in_doubt(campaign):
        return campaign  # what leans on the loads would be that doubt once more, pull by pull
    more = (
        *gear_doubts(campaign),
        *rode_doubts(campaign),
        *length_doubts(campaign),
        *speed_doubts(campaign),
        *pull_doubts(campaign),
    )
    return replace(campaign, doubts=(*campaign.doubts, *as_in_source(more, path)))


def accounting_line(campaign: Campaign) -> str:
    """Return where every row of the log goes, as a sentence."""
    from holdcast.show.text.sentences import accounting_sentence

    used = {test: len(used_rows(campaign.trials, test)) for test in TESTS}
    return accounting_sentence(
        len(campaign.trials), used, int((campaign.trials["status"] == "excluded").sum())
    )


def carried_lines(campaign: Campaign) -> list[str]:
    """Return which columns ride along unused, as sentences; none when there is no such column."""
    from holdcast.show.text.text_columns import plain

    def listed(columns: Mapping[str, list[str]]) -> str:
        return "; ".join(f"{file}: {', '.join(map(plain, names))}" for file, names in columns.items())

    carried, unread = listed(carried_columns(campaign)), listed(unread_columns(campaign))
    lines = [f"Columns carried along, not used: {carried}."] if carried else []
    return [*lines, f"Columns kept, not used in any answer yet: {unread}."] if unread else lines


def results_folder(campaign: Path) -> Path:
    """Return where results go by default: inside a campaign folder, beside a workbook."""
    if campaign.suffix.lower() == WORKBOOK:
        return campaign.with_name(f"{campaign.stem}-results")
    return campaign / "results"


def campaign_beside(results: Path) -> Path:
    """Return the campaign of which a results folder is the default: the workbook beside, else the folder."""
    workbook = results.with_name(f"{results.name.removesuffix('-results')}{WORKBOOK}")
    return workbook if results.name.endswith("-results") and workbook.is_file() else results.parent
