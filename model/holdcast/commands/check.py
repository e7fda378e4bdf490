"""``holdcast check``: every fault and doubt, without fitting."""

from dataclasses import asdict
from pathlib import Path
from shlex import quote
from typing import Annotated

import typer

from holdcast.campaign.columns.carried_columns import carried_columns
from holdcast.campaign.records import CampaignError
from holdcast.commands.shared.common import AsJson, Units, say, say_json
from holdcast.commands.shared.reading import accounting_line, carried_lines, read_checked
from holdcast.show.text.findings_table import findings_table

__all__ = ["check"]


def check(
    campaign: Annotated[
        Path, typer.Argument(help="Campaign: a folder, or a workbook (.xlsx).", show_default=False)
    ],
    units: Units = None,
    as_json: AsJson = False,
) -> None:
    """Show every fault and doubt of a campaign in one table, without fitting it.

    Faults stop a fit (exit status 2); doubts alone do not (exit status 0).

    Example: holdcast check my-campaign
    """
    try:
        read = read_checked(campaign)
    except CampaignError as error:
        if as_json:
            say_json({"ok": False, "findings": [asdict(finding) for finding in error.findings]})
        raise
    line, carried = accounting_line(read), carried_columns(read)
    if as_json:
        findings = [asdict(finding) for finding in read.doubts]
        say_json({"ok": True, "rows": line, "carried": carried, "findings": findings})
        return
    say(findings_table(read.doubts) if read.doubts else "No faults, no doubts.")
    lines = "\n".join([line, *carried_lines(read)])
    say(f"\n{lines}\nNo fault: holdcast fit {quote(str(campaign))} can run.")
