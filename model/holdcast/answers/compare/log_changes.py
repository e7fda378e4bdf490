"""What changed in the log between two fits: trials, anchors, seabeds and settings."""

import json

import numpy as np
import xarray as xr

from holdcast.capacity.fitting import Fit
from holdcast.capacity.log_tables import log_table

__all__ = ["rows_changed", "settings_changed", "trials_behind", "trials_changed"]

_Row = dict[str, object]
_CARRIED = {"note", "photo"}
"""Columns that no number depends on."""


def trials_changed(old: Fit, new: Fit) -> xr.Dataset:
    """Return every trial that one log has and the other has not, or has otherwise.

    Returns
    -------
    Dataset, dim trial
        ``change``: added, removed, changed, newly excluded or no longer excluded; ``anchor`` and ``seabed``
        of the trial (the new ones, where both logs have it); ``what``: columns with the old and the new
        value, or the reason for the exclusion, as text.
        Trials keep the order of the new log; removed ones come last.
    """
    before, after = (_table(fit, "trials") for fit in (old, new))
    rows: list[tuple[str, str, str, str, str]] = []
    for trial in dict.fromkeys([*after, *before]):
        change = _one_trial(before.get(trial), after.get(trial))
        if change is not None:
            where = after.get(trial) or before[trial]
            rows.append((trial, *change, str(where["anchor"]), str(where["seabed"])))
    columns = list(zip(*rows, strict=True)) if rows else [()] * 5
    names = ("change", "what", "anchor", "seabed")
    data = {
        name: ("trial", np.array(values, dtype=str)) for name, values in zip(names, columns[1:], strict=True)
    }
    return xr.Dataset(data, coords={"trial": np.array(columns[0], dtype=str)})


def _one_trial(before: _Row | None, after: _Row | None) -> tuple[str, str] | None:
    """Return how one trial changed and the words for it; None when it did not."""
    if after is None:
        return "removed", ""
    status = str(after["status"])
    if before is None:
        return "added", "" if status == "used" else status
    excluded = str(before["status"]) == "excluded", status == "excluded"
    if excluded == (False, True):
        return "newly excluded", str(after["exclude"])
    if excluded == (True, False):
        return "no longer excluded", str(before["exclude"])
    differences = _differences(before, after)
    return ("changed", differences) if differences else None


def rows_changed(old: Fit, new: Fit, table: str) -> xr.Dataset:
    """Return every anchor or seabed that was added, removed or measured anew.

    Parameters
    ----------
    old, new : Fit
    table : {"anchors", "seabeds"}

    Returns
    -------
    Dataset, dim row
        ``change`` ("added", "removed", "changed") and ``what``, as in :func:`trials_changed`.

    Raises
    ------
    ValueError
        For another table.
    """
    if table not in ("anchors", "seabeds"):
        raise ValueError(f"the table must be 'anchors' or 'seabeds', got {table!r}")
    before, after = (_table(fit, table) for fit in (old, new))
    rows: list[tuple[str, str, str]] = []
    for label in dict.fromkeys([*after, *before]):
        if label not in before or label not in after:
            rows.append((label, "added" if label in after else "removed", ""))
        elif differences := _differences(before[label], after[label]):
            rows.append((label, "changed", differences))
    columns = list(zip(*rows, strict=True)) if rows else [()] * 3
    data = {
        name: ("row", np.array(values, dtype=str))
        for name, values in zip(("change", "what"), columns[1:], strict=True)
    }
    return xr.Dataset(data, coords={"row": np.array(columns[0], dtype=str)})


def settings_changed(old: Fit, new: Fit) -> xr.Dataset:
    """Return what else differs (version, seed, files, priors): dim setting, ``old`` and ``new`` as text."""
    rows = [
        (name, str(old.tree.attrs.get(name, "")), str(new.tree.attrs.get(name, "")))
        for name in ("version", "seed", "input_hash")
    ]
    priors = [json.loads(str(fit.tree.attrs["priors"])) for fit in (old, new)]
    for name in dict.fromkeys([*priors[1], *priors[0]]):
        rows.append((f"prior {name}", json.dumps(priors[0].get(name)), json.dumps(priors[1].get(name))))
    different = [row for row in rows if row[1] != row[2]]
    columns = list(zip(*different, strict=True)) if different else [()] * 3
    data = {
        name: ("setting", np.array(values, dtype=str))
        for name, values in zip(("old", "new"), columns[1:], strict=True)
    }
    return xr.Dataset(data, coords={"setting": np.array(columns[0], dtype=str)})


def _table(fit: Fit, group: str) -> dict[str, _Row]:
    """Return a table of the log as rows by label."""
    table = log_table(fit.tree, group)
    values = table.astype(object).to_dict("index")
    return {str(label): {str(name): value for name, value in row.items()} for label, row in values.items()}


def _differences(before: _Row, after: _Row) -> str:
    """Return the columns that differ, as "held_n 900 → 950"; blank when none does.

    A column that only one log has counts as blank in the other.
    """
    names = [name for name in dict.fromkeys([*after, *before]) if name not in _CARRIED]
    values = [(name, _text(before.get(name)), _text(after.get(name))) for name in names]
    return ", ".join(
        f"{name} {first or 'blank'} → {last or 'blank'}" for name, first, last in values if first != last
    )


def _text(value: object) -> str:
    if value is None or (isinstance(value, float) and np.isnan(value)):
        return ""
    return f"{value:g}" if isinstance(value, float) else str(value)


def trials_behind(old: Fit, new: Fit, trials: xr.Dataset, anchor: str, seabed: str) -> dict[str, list[str]]:
    """Return the changed trials that may have moved a cell, by how near they are to it.

    Parameters
    ----------
    old, new : Fit
    trials : Dataset
        From :func:`trials_changed`.
    anchor, seabed : str
        The cell.

    Returns
    -------
    dict
        ``cell``: trials of the cell; ``design``: of the design's other anchors and seabeds; ``seabed``: of
        other designs in this seabed.  Each trial stands once.
    """
    design = _designs(old) | _designs(new)
    behind: dict[str, list[str]] = {"cell": [], "design": [], "seabed": []}
    rows = zip(*(trials[name].to_numpy().tolist() for name in ("trial", "anchor", "seabed")), strict=True)
    for trial, its_anchor, its_seabed in rows:
        if (its_anchor, its_seabed) == (anchor, seabed):
            behind["cell"].append(trial)
        elif design.get(its_anchor) == design[anchor]:
            behind["design"].append(trial)
        elif its_seabed == seabed:
            behind["seabed"].append(trial)
    return behind


def _designs(fit: Fit) -> dict[str, str]:
    table = fit.tree["anchors"].to_dataset()["design"]
    return dict(zip(map(str, table["anchor"].to_numpy()), map(str, table.to_numpy()), strict=True))
