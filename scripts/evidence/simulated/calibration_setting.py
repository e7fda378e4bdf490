"""What a tester sees of a truth of the model: which pulls set, how resets and veers come out."""

from typing import NamedTuple

import numpy as np
import xarray as xr
from numpy.typing import NDArray
from scipy import stats
from scipy.special import expit

from holdcast.capacity.likelihood.kinds import ABOVE, BELOW, BETWEEN, DEGREES_OF_FREEDOM
from holdcast.capacity.pointwise.known_spots import known_spots

__all__ = ["SetPulls", "read_resets", "read_veers", "set_pulls"]

Array = NDArray[np.float64]
READ_TO = 0.5
"""How finely the angle of a veer is read, in quarter turns.  So coarse, since the program never takes an
interval for narrower than 0.02: finer readings of a turn that costs next to nothing are not as the model has
them."""
STEP = 0.13
"""Of the log loads by which a veer that held is pulled on."""


class SetPulls(NamedTuple):
    """Loads of pulls [log N] and whether each anchor set, shape (trial,)."""

    log_load: Array
    did_set: NDArray[np.bool_]


def _here(truth: xr.Dataset, name: str) -> Array:
    return np.asarray(truth[name].squeeze(("chain", "draw")).to_numpy(), dtype=np.float64)


def set_pulls(inputs: xr.Dataset, truth: xr.Dataset, generator: np.random.Generator) -> SetPulls:
    """Return the loads of all pulls: on each spot a chance of its own, from a beta distribution."""
    spot_anchor, spot_seabed = inputs["spot_anchor"].to_numpy(), inputs["spot_seabed"].to_numpy()
    chance, concentration = expit(_here(truth, "sets_log_odds")), _here(truth, "set_concentration")
    mean = chance[spot_anchor, spot_seabed]
    on_spot = generator.beta(mean * concentration, (1.0 - mean) * concentration)
    did_set = generator.random(inputs.sizes["trial"]) < on_spot[inputs["spot_of"].to_numpy()]
    middle = np.log(_here(truth, "sliding_efficiency")) + inputs["log_weight"].to_numpy()
    noise = _here(truth, "sliding_scatter") * generator.standard_normal(len(did_set))
    slides = middle[inputs["anchor_of"].to_numpy()] + noise
    return SetPulls(np.where(did_set, _here(truth, "log_load"), slides), did_set)


def _location(inputs: xr.Dataset, truth: xr.Dataset, test: str) -> tuple[Array, Array]:
    """Return median and scale of the log load of a straight pull in place of each test."""
    anchor, seabed, visit, spot = (
        inputs[f"{test}_{dim}"].to_numpy() for dim in ("anchor", "seabed", "visit", "spot")
    )
    location = _here(truth, "log_capacity")[anchor, seabed] + _here(truth, "visit_effect")[visit]
    known = known_spots(truth, inputs, spot).to_numpy().ravel()  # a spot with a reset or veer is shared
    return location + known, _here(truth, "pull_scatter")[seabed]


def read_resets(inputs: xr.Dataset, truth: xr.Dataset, generator: np.random.Generator) -> xr.Dataset:
    """Return the inputs with the successes of each reset."""
    anchor, seabed = inputs["reset_anchor"].to_numpy(), inputs["reset_seabed"].to_numpy()
    share = inputs["reversal"].to_numpy()
    first, again = (_here(truth, f"{kind}_log_odds")[anchor, seabed] for kind in ("sets", "resets"))
    location, scatter = _location(inputs, truth, "reset")
    held = stats.t.sf((inputs["reset_held"].to_numpy() - location) / scatter, DEGREES_OF_FREEDOM)
    holds = np.where(inputs["reset_judged"].to_numpy() == 1, held, 1.0)
    mean, concentration = (
        expit((1.0 - share) * first + share * again) * holds,
        _here(truth, "set_concentration"),
    )
    on_spot = generator.beta(mean * concentration, np.maximum((1.0 - mean) * concentration, 1e-300))
    successes = generator.binomial(inputs["attempts"].to_numpy(), on_spot)
    return inputs.assign(successes=("reset", successes.astype(np.int64)))


def read_veers(inputs: xr.Dataset, truth: xr.Dataset, generator: np.random.Generator) -> xr.Dataset:
    """Return the inputs with what each veer came to.

    One that let go before the turn is known to be below the load held; every other one that held all the way
    is pulled on in steps until it lets go.
    """
    location, scatter = _location(inputs, truth, "veer")
    load = location + scatter * generator.standard_t(DEGREES_OF_FREEDOM, len(location))
    lost = _here(truth, "turn")[inputs["veer_anchor"].to_numpy(), inputs["veer_seabed"].to_numpy()]
    held, whole = inputs["veer_lower"].to_numpy(), 2.0
    reached = np.floor(np.maximum(load - held, 0.0) / lost / READ_TO) * READ_TO
    before, all_way = load < held, reached >= whole
    pulled_on = all_way & (np.arange(len(load)) % 2 == 0)
    step = held + np.floor((load - lost * whole - held) / STEP) * STEP
    lower = np.where(pulled_on, step, held)
    turned = np.where(all_way, whole, reached)
    changed = {
        "veer_kind": np.select([before, all_way & ~pulled_on], [BELOW, ABOVE], BETWEEN).astype(np.int64),
        "veer_lower": lower,
        "veer_upper": np.where(pulled_on, step + STEP, held),
        "turn_lower": np.where(before, 0.0, turned),
        "turn_upper": np.select([before, all_way], [0.0, whole], turned + READ_TO),
    }
    return inputs.assign({name: ("veer", values) for name, values in changed.items()})
