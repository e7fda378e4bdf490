"""Fits on disk: one NetCDF file with the tree, and the verdict beside it as JSON.  Nothing is pickled."""

import json
from pathlib import Path

import xarray as xr

from holdcast.capacity.fitting import Fit
from holdcast.capacity.sampler.verdict import Verdict

__all__ = ["POSTERIOR_FILE", "RESULTS_VERSION", "VERDICT_FILE", "ResultsError", "load", "save"]

RESULTS_VERSION = 4
"""Raised when a saved fit's groups or variables change their meaning."""
POSTERIOR_FILE = "posterior.nc"
VERDICT_FILE = "verdict.json"


class ResultsError(Exception):
    """A folder that does not hold a readable fit; the message says which file and what to do."""


def save(fit: Fit, folder: Path) -> None:
    """Write a fit into an existing folder.

    Raises
    ------
    OSError
        When the folder cannot be written.
    """
    # Made in memory: on a full disk the file library fails once more, and hard, when the program ends.
    (folder / POSTERIOR_FILE).write_bytes(fit.tree.to_netcdf(None, engine="h5netcdf"))
    text = json.dumps(fit.verdict.as_dict(), indent=2, allow_nan=False) + "\n"
    (folder / VERDICT_FILE).write_text(text, encoding="utf-8")


def load(folder: Path | str) -> Fit:
    """Return a fit written by :func:`save`.

    Raises
    ------
    ResultsError
        When a file is missing, damaged, or of another version of the results.
    """
    path, verdict = Path(folder) / POSTERIOR_FILE, Path(folder) / VERDICT_FILE
    for file in (path, verdict):
        if not file.is_file():
            raise ResultsError(
                f"{file} is missing: is this a results folder? Run holdcast fit on the campaign"
            )
    try:
        judged = Verdict.from_dict(json.loads(verdict.read_text(encoding="utf-8")))
    except (ValueError, TypeError, KeyError, AttributeError) as error:
        raise ResultsError(f"{verdict} is damaged ({error}); run holdcast fit again") from error
    try:
        tree = xr.load_datatree(path, engine="h5netcdf")
    except (OSError, ValueError, KeyError) as error:
        raise ResultsError(f"{path} is damaged ({error}); run holdcast fit again") from error
    if tree.attrs.get("results_version") != RESULTS_VERSION:
        version = tree.attrs.get("results_version", "none")
        raise ResultsError(
            f"{path} is of results version {version}, this program reads {RESULTS_VERSION}; "
            "run holdcast fit again"
        )
    return Fit(tree, judged)
