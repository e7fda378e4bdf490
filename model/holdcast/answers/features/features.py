"""What a feature, tip weight or fluke area does to capacity in each seabed, and how that is known."""

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from holdcast.answers.draws.bands import BAND_90, band
from holdcast.answers.draws.counts import counts
from holdcast.answers.draws.draws import draws_of
from holdcast.answers.draws.provenance import about
from holdcast.answers.explain.learning import contraction, shift
from holdcast.answers.features.pairs import LARGE_CHANGE, find_pairs, large_change
from holdcast.capacity.fitting import Fit
from holdcast.physics.ground.fluke_angle import ANGLE_STEP_DEG
from holdcast.physics.ground.penetration import log_penetration_factor

__all__ = [
    "LARGE_CHANGE",
    "STEEPER",
    "STEP",
    "TOGETHER",
    "feature_effects",
    "features_together",
    "measurement_effects",
    "pooled_effects",
]

STEP = 1.25
"""Tip load and fluke area change by this factor: about what a bolt-on weight brings."""
STEEPER = f"fluke {ANGLE_STEP_DEG:g}° steeper"
"""Name of the effect of a fluke's angle."""
TOGETHER = 0.8
"""Two features that correlate this much over the anchors nearly always go together (a choice)."""


def feature_effects(fit: Fit) -> xr.Dataset:
    """Return the net effect of each feature in each seabed as a factor on capacity.

    Returns
    -------
    Dataset, dims (effect, seabed, quantile)
        ``factor`` (effect, seabed, quantile) [1]: quantiles of the 50% and 90% bands; net of the mass, area
        and tip load that the feature changes.  ``p_gain``: probability of a factor above 1; ``p_large``: of
        a change larger than `LARGE_CHANGE` either way.  ``contraction`` and ``shift`` (effect, seabed): how
        far the data moved the log factor from its prior, see :mod:`holdcast.answers.explain.learning`.
        ``pairs`` (effect): paired configurations; ``pairs_tested`` (effect, seabed): of these, both pulled
        there; ``seabeds_paired`` (effect): seabeds with at least one such; ``anchors_with`` (effect): how
        many anchors have it.
    """
    draws = draws_of(fit)
    after, before = (
        each["feature_effect"].rename(feature="effect") for each in (draws.posterior, draws.prior)
    )
    effects = _summary(after, before)
    tested, pairs = counts(draws)["tested"], find_pairs(fit)
    features = [str(name) for name in effects["effect"].to_numpy()]
    pairs_tested = xr.zeros_like(effects["p_gain"], dtype=int)
    for pair in pairs:
        both = tested.sel(anchor=[pair.with_it, pair.without]).all("anchor")
        pairs_tested.loc[{"effect": pair.feature}] += both.sel(seabed=pairs_tested["seabed"]).astype(int)
    count = [sum(pair.feature == feature for pair in pairs) for feature in features]
    effects = effects.assign(
        pairs=("effect", np.array(count, dtype=int)),
        pairs_tested=pairs_tested,
        seabeds_paired=(pairs_tested > 0).sum("seabed"),
        anchors_with=(
            "effect",
            fit.inputs["has_feature"].sel(feature=features).sum("anchor").astype(int).to_numpy(),
        ),
    )
    for name in ("pairs", "pairs_tested", "seabeds_paired", "anchors_with"):
        effects[name].attrs = {"units": "1", "long_name": name.replace("_", " ")}
    return effects.assign_attrs(anchors=fit.inputs.sizes["anchor"])


def pooled_effects(fit: Fit) -> xr.Dataset:
    """Return the net effect of each feature over all seabeds of the log, as a factor on capacity.

    Returns
    -------
    Dataset, dims (effect, quantile)
        ``factor`` [1]: geometric mean over the seabeds, draw by draw, at the quantiles of the 90% band and
        its median; ``p_gain`` (effect): probability that it is above 1.
    """
    log_factor = draws_of(fit).posterior["feature_effect"].rename(feature="effect").mean("seabed")
    return xr.Dataset(
        {
            "factor": band(xr.DataArray(np.exp(log_factor)), BAND_90).assign_attrs(
                about("1", "factor on capacity, over all seabeds")
            ),
            "p_gain": (log_factor > 0).mean("sample").assign_attrs(about("1", "probability of a gain")),
        }
    )


def measurement_effects(fit: Fit) -> xr.Dataset:
    """Return what a quarter more tip load, or a quarter more fluke area, does at the typical anchor.

    The typical anchor has the median mass and the median tip load of the campaign's anchors; mass stays as
    it is. The effect of tip load is that of the penetration term, so it differs by seabed; that of area is
    `STEP` to the power of the area exponent, one number in all seabeds.  That of a steeper fluke is there
    where some design has two angles, and goes by kind of ground.

    Returns
    -------
    Dataset, dims (effect, seabed, quantile)
        ``factor``, ``p_gain``, ``p_large``, ``contraction``, ``shift`` as in :func:`feature_effects`; effects
        "tip load +25%", "fluke area +25%" and perhaps `STEEPER`.  Attributes ``typical_mass_kg``,
        ``typical_tip_load_kg``.
    """
    mass = float(fit.inputs["log_mass_ratio"].median())
    tip = float(fit.inputs["log_tip_load"].median())
    draws = draws_of(fit)
    shares = fit.inputs["angle_ground_share"]
    effects = _summary(
        *(_measurement_draws(each, mass, tip, shares) for each in (draws.posterior, draws.prior))
    )
    # On rock an angle has no effect, before the data and after: nothing to learn.
    effects = effects.assign({name: effects[name].fillna(0.0) for name in ("contraction", "shift")})
    typical = float(fit.tree["anchors"]["mass_kg"].median())
    return effects.assign_attrs(typical_mass_kg=typical, typical_tip_load_kg=float(np.exp(tip)))


def features_together(fit: Fit) -> xr.Dataset:
    """Return how far two features go together, over anchors and in the joint posterior.

    Returns
    -------
    Dataset, dims (feature, other)
        ``over_anchors``: correlation of having one with having the other over the anchors; NaN where all or
        no anchors have one.  ``in_posterior``: correlation of the draws of both typical effects; near -1 the
        data fix only the sum of both.  ``cannot_tell``: the former reaches `TOGETHER` in size.
    """
    has = fit.inputs["has_feature"].transpose("feature", "anchor")
    typical = draws_of(fit).posterior["feature_typical"].sel(feature=has["feature"])
    over = _correlation(has.to_numpy())
    names = [str(name) for name in has["feature"].to_numpy()]
    dims = ("feature", "other")
    own = np.eye(len(names), dtype=bool)
    together = xr.Dataset(
        {
            "over_anchors": (dims, over),
            "in_posterior": (dims, _correlation(typical.transpose("feature", "sample").to_numpy())),
            "cannot_tell": (dims, (np.abs(np.nan_to_num(over)) >= TOGETHER) & ~own),
        },
        coords={"feature": names, "other": names},
    )
    for name in together.data_vars:
        together[name].attrs = {"units": "1", "long_name": str(name).replace("_", " ")}
    return together


def _measurement_draws(
    draws: xr.Dataset, mass: float, tip: float, angle_shares: xr.DataArray
) -> xr.DataArray:
    """Return log factors, dims (effect, seabed, sample)."""
    log_resistance, steepness, growth = (
        draws[name] for name in ("log_resistance", "penetration_steepness", "tip_growth")
    )

    def penetration(log_tip: float) -> xr.DataArray:
        return xr.DataArray(log_penetration_factor(log_tip, mass, log_resistance, steepness, growth))

    heavier = penetration(tip + float(np.log(STEP))) - penetration(tip)
    larger = draws["area_exponent"] * float(np.log(STEP)) + 0.0 * log_resistance
    effects = {"tip load +25%": heavier, "fluke area +25%": larger}
    if angle_shares.sizes["angle_ground"]:
        effects[STEEPER] = (draws["fluke_angle_slope"] * angle_shares).sum("angle_ground")
    rows = [each.transpose(*heavier.dims) for each in effects.values()]
    return xr.concat(rows, "effect").assign_coords(effect=list(effects))


def _summary(after: xr.DataArray, before: xr.DataArray) -> xr.Dataset:
    """Summarise draws of a log factor, dims (effect, seabed, sample), beside those from its prior."""
    summary = xr.Dataset(
        {
            "factor": band(xr.DataArray(np.exp(after))),
            "p_gain": (after > 0).mean("sample"),
            "p_large": large_change(after).mean("sample"),
            "contraction": contraction(after, before),
            "shift": shift(after, before),
        }
    )
    long_names = {
        "factor": "factor on capacity",
        "p_gain": "probability of a gain",
        "p_large": "probability of a change larger than 10%",
        "contraction": "share of the prior's variance that the data took away",
        "shift": "move of the mean, in standard deviations of the prior",
    }
    for name, long_name in long_names.items():
        summary[name].attrs = {"units": "1", "long_name": long_name}
    return summary


def _correlation(rows: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return correlations between rows, NaN for a constant one, without dividing by zero."""
    centred = rows - rows.mean(axis=1, keepdims=True)
    size = np.sqrt((centred**2).sum(axis=1))
    product = np.outer(size, size)
    correlation: NDArray[np.float64] = np.full(product.shape, np.nan)
    np.divide(centred @ centred.T, product, out=correlation, where=product > 0)
    return correlation
