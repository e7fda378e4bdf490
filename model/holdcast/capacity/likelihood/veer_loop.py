"""The likelihood of all veers and its slopes: what an anchor keeps of its capacity while its load turns.

No published law is known of what a drag anchor keeps while the pull swings round.  Taken here: of the load
at which a straight pull would break out, exp(-τ θ / 90°) is left after a turn of θ, τ ≥ 0 being the anchor's
own in that ground.  One number, never above the straight pull, the same loss for each further degree, so that
a turn held part of the way tells of the whole.  A turn through θ under a load h that was held says that a
straight pull exceeds h exp(τ θ / 90°); one that let go between two angles lies between theirs.
"""

from typing import Any

import numba
import numpy as np
from numpy.typing import NDArray

from holdcast.capacity.likelihood.interval_rows import Distribution
from holdcast.capacity.likelihood.pull_loop import Loop
from holdcast.capacity.likelihood.pull_rows import one_pull
from holdcast.capacity.symbols import Compiled

__all__ = ["VEER_COLUMNS", "VEER_EFFECTS", "veer_loop"]

Numbers = NDArray[np.float64]

VEER_EFFECTS = ("capacity", "visit", "spot", "scatter", "fall", "rate", "turn")
"""What moves the likelihood, in order: as for pulls; ``turn`` (anchor, seabed): τ [1]."""

VEER_COLUMNS = (
    *("veer_spot", "veer_anchor", "veer_seabed", "veer_visit", "veer_kind", "veer_lower", "veer_upper"),
    *("veer_fall_lower", "veer_fall_upper", "veer_fall_slope", "veer_speed", "turn_lower", "turn_upper"),
)
"""Data of each veer, dim veer: positions; kind and ends as for pulls; the turn at each end over 90
degrees."""


_EFFECTS = len(VEER_EFFECTS)


def veer_loop(distribution: Distribution) -> Loop:
    """Return the compiled function that gives the log likelihood of all veers and its slopes.

    Parameters
    ----------
    distribution : Distribution
        Of the scatter of loads.

    Returns
    -------
    callable
        Takes `VEER_EFFECTS` and `VEER_COLUMNS`.  Gives the log likelihood (no dims) and its slopes by the
        effects.
    """
    add_veers = _add_veers(distribution)

    @numba.njit(error_model="numpy")  # type: ignore[untyped-decorator]
    def all_veers(*inputs: NDArray[Any]) -> tuple[Any, ...]:
        effects, columns = inputs[:_EFFECTS], inputs[_EFFECTS:]
        capacity, visit, spot, scatter, fall, rate, turn = effects
        _check_lengths(columns)
        slopes = (
            *(np.zeros_like(capacity), np.zeros_like(visit), np.zeros_like(spot), np.zeros_like(scatter)),
            *(np.zeros(fall.shape), np.zeros_like(rate), np.zeros_like(turn)),
        )
        return (np.asarray(add_veers(effects, columns, slopes)), *slopes)

    compiled: Loop = all_veers
    return compiled


def _add_veers(distribution: Distribution) -> Compiled:
    """Return the compiled function of all veers: their log likelihood, slopes added to those at hand."""
    pull = one_pull(distribution)

    @numba.njit(error_model="numpy")  # type: ignore[untyped-decorator]
    def add_veers(effects: Any, columns: Any, slopes: Any) -> float:  # noqa: ANN401
        capacity, visit, spot, scatter, fall, rate, turn = effects
        at_spot, at_anchor, at_seabed, at_visit, kind, lower, upper = columns[:7]
        fall_lower, fall_upper, fall_slope, speed, turn_lower, turn_upper = columns[7:]
        by_capacity, by_visit, by_spot, by_scatter, by_fall, by_rate, by_turn = slopes
        total = 0.0
        for i in range(kind.size):
            anchor, seabed = at_anchor[i], at_seabed[i]
            location = capacity[anchor, seabed] + visit[at_visit[i]] + spot[at_spot[i]]
            lost = turn[anchor, seabed]
            likelihood, by = pull(
                kind[i], lower[i] + lost * turn_lower[i], upper[i] + lost * turn_upper[i],
                (fall_lower[i], fall_upper[i], fall_slope[i]), speed[i],
                (location, 1.0 / scatter[seabed], fall[()], rate[seabed], 0.0),
            )  # fmt: skip
            total += likelihood
            by_capacity[anchor, seabed] += by[0]
            by_visit[at_visit[i]] += by[0]
            by_spot[at_spot[i]] += by[0]
            by_scatter[seabed] += by[1]
            by_fall[()] += by[2]
            by_rate[seabed] += by[3]
            by_turn[anchor, seabed] += by[5] * turn_lower[i] + by[6] * turn_upper[i]
        return total

    return add_veers


@numba.njit(error_model="numpy")  # type: ignore[untyped-decorator]
def _check_lengths(columns: tuple[NDArray[Any], ...]) -> None:
    at_spot, at_anchor, at_seabed, at_visit, kind, lower, upper = columns[:7]
    fall_lower, fall_upper, fall_slope, speed, turn_lower, turn_upper = columns[7:]
    veers = kind.size
    if not at_spot.size == at_anchor.size == at_seabed.size == at_visit.size == veers == lower.size:
        raise ValueError("all columns must have one entry for every veer")
    if not upper.size == fall_lower.size == fall_upper.size == fall_slope.size == speed.size == veers:
        raise ValueError("all columns must have one entry for every veer")
    if not turn_lower.size == turn_upper.size == veers:
        raise ValueError("all columns must have one entry for every veer")
