"""Which rows of a sheet a doubt is about, and the doubt itself: shared by the files of this folder."""

import numpy as np
import numpy.typing as npt

from holdcast.campaign.checks.collected import Findings
from holdcast.campaign.files.sheets import Mask, Sheet

__all__ = ["doubt_where", "has_word", "numbers", "outside"]


def doubt_where(sheet: Sheet, where: Mask, column: str, allowed: str, fix: str, findings: Findings) -> None:
    """Add a doubt for each row where `where`."""
    sheet.report(findings, where, column, allowed=allowed, fix=fix, severity="doubt")


def numbers(sheet: Sheet, name: str) -> npt.NDArray[np.float64]:
    """Return a column's numbers, NaN where blank."""
    return sheet.frame[name].to_numpy(dtype=float)


def has_word(sheet: Sheet, column: str, *words: str) -> Mask:
    """Return the rows whose cell is one of the words."""
    return sheet.frame[column].isin(words).to_numpy(dtype=bool)


def outside(values: npt.NDArray[np.float64], limits: tuple[float, float]) -> Mask:
    """Return the rows whose number lies outside the limits; NaN lies nowhere."""
    return (values < limits[0]) | (values > limits[1])
