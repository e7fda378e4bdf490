"""Seabeds as draws: known ones from the posterior, new ones from soil and strength with own deviations."""

from dataclasses import dataclass

import numpy as np

from holdcast.answers.draws.anchors import Effect
from holdcast.answers.draws.draws import Draws, Floats
from holdcast.capacity.inputs.cover import BARE
from holdcast.capacity.inputs.fluke_angles import SLOPE_MIXTURE
from holdcast.capacity.inputs.likeness import alike_kernel
from holdcast.capacity.model.design_parts import Variances
from holdcast.physics.ground.fluke_angle import ANGLE_GROUNDS, PUBLISHED_GAIN, angle_shares

__all__ = ["SeabedDraws", "effect_in", "known_cover_setting", "known_seabed", "new_seabed", "steep_gain"]

_NUGGET = 1e-9
"""Added to variances relative to their sum, so that two seabeds of one class can still be solved for."""


@dataclass(frozen=True)
class SeabedDraws:
    """One seabed as draws; arrays of shape (sample,) where nothing else is said.

    Attributes
    ----------
    label : name of the seabed.
    at : place among the known seabeds; None for a new one.
    likeness : array, shape (seabed,), likeness to each known seabed.
    angle_shares : how far it is of each kind of ground in which a fluke's angle has an effect of its own.
    ground, log_resistance, exponent_deviation, pull_scatter : see the model [log N], [log kg], [1], [1].
    strength : strength index [1].
    set_deviation : what the seabed and what lies on top of it add to the log odds of setting [1].
    """

    label: str
    at: int | None
    likeness: Floats
    angle_shares: tuple[float, ...]
    ground: Floats
    log_resistance: Floats
    exponent_deviation: Floats
    pull_scatter: Floats
    strength: Floats
    set_deviation: Floats


def known_seabed(draws: Draws, label: str) -> SeabedDraws:
    """Return a seabed of the fit.

    Raises
    ------
    KeyError
        When the fit has no such seabed.
    """
    at = draws.place("seabed", label)
    strength = (draws.inputs[name][at] for name in ("strength_index", "strength_index_spread"))
    return SeabedDraws(
        label,
        at,
        _kernel(draws)[:, at],
        angle_shares(str(draws.seabeds["soil"].loc[label]), *(float(each) for each in strength)),
        ground=draws["ground"][:, at],
        log_resistance=draws["log_resistance"][:, at],
        exponent_deviation=draws["size_exponent_deviation"][:, at],
        pull_scatter=draws["pull_scatter"][:, at],
        strength=draws["strength"][:, at],
        set_deviation=draws["set_seabed_effect"][:, at] + known_cover_setting(draws, label),
    )


def known_cover_setting(draws: Draws, label: str) -> Floats:
    """Return what lies on top of a seabed of the fit adds to the log odds of setting, shape (sample,)."""
    has = draws.inputs["has_cover"].sel(seabed=label)
    covers = [str(cover) for cover in has["cover"].to_numpy()[has.to_numpy() > 0.0]]
    return _of_cover(draws, "cover_setting", covers[0] if covers else BARE)


def new_seabed(
    draws: Draws, label: str, soil: str, index: float, spread: float, cover: str = BARE
) -> SeabedDraws:
    """Return a seabed that nobody has tested.

    Parameters
    ----------
    draws : Draws
    label : str
        Its name; two requests of one name speak of one seabed.
    soil : str
        Principal fraction.
    index, spread : float
        Its place on the scale of strength and how uncertain that is [1], see
        :mod:`holdcast.physics.ground.strength_index`.
    cover : str
        What lies on top; `BARE` where nothing does.
    """
    strength = index + spread * draws.normals("seabed", label, "strength")
    ground = (
        draws["ground_typical"]
        + _of_soil(draws, "ground_soil", soil)
        + draws["ground_strength_slope"] * strength
        + draws["ground_spread"] * draws.normals("seabed", label, "ground")
    )
    resistance = (
        draws["resistance_typical"]
        + _of_soil(draws, "resistance_soil", soil)
        + draws["resistance_strength_slope"] * strength
        + _of_cover(draws, "cover_resistance", cover)
        + _deviation(draws, "resistance_deviation", label)
    )
    scatter = np.log(draws["pull_scatter_typical"]) + _deviation(draws, "pull_scatter_deviation", label)
    own_share = np.sqrt(draws["set_share"][:, draws.place("set_part", "seabed")])
    return SeabedDraws(
        label,
        None,
        _kernel(draws, index, soil)[:-1, -1],
        angle_shares(soil, index, spread),
        ground,
        resistance,
        _deviation(draws, "size_exponent_deviation", label),
        np.exp(scatter),
        strength,
        own_share * draws["set_spread"] * draws.normals("seabed", label, "set")
        + _of_cover(draws, "cover_setting", cover),
    )


def steep_gain(draws: Draws, seabed: SeabedDraws) -> Floats:
    """Return what a fluke one step steeper adds to log capacity [1], shape (sample,).

    A log in which no design has two angles tells nothing of it; then its prior speaks.
    """
    if "fluke_angle_slope" in draws:
        slopes = draws["fluke_angle_slope"]
    else:
        prior = draws.priors["fluke_angle_deviation"]
        drawn = draws.normals("fluke angle", columns=len(ANGLE_GROUNDS))
        parts = prior["mean"] + prior["sd"] * drawn
        slopes = np.array([*PUBLISHED_GAIN.values()]) + parts @ SLOPE_MIXTURE.T
    gain: Floats = slopes @ np.array(seabed.angle_shares)
    return gain


def _of_soil(draws: Draws, name: str, soil: str) -> Floats:
    return _learnt_or_prior(draws, name, "soil", soil)


def _of_cover(draws: Draws, name: str, cover: str) -> Floats:
    return np.zeros(draws.samples) if cover == BARE else _learnt_or_prior(draws, name, "cover", cover)


def _learnt_or_prior(draws: Draws, name: str, dim: str, label: str) -> Floats:
    """Return an effect that is one for each label, from its prior where the log has no such label."""
    if label in draws.labels(dim):
        return draws[name][:, draws.place(dim, label)]
    prior = draws.priors[name]
    return prior["mean"] + prior["sd"] * draws.normals(name, label)


def _deviation(draws: Draws, name: str, label: str) -> Floats:
    prior = draws.priors[name]
    return prior["mean"] + prior["sd"] * draws.normals("seabed", label, name)


def _kernel(draws: Draws, *new: float | str) -> Floats:
    """Return the likeness of the known seabeds, and of one more given by its index and its soil."""
    index = draws.inputs["strength_index"].to_numpy()
    soils = [str(soil) for soil in draws.seabeds["soil"]]
    if new:
        index, soils = np.append(index, float(new[0])), [*soils, str(new[1])]
    return alike_kernel(index, soils)


def effect_in(draws: Draws, effect: Effect, seabed: SeabedDraws) -> Floats:
    """Return a member's effect in a seabed, shape (sample,).

    Notes
    -----
    In a new seabed: the normal distribution given the member's effects in the known seabeds of that draw,
    under the covariance main J + alike K + own I of known and new seabeds together (the conditional of a
    joint normal, an identity).
    """
    if seabed.at is not None:
        return effect.values[:, seabed.at]
    weights, variance = _conditional(draws, effect.spread, seabed.likeness)
    deviation = effect.values - effect.mean[:, None]
    mean: Floats = effect.mean + np.einsum("ns,ns->n", weights, deviation)
    return mean + np.sqrt(variance) * draws.normals(effect.member, "in", seabed.label)


def _conditional(draws: Draws, spread: Variances, likeness: Floats) -> tuple[Floats, Floats]:
    """Return weights (sample, seabed) on the known effects and the variance left (sample,)."""
    values, vectors = draws.inputs["alike_value"].to_numpy(), draws.inputs["alike_vector"].to_numpy()
    total = spread.main + spread.alike + spread.own
    # In the kernel's own basis all but the main part is a plain scaling; the main part is of rank one.
    scale = spread.alike[:, None] * values + (spread.own + _NUGGET * total)[:, None]
    ones, cross = vectors.sum(axis=0), likeness @ vectors
    right = spread.main[:, None] * ones + spread.alike[:, None] * cross
    solved, solved_ones = right / scale, ones / scale
    joint = spread.main / (1.0 + spread.main * (ones * solved_ones).sum(axis=1))
    weights: Floats = solved - (joint * (ones * solved).sum(axis=1))[:, None] * solved_ones
    variance = total - (right * weights).sum(axis=1)
    back: Floats = weights @ vectors.T
    return back, np.maximum(variance, 0.0)
