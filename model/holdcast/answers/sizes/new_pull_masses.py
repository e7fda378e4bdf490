"""The mass at which one new pull exceeds a load with a chance, for many shapes and seabeds at once."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit, ndtr, ndtri

from holdcast.answers.draws.anchors import AnchorDraws
from holdcast.answers.draws.capacity import log_without_size
from holdcast.answers.draws.draws import Draws, Floats
from holdcast.answers.draws.new_pull import least_load_n, visit_and_spot
from holdcast.answers.draws.rode import Geometry, log_needed
from holdcast.answers.draws.seabeds import SeabedDraws
from holdcast.answers.draws.setting import log_odds_without_entry, log_sliding_load
from holdcast.answers.sizes.one_shape import SEARCHED_KG, most_searched_kg
from holdcast.capacity.pointwise.student_and_normal import StudentAndNormal, student_and_normal
from holdcast.physics.ground.penetration import log_penetration_factor
from holdcast.physics.roots import root_between
from holdcast.physics.size import REFERENCE_MASS_KG, log_size_factor

__all__ = ["masses_of_new_pull"]

_THINNED = 16
"""Every so many-th draw finds where to look for a mass, then all find it."""
_NEAR = 0.2
"""How far from what thinned draws say all draws are looked at, on the log mass."""
_ROUGH, _EXACT = 1e-3, 1e-10
"""Of a chance's normal score: then the log mass is found, with some of the draws and with all."""
_SURE = 1e-15
"""Nearer to 0 and 1 than this a chance is not told from them."""


def masses_of_new_pull(
    draws: Draws,
    cells: Sequence[tuple[AnchorDraws, SeabedDraws]],
    tension_n: float,
    geometry: Geometry,
    chances: Sequence[float],
) -> Floats:
    """Return the masses at which one new pull exceeds a load with each chance [kg], shape (cell, chance).

    Parameters
    ----------
    draws : Draws
    cells : sequence of AnchorDraws and SeabedDraws
        Shapes to be scaled, each with a seabed; all are solved for at once.
    tension_n : float
        Load at the anchor, along the rode [N].
    geometry : Geometry
        How the rode leads.
    chances : sequence of float

    Returns
    -------
    array
        Infinite where no mass searched is enough, the least mass searched where that is too much.

    Notes
    -----
    A mass whose own weight resists the load by sliding is enough with any chance; that least load goes in
    proportion to the mass.  Where to look is found with some of the draws, then all of them find it.
    """
    cell = np.repeat(np.arange(len(cells)), len(chances))
    wanted = np.tile(ndtri(np.asarray(chances, dtype=float)), len(cells))
    about = {
        seabed.label: student_and_normal(visit_and_spot(draws) / seabed.pull_scatter) for _, seabed in cells
    }
    pulls = [_scaled_pull(draws, *each, tension_n, geometry, about[each[1].label]) for each in cells]
    few = [each.of_draws(slice(None, None, _THINNED)) for each in pulls]
    ends = np.log([SEARCHED_KG[0], most_searched_kg(draws)])
    near = root_between(partial(_excess, few), ends[0], ends[1], (wanted, cell), {"fatol": _ROUGH})
    masses = np.exp(_near_root(partial(_excess, pulls), near, ends, (wanted, cell)))
    by_weight = tension_n / least_load_n(draws, 1.0, geometry)
    if by_weight > most_searched_kg(draws):
        by_weight = np.inf
    return np.minimum(masses, by_weight).reshape(len(cells), len(chances))


@dataclass(frozen=True)
class _ScaledPull:
    """One new pull of a shape in a seabed at any mass; arrays of shape (sample,).

    Attributes
    ----------
    same : log capacity less what the mass changes [log N].
    exponent : of size [1].
    tip_load : log tip load at 1 kg [log kg].
    log_resistance, steepness, tip_growth : of penetration, see the model [log kg], [1], [1].
    odds, by_entry : log odds of digging in but for the tip's breaking in, and what that does to them [1].
    needed : log load along the bottom that stands for the load asked about [log N].
    pull_scatter : scale of a pull's scatter [log N].
    about_capacity : what visit, spot and pull do together, in that scale.
    slide_margin, sliding_scatter : log load at which 1 kg slides less the one asked about; its spread.
    """

    same: Floats
    exponent: Floats
    tip_load: Floats
    log_resistance: Floats
    steepness: Floats
    tip_growth: Floats
    odds: Floats
    by_entry: Floats
    needed: Floats
    pull_scatter: Floats
    slide_margin: Floats
    sliding_scatter: Floats
    about_capacity: StudentAndNormal

    def of_draws(self, which: slice) -> "_ScaledPull":
        """Return the same pull from some of the draws."""
        arrays = {name: values[which] for name, values in vars(self).items() if name != "about_capacity"}
        return replace(self, **arrays, about_capacity=self.about_capacity.of_draws(which))

    def chance(self, log_mass: Floats) -> Floats:
        """Return the chance that it exceeds the load at each log mass, shape (mass,)."""
        log_mass = log_mass[:, None]
        ratio = log_mass - np.log(REFERENCE_MASS_KG)
        entry = log_penetration_factor(
            self.tip_load + log_mass, ratio, self.log_resistance, self.steepness, self.tip_growth
        )
        capacity = self.same + (log_size_factor(ratio, self.exponent) + entry)
        held = self.about_capacity.below((capacity - self.needed) / self.pull_scatter)
        sets = expit(self.odds + self.by_entry * entry)
        slid = ndtr((self.slide_margin + log_mass) / self.sliding_scatter)
        return np.asarray((sets * held + (1.0 - sets) * slid).mean(axis=-1))


def _scaled_pull(
    draws: Draws,
    anchor: AnchorDraws,
    seabed: SeabedDraws,
    tension_n: float,
    geometry: Geometry,
    about_capacity: StudentAndNormal,
) -> _ScaledPull:
    log_tension = np.log(tension_n)
    return _ScaledPull(
        same=log_without_size(draws, anchor, seabed),
        exponent=draws["size_exponent"] + seabed.exponent_deviation,
        tip_load=anchor.log_tip_load - np.log(anchor.mass_kg),
        log_resistance=seabed.log_resistance,
        steepness=draws["penetration_steepness"],
        tip_growth=draws["tip_growth"],
        odds=log_odds_without_entry(draws, anchor, seabed),
        by_entry=draws["set_by_entry"],
        needed=log_needed(np.full(draws.samples, log_tension), draws["strength_of_fall"], geometry),
        pull_scatter=seabed.pull_scatter,
        slide_margin=log_sliding_load(draws, 1.0) - log_tension,
        sliding_scatter=draws["sliding_scatter"],
        about_capacity=about_capacity,
    )


def _excess(
    pulls: Sequence[_ScaledPull], log_mass: Floats, wanted: Floats, cell: NDArray[np.int64]
) -> Floats:
    """Return by how much the chance exceeds the wanted one, both as normal scores.

    Over log mass a chance's normal score is nearly a straight line, on which a root is found in few steps.
    One cell after the other: its draws stay in the processor's cache.
    """
    chance = np.empty(log_mass.shape)
    for place in np.unique(cell):
        of_cell = cell == place
        chance[of_cell] = pulls[place].chance(log_mass[of_cell])
    return np.asarray(ndtri(np.clip(chance, _SURE, 1.0 - _SURE)) - wanted)


def _near_root(
    excess: Callable[..., Floats],
    near: Floats,
    ends: Floats,
    args: tuple[Floats, NDArray[np.int64]],
) -> Floats:
    """Return where a rising function is 0: about places that may be NaN, or else between the ends.

    The lower end where it is above 0 everywhere, infinity where it is nowhere.
    """
    root = root_between(excess, near - _NEAR, near + _NEAR, args, {"fatol": _EXACT})
    root[(root < ends[0]) | (root > ends[1])] = np.nan
    far = np.flatnonzero(np.isnan(root))
    if len(far):
        few = tuple(each[far] for each in args)
        at_low, at_high = (excess(np.full(far.shape, end), *few) for end in ends)
        inside = root_between(excess, ends[0], ends[1], few, {"fatol": _EXACT})
        root[far] = np.select([at_low >= 0.0, at_high < 0.0], [ends[0], np.inf], inside)
    return root
