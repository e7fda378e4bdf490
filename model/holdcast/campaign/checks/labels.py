"""Labels: unique where they are defined, known where they are used."""

from collections.abc import Collection

from holdcast.campaign.checks.collected import Findings, nearest
from holdcast.campaign.files.sheets import Sheet

__all__ = ["check_known", "check_unique", "check_written_alike"]


def check_unique(sheet: Sheet, label: str, findings: Findings) -> None:
    """Add a fault for each label that an earlier row has already, ignoring case."""
    folded = sheet.frame[label].str.casefold()
    first_place = {name: place for place, name in reversed(list(enumerate(folded)))}
    repeated = folded.duplicated().to_numpy(dtype=bool) & (folded != "").to_numpy(dtype=bool)
    sheet.report(
        findings,
        repeated & sheet.sound(label),
        label,
        allowed="each name once, whatever its capitals",
        fix=lambda place: (
            f"Row {sheet.rows[first_place[folded.iloc[place]]]} has it already; rename one of them."
        ),
    )


def check_written_alike(sheet: Sheet, column: str, findings: Findings) -> None:
    """Add a fault for each label that differs from an earlier one in capitals alone: it would be another."""
    if not sheet.has(column):
        return
    labels = sheet.frame[column].astype("str")
    first = labels.groupby(labels.str.casefold()).transform("first")
    sheet.report(
        findings,
        (labels != first).to_numpy(dtype=bool) & sheet.sound(column),
        column,
        allowed="one way of writing each name",
        fix=lambda place: f"Write {first.iloc[place]} as in the rows before, or choose another name.",
    )


def check_known(sheet: Sheet, column: str, known: Collection[str], where: str, findings: Findings) -> None:
    """Add a fault for each filled cell whose label is not among the known ones, with the nearest of them."""
    if not sheet.has(column):
        return
    used = sheet.frame[column]
    unknown = (~used.isin(list(known)) & (used != "")).to_numpy(dtype=bool)

    def fix(place: int) -> str:
        likely = nearest(str(used.iloc[place]), known)
        return f"Did you mean {likely}?" if likely else f"Add a row for it to {where}, or correct the name."

    listed = ", ".join(list(known)[:12]) + (", …" if len(known) > 12 else "")
    allowed = f"a name in {where} ({listed})" if known else f"a name in {where}"
    sheet.report(findings, unknown & sheet.sound(column), column, allowed=allowed, fix=fix)
