"""Setting in invented worlds, by other rules than the program's model.

The chance that an anchor sets is a logistic of its tip's margin times a luck of its design's own; whether it
does comes in runs: with a chance of a half an anchor does on the same spot what it did the time before.
"""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, stats
from scipy.special import expit

from invented.truth import (
    DESIGN_OF,
    FEATURES,
    GRAVITY,
    SIZES,
    STIFFNESS,
    TAIL_FREEDOM,
    VISIT_SPREAD,
    Array,
    Setting,
    Truth,
    World,
)

__all__ = ["HELD_N", "RUNS", "SLIDING_SCATTER", "chance_above", "draw_setting", "in_runs"]

RUNS = 0.5  # chance that an anchor does again what it did before, on one spot
SLIDING_SCATTER = 0.35
SLIDING_EFFICIENCY, SLIDING_SHARE = 1.1, 0.2
PACKED = 0, 0.3  # the seabed in which an upturned edge packs, and what it leaves of the chance to set again
HELD_N = 250.0  # load by which an attempt to set again is judged
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(15)


def draw_setting(world: World, truth: Truth, generator: np.random.Generator) -> Truth:
    """Return the truth with what is true of setting."""
    size = np.log(truth.mass / 10.0)
    margin = (np.log(truth.tip_load) - 0.4 * size)[:, None] - 1.2 * STIFFNESS - truth.cover_need
    luck = 1.0 - generator.beta(0.6, 9.0, len(SIZES))[DESIGN_OF][:, None]

    def unset(level: float) -> float:
        return float(1.0 - (expit(level + 1.5 * margin + truth.cover_odds) * luck).mean()) - world.unset

    level = optimize.brentq(unset, -20.0, 20.0) if unset(20.0) < 0.0 else 20.0
    sets = expit(level + 1.5 * margin + truth.cover_odds) * luck
    again = sets * generator.beta(8.0, 2.0, len(SIZES))[DESIGN_OF][:, None]
    seabed, loss = PACKED
    packs = truth.has_feature[:, FEATURES.index("upturned_edge")] > 0
    again[packs, seabed] *= loss
    weight = np.log(SLIDING_EFFICIENCY * GRAVITY * truth.mass)[:, None] + np.zeros_like(margin)
    sliding = weight if world.slides_at == "weight" else np.log(SLIDING_SHARE) + truth.log_capacity
    return replace(truth, setting=Setting(sets, again, sliding))


def in_runs(chance: Array, spot: NDArray[np.int64], generator: np.random.Generator) -> NDArray[np.bool_]:
    """Return whether each of some attempts succeeds, shape (attempt,); those of one spot come in runs."""
    fresh = generator.random(len(chance)) < chance
    repeats = generator.random(len(chance)) < RUNS
    last: dict[int, bool] = {}
    for attempt, here in enumerate(spot):
        if repeats[attempt] and here in last:
            fresh[attempt] = last[here]
        last[here] = bool(fresh[attempt])
    return fresh


def chance_above(world: World, truth: Truth, share: float, fouled_log: float) -> Array:
    """Return the chance that a new pull exceeds a share of the capacity, dims (anchor, seabed)."""
    need = np.log(share)
    spread = np.hypot(VISIT_SPREAD, world.spot_spread)

    def holds(shift: float) -> Array:
        z = (need - shift - spread * _NODES[:, None]) / truth.scatter
        return np.asarray(_WEIGHTS @ stats.t.sf(z, TAIL_FREEDOM) / _WEIGHTS.sum())

    if_set = (1.0 - world.fouled) * holds(0.0) + world.fouled * holds(fouled_log)
    if truth.setting is None:
        return np.broadcast_to(if_set, truth.log_capacity.shape).copy()
    slides = stats.norm.sf((truth.log_capacity + need - truth.setting.sliding) / SLIDING_SCATTER)
    sets = truth.setting.sets
    return np.asarray(sets * if_set + (1.0 - sets) * slides)
