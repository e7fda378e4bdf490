"""A file's rows as a frame, and how findings point back into the file."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import pandas as pd

from holdcast.campaign.checks.collected import MOST_SHOWN, Findings, shorten
from holdcast.findings import ROWS_TOLD, row_runs

__all__ = ["Mask", "Sheet"]

Mask = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Sheet:
    """A file's rows as a frame, with what is needed to point back into the file.

    Parameters
    ----------
    file : str
        The file's name.
    frame : DataFrame, one row for each row of the file, in its order
        Every known column under its stored name (also those the file lacks) and the unknown ones.
    rows : ndarray of int, shape (n,)
        Row numbers as a spreadsheet shows them.
    texts : mapping of str to list of str
        The cells as written, by stored name, for the columns that the file has.
    headers : mapping of str to str
        The columns' names as written, by stored name.
    unread : mapping of str to ndarray of bool, shape (n,)
        Cells that have a fault of their own already, so that later checks stay silent about them; all cells
        of a column whose name was not understood.
    lenient : ndarray of bool, shape (n,)
        Excluded rows, whose faulty readings are doubts only.
    ragged : ndarray of bool, shape (n,)
        Rows with too many or too few cells; nothing more is said about them.
    header_row : int
        Row number of the column names.
    """

    file: str
    frame: pd.DataFrame
    rows: npt.NDArray[np.int64]
    texts: Mapping[str, list[str]]
    headers: Mapping[str, str]
    lenient: Mask
    ragged: Mask
    unread: dict[str, Mask] = field(default_factory=dict)
    header_row: int = 1

    def has(self, column: str) -> bool:
        """Whether the file has the column (a stored name)."""
        return column in self.texts

    def sound(self, *columns: str) -> Mask:
        """Rows whose cells in these columns have no fault of their own."""
        sound = ~self.ragged
        for column in columns:
            if column in self.unread:
                sound &= ~self.unread[column]
        return sound

    def report(
        self,
        findings: Findings,
        bad: Mask,
        column: str,
        *,
        allowed: str,
        fix: str | Callable[[int], str],
        found: Callable[[int], str] | None = None,
        severity: str = "fault",
        reading: bool = False,
    ) -> None:
        """Add a finding for each row where `bad`; only the first `MOST_SHOWN` are kept one by one.

        A fault of a `reading` is a doubt where the row is excluded: a fouled pull need not be a good one.
        """
        places = np.flatnonzero(bad & ~self.ragged)
        lenient = self.lenient if reading else np.zeros_like(self.lenient)
        for place in places[:MOST_SHOWN].tolist():
            as_doubt = severity == "doubt" or bool(lenient[place])
            add = findings.doubt if as_doubt else findings.fault
            what = found(place) if found else self._as_written(column, place)
            remedy = fix if isinstance(fix, str) else fix(place)
            header = self.headers.get(column, column)
            add(self.file, what, allowed, remedy, row=int(self.rows[place]), column=header)
        further = places[MOST_SHOWN:]
        doubts = int(lenient[further].sum()) if severity == "fault" else len(further)
        findings.count_more("doubt", doubts)
        findings.count_more("fault", len(further) - doubts)

    def report_together(
        self,
        findings: Findings,
        bad: Mask,
        column: str,
        *,
        what: str,
        allowed: str,
        fix: str,
        severity: str = "fault",
        reading: bool = False,
    ) -> None:
        """Add one finding for all rows where `bad`, one slip made many times; it names the first of them.

        A fault of a `reading` is a doubt where all those rows are excluded.
        """
        places = np.flatnonzero(bad & ~self.ragged)
        if not len(places):
            return
        as_doubt = severity == "doubt" or (reading and bool(self.lenient[places].all()))
        add = findings.doubt if as_doubt else findings.fault
        rows = row_runs(self.rows[places].tolist(), ROWS_TOLD)
        found = f"{what}, row{'' if len(places) == 1 else 's'} {rows}"
        add(self.file, found, allowed, fix, column=self.headers.get(column, column))

    def _as_written(self, column: str, place: int) -> str:
        text = self.texts[column][place] if column in self.texts else ""
        return shorten(text) if text else "a blank cell"
