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

from holdcast.answers.draws.draws import Draws, by_sample, draws_of
from holdcast.answers.explain.influence import cell_draws, pulls_of_cell
from holdcast.capacity.fitting import Fit
from holdcast.capacity.model.design_split import effects_of_anchors

__all__ = ["band_sources", "shapley_shares"]

_Columns = dict[str, list[NDArray[np.float64]]]


def band_sources(fit: Fit, anchor: str, seabed: str) -> xr.Dataset:
    """Return the share of each part in the variance of one cell's log capacity.

    Parts are: ``own pulls`` (effects of the visits on which the cell was pulled and the seabed's scatter);
    ``design elsewhere`` (what the effects of design, traits and configuration in the other seabeds say of
    this one, by regression) and ``design here`` (the rest of them); ``features``; ``fluke angle``; ``form``;
    ``size, tip load, area``; ``ground``.  A part that the cell does not have is left out.

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
    shares = shapley_shares(total, _parts(draws_of(fit), anchor, seabed))
    words = {"units": "1", "long_name": "share of the variance of log capacity"}
    return xr.Dataset({"share": ("part", list(shares.values()), words)}, coords={"part": list(shares)})


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
    varying = {name: [c for c in columns if c.std() > 1e-12] for name, columns in parts.items()}
    varying = {name: columns for name, columns in varying.items() if columns}
    names = list(varying)
    if not names:
        return {}
    by_part, centred = _reduced(total, varying)
    explained = {
        coalition: _explained(centred, [by_part[name] for name in coalition])
        for size in range(len(names) + 1)
        for coalition in combinations(names, size)
    }
    shares = {}
    for name in names:
        others = [other for other in names if other != name]
        shares[name] = sum(
            factorial(size) * factorial(len(others) - size) / factorial(len(names))
            * (explained[tuple(n for n in names if n in coalition or n == name)] - explained[coalition])
            for size in range(len(names))
            for coalition in combinations(others, size)
        )  # fmt: skip
    whole = sum(shares.values())
    return {name: max(share, 0.0) / whole for name, share in shares.items()}


def _reduced(
    total: NDArray[np.float64], parts: Mapping[str, list[NDArray[np.float64]]]
) -> tuple[dict[str, NDArray[np.float64]], NDArray[np.float64]]:
    """Return the columns of each part and the total, standardised, turned into as few rows as columns.

    A rotation of all draws (QR) leaves every regression what it was, of which there is one for each set of
    parts.
    """
    columns = [(column - column.mean()) / column.std() for each in parts.values() for column in each]
    centred = (total - total.mean()) / np.sqrt(((total - total.mean()) ** 2).sum())
    rows = np.linalg.qr(np.column_stack([*columns, centred]), mode="r")
    ends = np.cumsum([len(each) for each in parts.values()])
    return dict(zip(parts, np.split(rows[:, :-1], ends[:-1], axis=1), strict=True)), rows[:, -1]


def _explained(centred: NDArray[np.float64], columns: list[NDArray[np.float64]]) -> float:
    """Return the share of a variance of one that a linear regression on the columns explains."""
    if not columns:
        return 0.0
    table = np.hstack(columns)
    fitted = table @ np.linalg.lstsq(table, centred, rcond=1e-10)[0]
    return float((fitted**2).sum())


def _parts(draws: Draws, anchor: str, seabed: str) -> _Columns:
    place = draws.place("anchor", anchor)
    form = draws.labels("form")[int(draws.inputs["form_of"][place])]
    posterior = draws.posterior
    form_effect = posterior["form_effect"].sel(form=form, seabed=seabed).to_numpy()
    ground = posterior["ground"].sel(seabed=seabed).to_numpy()
    elsewhere, here = _design(draws, place, seabed)
    features = _features(draws, anchor, seabed)
    total = posterior["log_capacity"].sel(anchor=anchor, seabed=seabed).to_numpy()
    angle = _fluke_angle(draws, anchor, seabed)
    measured = total - ground - form_effect - elsewhere - here - features - angle
    return {
        "own pulls": _own(draws, anchor, seabed),
        "design elsewhere": [elsewhere],
        "design here": [here],
        "features": [features],
        "fluke angle": [angle],
        "form": [form_effect],
        "size, tip load, area": [measured],
        "ground": [ground],
    }


def _design(draws: Draws, place: int, seabed: str) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return what design, traits and configuration do here as what they do elsewhere tells, and the rest."""
    effect = by_sample(effects_of_anchors(draws.fit.posterior, draws.inputs).isel(anchor=place, drop=True))
    here = effect.sel(seabed=seabed).to_numpy()
    others = effect.drop_sel(seabed=seabed).transpose("sample", "seabed").to_numpy()
    if not others.shape[1]:
        return np.zeros_like(here), here
    table = others - others.mean(axis=0)
    fitted = table @ np.linalg.lstsq(table, here - here.mean(), rcond=1e-10)[0]
    return fitted, here - fitted


def _features(draws: Draws, anchor: str, seabed: str) -> NDArray[np.float64]:
    if not draws.inputs.sizes["feature"]:
        return np.zeros(draws.samples)
    has = draws.inputs["has_feature"].sel(anchor=anchor)
    effect = draws.posterior["feature_effect"].sel(seabed=seabed)
    return np.asarray((effect * has).sum("feature").to_numpy())


def _fluke_angle(draws: Draws, anchor: str, seabed: str) -> NDArray[np.float64]:
    if not draws.inputs.sizes["angle_ground"]:
        return np.zeros(draws.samples)
    gain = (draws.posterior["fluke_angle_slope"] * draws.inputs["angle_ground_share"].sel(seabed=seabed)).sum(
        "angle_ground"
    )
    return np.asarray((gain * draws.inputs["fluke_angle_steps"].sel(anchor=anchor)).to_numpy())


def _own(draws: Draws, anchor: str, seabed: str) -> list[NDArray[np.float64]]:
    visits = np.unique(draws.inputs["visit_of"].to_numpy()[pulls_of_cell(draws, anchor, seabed)])
    if not len(visits):
        return []
    scatter = draws.posterior["pull_scatter"].sel(seabed=seabed).to_numpy()
    return [*draws["visit_effect"][:, visits].T, np.log(scatter)]
