"""Paired configurations: anchors of one design that differ by one feature."""

from typing import NamedTuple

import numpy as np
import xarray as xr

from holdcast.answers.draws.bands import BANDS, band
from holdcast.answers.draws.counts import counts
from holdcast.answers.draws.draws import Draws, draws_of
from holdcast.capacity.fitting import Fit

__all__ = ["LARGE_CHANGE", "MOST_MASS_RATIO", "Pair", "find_pairs", "large_change", "paired_contrasts"]

MOST_MASS_RATIO = 1.3
"""Masses of a pair differ by less than this factor: a bolt-on part, not another size (a choice)."""


LARGE_CHANGE = 0.10
"""A change of capacity worth speaking of: more than 10% up or down."""


def large_change(log_factor: xr.DataArray) -> xr.DataArray:
    """Return whether a log factor is a change of more than `LARGE_CHANGE` either way."""
    large: xr.DataArray = (log_factor > np.log1p(LARGE_CHANGE)) | (log_factor < np.log1p(-LARGE_CHANGE))
    return large


class Pair(NamedTuple):
    """One design with a feature and without it; both of nearly one mass and alike in every other feature."""

    feature: str
    with_it: str
    without: str

    @property
    def label(self) -> str:
        """Both anchors, as a label."""
        return f"{self.with_it} against {self.without}"


def find_pairs(fit: Fit) -> list[Pair]:
    """Return every pair of configurations of one design that differ by one feature alone."""
    table = fit.tree["anchors"].to_dataset()
    has = fit.inputs["has_feature"].transpose("anchor", "feature").to_numpy() > 0
    names = [str(name) for name in fit.inputs["anchor"].to_numpy()]
    features = [str(name) for name in fit.inputs["feature"].to_numpy()]
    design = table["design"].sel(anchor=names).to_numpy()
    mass = table["mass_kg"].sel(anchor=names).to_numpy()
    pairs = []
    for with_it in range(len(names)):
        for without in range(len(names)):
            different = np.flatnonzero(has[with_it] != has[without])
            same = design[with_it] == design[without]
            near = max(mass[with_it], mass[without]) < MOST_MASS_RATIO * min(mass[with_it], mass[without])
            if same and near and len(different) == 1 and has[with_it, different[0]]:
                pairs.append(Pair(features[different[0]], names[with_it], names[without]))
    return sorted(pairs, key=lambda pair: features.index(pair.feature))


def paired_contrasts(fit: Fit) -> xr.Dataset:
    """Return the difference with against without, pair by pair and seabed by seabed.

    Returns
    -------
    Dataset, dims (pair, seabed, quantile)
        All factors on capacity [1], with quantiles of the 50% and 90% bands.  ``total``: capacity with the
        feature over capacity without.  ``net``: the feature's own effect.  ``carried``: what the change in
        mass, area and tip load brings.  Draw by draw total = net × carried × the ratio of both
        configurations' own effects, which one pair cannot tell from the feature.  ``p_gain`` (pair, seabed):
        probability that the total is above 1; ``p_large``: that it is off 1 by over 10%.  ``both_tested``
        (pair, seabed).  Coordinates ``feature``,
        ``with_it``, ``without``, ``mass_ratio`` on pair.  No pairs: a dim of length 0.
    """
    pairs, draws = find_pairs(fit), draws_of(fit)
    seabeds = draws.labels("seabed")
    logs = [_log_factors(draws, pair) for pair in pairs]
    tested = counts(draws)["tested"]
    mass = fit.tree["anchors"]["mass_kg"]
    labels = [pair.label for pair in pairs]
    factors = {
        name: _stack([band(log[name].copy(data=np.exp(log[name]))) for log in logs], labels, seabeds)
        for name in ("total", "net", "carried")
    }
    gain = _stack([(log["total"] > 0).mean("sample") for log in logs], labels, seabeds, with_band=False)
    large = _stack(
        [large_change(log["total"]).mean("sample") for log in logs], labels, seabeds, with_band=False
    )
    both = _stack(
        [tested.sel(anchor=[pair.with_it, pair.without]).all("anchor") for pair in pairs],
        labels,
        seabeds,
        with_band=False,
    )
    answer = xr.Dataset({**factors, "p_gain": gain, "p_large": large, "both_tested": both.astype(bool)})
    for name in answer.data_vars:
        answer[name].attrs = {"units": "1", "long_name": _LONG[str(name)]}
    ratio = [float(mass.sel(anchor=pair.with_it) / mass.sel(anchor=pair.without)) for pair in pairs]
    return answer.assign_coords(
        feature=("pair", np.array([pair.feature for pair in pairs], dtype=str)),
        with_it=("pair", np.array([pair.with_it for pair in pairs], dtype=str)),
        without=("pair", np.array([pair.without for pair in pairs], dtype=str)),
        mass_ratio=("pair", np.array(ratio, dtype=float)),
    )


_LONG = {
    "total": "factor on capacity, with against without",
    "net": "factor on capacity by the feature itself",
    "carried": "factor on capacity by the mass, area and tip load that it changes",
    "p_gain": "probability that with holds more than without",
    "p_large": "probability of a change larger than 10%",
    "both_tested": "whether both were pulled in this seabed",
}


def _log_factors(draws: Draws, pair: Pair) -> dict[str, xr.DataArray]:
    total = _difference(draws, "log_capacity", pair)
    net = draws.posterior["feature_effect"].sel(feature=pair.feature, drop=True)
    return {
        "total": total,
        "net": net,
        "carried": total - net - _difference(draws, "configuration_effect", pair),
    }


def _difference(draws: Draws, name: str, pair: Pair) -> xr.DataArray:
    values = draws.posterior[name]
    return values.sel(anchor=pair.with_it, drop=True) - values.sel(anchor=pair.without, drop=True)


def _stack(
    parts: list[xr.DataArray], labels: list[str], seabeds: list[str], *, with_band: bool = True
) -> xr.DataArray:
    """Return the parts along a new first dim ``pair``; with no parts an empty array of the same dims."""
    if parts:
        return xr.concat([part.sel(seabed=seabeds) for part in parts], "pair").assign_coords(pair=labels)
    coords: dict[str, list[str] | list[float]] = {"pair": [], "seabed": seabeds}
    if with_band:
        coords["quantile"] = list(BANDS)
    return xr.DataArray(
        np.zeros([len(value) for value in coords.values()]), dims=tuple(coords), coords=coords
    )
