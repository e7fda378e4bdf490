"""Fits on disk: one NetCDF file with the tree, and the verdict beside it as JSON.  Nothing is pickled.

What a results folder is stands in :mod:`holdcast.capacity.results`; :func:`load` believes nothing else.
"""

import json
from pathlib import Path

import h5py
import xarray as xr

from holdcast.capacity.fitting import Fit
from holdcast.capacity.results.attributes import VERDICT_ATTRIBUTE
from holdcast.capacity.results.container import ContainerError, checked_members, tree_bytes
from holdcast.capacity.results.pair import (
    POSTERIOR_FILE,
    RESULTS_VERSION,
    VERDICT_FILE,
    ResultsError,
    digest_of,
)
from holdcast.capacity.results.reading import tree_of
from holdcast.capacity.results.tree_check import FIT_AGAIN, DescriptionError, check_tree
from holdcast.capacity.results.verdict_file import read_verdict, verdict_text
from holdcast.capacity.sampler.verdict import Verdict

__all__ = ["POSTERIOR_FILE", "RESULTS_VERSION", "VERDICT_FILE", "ResultsError", "load", "save"]


def save(fit: Fit, folder: Path) -> None:
    """Write a fit into an existing folder, the verdict last: a folder that has it is whole.

    Raises
    ------
    OSError
        When the folder cannot be written.
    """
    tree = fit.tree.copy()
    tree.attrs = {**fit.tree.attrs, VERDICT_ATTRIBUTE: json.dumps(fit.verdict.as_dict(), allow_nan=False)}
    path = folder / POSTERIOR_FILE
    path.write_bytes(tree_bytes(tree))
    text = verdict_text(fit.verdict, digest_of(path))
    (folder / VERDICT_FILE).write_text(text, encoding="utf-8")


def _tells(attribute: object, verdict: Verdict) -> bool:
    """Whether the attribute of the posterior tells this verdict."""
    try:
        return bool(json.loads(str(attribute)) == verdict.as_dict())
    except (ValueError, RecursionError):
        return False


def load(folder: Path | str) -> Fit:
    """Return a fit written by :func:`save`.

    Raises
    ------
    ResultsError
        When a file is missing, damaged, of another version of the results, not of the same fit as the other
        one, or holds anything that a fit does not.
    """
    path, verdict_path = Path(folder) / POSTERIOR_FILE, Path(folder) / VERDICT_FILE
    for file in (path, verdict_path):
        if not file.is_file():
            raise ResultsError(
                f"{file} is missing: is this a results folder? Run holdcast fit on the campaign"
            )
    verdict, digest = read_verdict(verdict_path)
    if digest_of(path) != digest:
        raise ResultsError(
            f"{path} is damaged or was changed: it is not the file that {VERDICT_FILE} was written for; "
            f"{FIT_AGAIN}"
        )
    tree = _read_tree(path)
    if not _tells(tree.attrs.pop(VERDICT_ATTRIBUTE, None), verdict):
        raise ResultsError(f"{verdict_path} was changed: {POSTERIOR_FILE} holds another verdict; {FIT_AGAIN}")
    try:
        check_tree(tree, verdict.draws)
    except DescriptionError as error:
        raise ResultsError(f"{path} is not as holdcast fit writes it: {error}; {FIT_AGAIN}") from error
    return Fit(tree, verdict)


def _read_tree(path: Path) -> xr.DataTree:
    """Return the tree of a file that has been looked through.

    Raises
    ------
    ResultsError
        When it cannot be read, or points at anything outside of itself.
    """
    try:
        size = path.stat().st_size
        with h5py.File(path, "r") as file:
            return tree_of(file, checked_members(file, size))
    except ContainerError as error:
        raise ResultsError(f"{path} is refused: {error}; {FIT_AGAIN}") from error
    except Exception as error:  # what a foreign file does to the library is not known beforehand
        reason = " ".join(str(error).split())[:120]
        raise ResultsError(f"{path} is damaged ({reason}); {FIT_AGAIN}") from error
