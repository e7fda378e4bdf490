"""The pulls of a fitted log that a person should look at again, and the file that has all of them."""

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from holdcast.campaign.records import Finding, PullToCheck
    from holdcast.capacity.fitting import Fit

__all__ = ["PULLS_FILE", "beside_pulls", "look_again", "write_pulls"]

PULLS_FILE = "pulls_to_check.csv"
_COLUMNS = (
    *("trials", "anchor", "seabed", "held_n", "released_n", "expected_n_q05", "expected_n_q95"),
    *("reason", "advice"),
)


def look_again(fit: "Fit") -> "tuple[PullToCheck, ...]":
    """Return the pulls to look at again: what is odd in the log alone, and beside what the fit expects."""
    from holdcast.answers.doubts.pulls_to_check import pulls_to_check_after_fit
    from holdcast.campaign.doubts.pulls_to_check import pulls_to_check
    from holdcast.capacity.log_tables import log_table

    trials, anchors = (log_table(fit.tree, name) for name in ("trials", "anchors"))
    return pulls_to_check_after_fit(fit, pulls_to_check(trials, anchors))


def beside_pulls(fit: "Fit", doubts: "Iterable[Finding]") -> "list[Finding]":
    """Return the doubts about a log that are not about single pulls, which stand in their own list."""
    from holdcast.campaign.doubts.pulls_to_check import pull_findings
    from holdcast.capacity.log_tables import log_table

    odd_pulls = pull_findings(*(log_table(fit.tree, name) for name in ("trials", "anchors")))
    return [doubt for doubt in doubts if doubt not in odd_pulls]


def write_pulls(pulls: "Sequence[PullToCheck]", folder: Path, *, approximate: bool) -> Path:
    """Write the file of pulls to look at again, its header alone when there is none, and return its path."""
    from holdcast.show.text.cells_csv import as_csv
    from holdcast.show.text.result_doubts import pulls_to_check_rows

    path, beside = folder / PULLS_FILE, folder / f".{PULLS_FILE}.new"
    rows = [
        ["" if row[name] is None else row[name] for name in _COLUMNS] for row in pulls_to_check_rows(pulls)
    ]
    beside.write_text(as_csv(_COLUMNS, rows, approximate=approximate), encoding="utf-8")
    beside.replace(path)
    return path
