"""Where the band of one cell comes from: shares of its variance by part of the model.

The draws of log capacity are the sum of the draws of the model's parts, and the parts trade with each other,
so their variances do not add up.  Each part is given its Shapley share: how much of the variance a linear
regression on its draws explains beyond what other parts explain, averaged over all orders in which parts can
be added. Shares are 0 or more and add up to one.  Lindeman, Merenda & Gold 1980 (values from memory); as
effects of uncertain inputs: Owen 2014, *SIAM/ASA J. Uncertain. Quantif.* 2:245 (value from memory).
"""

from collections.abc import Mapping
from itertools import combinations
from math import factorial

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from holdcast.answers.draws.samples import samples
from holdcast.answers.explain.influence import cell_draws
from holdcast.capacity.fitting import Fit
from holdcast.capacity.model.design_split import effects_of_anchors

__all__ = ["band_sources", "shapley_shares"]

_Columns = dict[str, list[NDArray[np.float64]]]


def band_sources(fit: Fit, anchor: str, seabed: str) -> xr.Dataset:
    """Return the share of each part in the variance of one cell's log capacity.

    Parts are: ``own pulls`` (effects of the visits on which the cell was pulled and the seabed's scatter);
    ``design elsewhere`` (what the effects of design, traits and configuration in the other seabeds say of
    this one, by regression) and ``design here`` (the rest of them); ``features``; ``form``; ``size, tip load,
    area``; ``ground``.  A part that the cell does not have is left out.

    Returns
    -------
    Dataset, dim part
        ``share`` [1], adding up to one.

    Raises
    ------
    KeyError
        When the anchor or the seabed is not known.
    """
    total = cell_draws(fit, anchor, seabed).to_numpy()
    columns = _parts(fit, anchor, seabed)
    shares = shapley_shares(total, columns)
    made = xr.Dataset({"share": ("part", list(shares.values()))}, coords={"part": list(shares)})
    made["share"].attrs = {"units": "1", "long_name": "share of the variance of log capacity"}
    return made


def shapley_shares(
    total: NDArray[np.float64], parts: Mapping[str, list[NDArray[np.float64]]]
) -> dict[str, float]:
    """Return each part's Shapley share of the variance that all parts explain together.

    Parameters
    ----------
    total : array, shape (sample,)
        What is explained.
    parts : mapping of name to list of arrays, shape (sample,)
        Columns of each part; constant columns do not count.
    """
    kept = {name: [c for c in columns if c.std() > 1e-12] for name, columns in parts.items()}
    kept = {name: columns for name, columns in kept.items() if columns}
    names = list(kept)
    explained = {
        chosen: _explained(total, [column for name in chosen for column in kept[name]])
        for size in range(len(names) + 1)
        for chosen in combinations(names, size)
    }
    shares = {}
    for name in names:
        others = [other for other in names if other != name]
        shares[name] = sum(
            factorial(size) * factorial(len(others) - size) / factorial(len(names))
            * (explained[tuple(n for n in names if n in chosen or n == name)] - explained[chosen])
            for size in range(len(names))
            for chosen in combinations(others, size)
        )  # fmt: skip
    whole = sum(shares.values())
    return {name: max(share, 0.0) / whole for name, share in shares.items()}


def _explained(total: NDArray[np.float64], columns: list[NDArray[np.float64]]) -> float:
    """Return the share of the variance that a linear regression on the columns explains."""
    if not columns:
        return 0.0
    table = np.column_stack([(column - column.mean()) / column.std() for column in columns])
    centred = total - total.mean()
    fitted = table @ np.linalg.lstsq(table, centred, rcond=1e-10)[0]
    return float((fitted**2).sum() / (centred**2).sum())


def _parts(fit: Fit, anchor: str, seabed: str) -> _Columns:
    told = fit.inputs
    place = list(told["anchor"].to_numpy()).index(anchor)
    form = str(told["form"].to_numpy()[int(told["form_of"][place])])
    posterior = fit.posterior
    form_effect = samples(posterior["form_effect"].sel(form=form, seabed=seabed)).to_numpy()
    ground = samples(posterior["ground"].sel(seabed=seabed)).to_numpy()
    elsewhere, here = _design(fit, place, seabed)
    features = _features(fit, anchor, seabed, len(ground))
    total = samples(posterior["log_capacity"].sel(anchor=anchor, seabed=seabed)).to_numpy()
    measured = total - ground - form_effect - elsewhere - here - features
    return {
        "own pulls": _own(fit, anchor, seabed),
        "design elsewhere": [elsewhere],
        "design here": [here],
        "features": [features],
        "form": [form_effect],
        "size, tip load, area": [measured],
        "ground": [ground],
    }


def _design(fit: Fit, place: int, seabed: str) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return what design, traits and configuration do here as what they do elsewhere tells, and the rest."""
    effect = samples(effects_of_anchors(fit.posterior, fit.inputs).isel(anchor=place, drop=True))
    here = effect.sel(seabed=seabed).to_numpy()
    others = effect.drop_sel(seabed=seabed).transpose("sample", "seabed").to_numpy()
    if not others.shape[1]:
        return np.zeros_like(here), here
    table = others - others.mean(axis=0)
    fitted = table @ np.linalg.lstsq(table, here - here.mean(), rcond=1e-10)[0]
    return fitted, here - fitted


def _features(fit: Fit, anchor: str, seabed: str, number: int) -> NDArray[np.float64]:
    if not fit.inputs.sizes["feature"]:
        return np.zeros(number)
    has = fit.inputs["has_feature"].sel(anchor=anchor)
    return (samples(fit.posterior["feature_effect"].sel(seabed=seabed)) * has).sum("feature").to_numpy()


def _own(fit: Fit, anchor: str, seabed: str) -> list[NDArray[np.float64]]:
    told = fit.inputs
    names = {what: told[what].to_numpy()[told[f"{what}_of"].to_numpy()] for what in ("anchor", "seabed")}
    own = (names["anchor"] == anchor) & (names["seabed"] == seabed)
    visits = np.unique(told["visit_of"].to_numpy()[own])
    if not len(visits):
        return []
    effects = samples(fit.posterior["visit_effect"].isel(visit=visits)).to_numpy()
    scatter = samples(fit.posterior["pull_scatter"].sel(seabed=seabed)).to_numpy()
    return [*effects, np.log(scatter)]
