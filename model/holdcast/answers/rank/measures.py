"""What anchors are ranked by: the load of a typical new pull, setting again, what is kept in a turn."""

from collections.abc import Mapping
from typing import Literal

import numpy as np
import xarray as xr

from holdcast.answers.draws.draws import Draws, draws_of
from holdcast.answers.draws.log_odds import log_expit
from holdcast.answers.draws.setting import chances_of_setting
from holdcast.capacity.fitting import Fit
from holdcast.physics.units import GRAVITY

__all__ = ["KIND_OF", "TESTED_BY", "Measure", "holds_tests", "log_measure"]

Measure = Literal["capacity", "efficiency", "resets", "veers"]
"""What anchors may be ranked by."""
KIND_OF: Mapping[Measure, str] = {
    "capacity": "pull",
    "efficiency": "pull",
    "resets": "reset",
    "veers": "veer",
}
"""The kind of test by which each measure is known."""
TESTED_BY: Mapping[str, str] = {"pull": "pulls", "reset": "reset_attempts", "veer": "veers"}
"""The count of a cell that tells whether it was tested so."""
_NEEDS: Mapping[Measure, str] = {"resets": "resets_log_odds", "veers": "turn"}


def holds_tests(fit: Fit, measure: Measure) -> bool:
    """Return whether the log holds a test of the kind by which a measure is known."""
    return _NEEDS.get(measure, "log_capacity") in draws_of(fit)


def log_measure(fit: Fit, measure: Measure) -> xr.DataArray:
    """Return draws of the logarithm of what is ranked, dims (anchor, seabed, sample).

    Parameters
    ----------
    fit : Fit
    measure : {"capacity", "efficiency", "resets", "veers"}
        ``capacity``: load of a typical new pull [log N], the mean of its logarithm: capacity where the anchor
        sets, the load at which it slides where it does not, each by its chance.  ``efficiency``: that over
        the anchor's weight in air, mass times standard gravity [log 1].  ``resets``: chance that it digs in
        again after a reversal of 180 degrees [log 1].  ``veers``: share of a straight pull's capacity left
        after a turn of 180 degrees [log 1].

    Raises
    ------
    ValueError
        When there is no such measure, or the log holds no test of its kind.
    """
    if measure not in KIND_OF:
        raise ValueError(f"the measure must be one of {', '.join(map(repr, KIND_OF))}, got {measure!r}")
    draws = draws_of(fit)
    if not holds_tests(fit, measure):
        raise ValueError(f"the log holds no {measure}, so nothing can be ranked by them")
    dims = ("anchor", "seabed", "sample")
    if measure == "resets":
        odds = draws.posterior["resets_log_odds"].transpose(*dims)
        return odds.copy(data=log_expit(odds.to_numpy())).assign_attrs(units="log 1")
    if measure == "veers":
        return (-2.0 * draws.posterior["turn"]).transpose(*dims).assign_attrs(units="log 1")
    typical, weight = _typical_load(fit, draws)
    if measure == "capacity":
        return typical.transpose(*dims).assign_attrs(units="ln(re 1 N)")
    return (typical - np.log(weight)).transpose(*dims).assign_attrs(units="log 1")


def _typical_load(fit: Fit, draws: Draws) -> tuple[xr.DataArray, xr.DataArray]:
    """Return the mean log load of a new pull [log N], and weights in air [N]."""
    sets = chances_of_setting(draws)
    weight = fit.tree["anchors"].to_dataset()["mass_kg"].sel(anchor=sets["anchor"]) * GRAVITY
    sliding = np.log(weight) + np.log(draws.posterior["sliding_efficiency"])
    return sets * draws.posterior["log_capacity"] + (1.0 - sets) * sliding, weight
