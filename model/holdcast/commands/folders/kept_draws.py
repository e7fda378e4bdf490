"""Draws that were paid for: kept when anything fails after sampling, and taken up by the next such fit."""

import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING

from holdcast.campaign.records import Campaign
from holdcast.capacity.results.pair import POSTERIOR_FILE, VERDICT_FILE, ResultsError
from holdcast.commands.shared.common import warn

if TYPE_CHECKING:
    from holdcast.capacity.fitting import Fit

__all__ = [
    "draws_folder",
    "draws_of_same_fit",
    "drop_draws",
    "keeping_draws",
    "may_replace_draws",
    "wanted_fit",
]


def draws_folder(results: Path) -> Path:
    """Return where draws are kept whose results could not be written: beside the results."""
    return results.with_name(f"{results.name}-draws")


def may_replace_draws(folder: Path) -> bool:
    """Whether a folder is missing or holds nothing but draws."""
    if not folder.exists():
        return True
    return folder.is_dir() and {path.name for path in folder.iterdir()} <= {POSTERIOR_FILE, VERDICT_FILE}


@contextmanager
def keeping_draws(fitted: "Fit", results: Path) -> Iterator[None]:
    """Keep the draws of a fit when its tables, figures or page cannot be made or written.

    Parameters
    ----------
    fitted : Fit
        What was sampled.
    results : Path
        Where its results were to go.
    """
    try:
        yield
    except BaseException:
        warn(f"holdcast: {_kept(fitted, results)}")
        raise


def _kept(fitted: "Fit", results: Path) -> str:
    """Keep draws in the first place that can be written, and return where, as sentences."""
    beside = draws_folder(results)
    go_on = "run the same fit again, and it goes on from them without sampling"
    if draws_of_same_fit(beside, _made_from(fitted)) is not None or _saved(fitted, beside):
        return f"the results could not be finished, but the draws are kept in {beside}: {go_on}"
    for place in (Path(tempfile.gettempdir()), Path.home()):
        folder = _own_folder(place)
        if folder is not None and _saved(fitted, folder):
            return (
                f"the results could not be finished, but the draws are kept in {folder}: make room, move "
                f"that folder to {beside}; then {go_on}"
            )
    return (
        f"the draws could not be kept either: neither {beside} nor {tempfile.gettempdir()} can be written; "
        "make room before you fit again"
    )


def _own_folder(place: Path) -> Path | None:
    try:
        return Path(tempfile.mkdtemp(prefix="holdcast-draws-", dir=place))
    except OSError:
        return None


def _saved(fitted: "Fit", folder: Path) -> bool:
    """Save a fit into a folder of its own; when that fails nothing is left there."""
    from holdcast.capacity.store import save

    if not may_replace_draws(folder):
        return False
    try:
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir(parents=True)
        save(fitted, folder)
    except BaseException as error:
        shutil.rmtree(folder, ignore_errors=True)
        if isinstance(error, Exception):  # what stopped the results may stop this: the next place is tried
            return False
        raise
    return True


_SameFit = tuple[str, int, bool, str, str]


def _made_from(fitted: "Fit") -> _SameFit:
    attributes = fitted.tree.attrs
    return (
        str(attributes["input_hash"]),
        int(attributes["seed"]),
        fitted.verdict.approximate,
        str(attributes["version"]),
        str(attributes.get("code", "")),
    )


def draws_of_same_fit(folder: Path, wanted: _SameFit) -> "Fit | None":
    """Return the fit kept in a folder when it is of the same inputs, seed, kind and program; else None."""
    from holdcast.capacity.store import load

    if not folder.is_dir():
        return None
    try:
        fitted = load(folder)
    except (ResultsError, OSError):
        return None
    return fitted if _made_from(fitted) == wanted else None


def wanted_fit(campaign: Campaign, seed: int, *, quick: bool) -> _SameFit:
    """Return what tells a fit from all others: the campaign's files, the seed, the kind, and the program."""
    from holdcast.capacity.results.root import fit_code_digest

    return campaign.digest, seed, quick, version("holdcast"), fit_code_digest()


def drop_draws(folder: Path) -> None:
    """Remove a folder of draws whose results have been written."""
    if may_replace_draws(folder):
        shutil.rmtree(folder, ignore_errors=True)
