"""The capacity of every anchor in every seabed, tested or not, with its bands."""

import json

import numpy as np
import xarray as xr

from holdcast.capacity.fitting import Fit
from holdcast.capacity.likelihood.kinds import DEGREES_OF_FREEDOM

__all__ = ["QUANTILES", "STANDARD_GRAVITY", "cells", "new_pull"]

QUANTILES = (0.05, 0.25, 0.5, 0.75, 0.95)
"""Ends of the equal-tailed 90% and 50% bands, and the median."""
STANDARD_GRAVITY = 9.80665
"""Standard acceleration of gravity [m/s²] (ISO 80000-3; value from memory): weight in air over mass."""

_SAMPLE = ("chain", "draw")


def cells(fit: Fit, *, seed: int | None = None) -> xr.Dataset:
    """Return capacity, efficiency and a new pull for every anchor × seabed.

    Parameters
    ----------
    fit : Fit
        A fitted campaign.
    seed : int, optional
        Of the draws of new pulls; by default the fit's own.

    Returns
    -------
    Dataset, dims (anchor, seabed, quantile)
        ``capacity_n``, ``new_pull_n`` [N], ``efficiency`` [1] at `QUANTILES`; ``evidence``, ``pulls``,
        ``visits``, ``own_data``, ``own_data_rough`` (see :func:`holdcast.answers.cells.own_data.own_data`),
        ``range``, ``above_threshold`` (NaN without a threshold), dims (anchor, seabed).
    """
    # Imported here: other answers read cells of a saved fit without the likelihood's compiler.
    from holdcast.answers.cells.own_data import own_data

    capacity = _exp(fit.posterior["log_capacity"])
    mass = fit.tree["anchors"].to_dataset()["mass_kg"]
    efficiency = capacity / (mass * STANDARD_GRAVITY)
    counts = _counts(fit)
    made = xr.Dataset(
        {
            "capacity_n": _quantiles(
                capacity, "N", "capacity: median load that breaks a new straight pull out"
            ),
            "efficiency": _quantiles(efficiency, "1", "holding efficiency: capacity over weight in air"),
            "new_pull_n": _quantiles(_exp(new_pull(fit, seed=seed)), "N", "one new pull on a new visit"),
            **counts,
            **own_data(fit).data_vars,
            "range": _range(fit),
            "above_threshold": _above(efficiency, json.loads(fit.tree.attrs["thresholds"])),
        }
    )
    return _described(made, fit)


def new_pull(fit: Fit, *, seed: int | None = None) -> xr.DataArray:
    """Return draws of the log load of one new pull on a new visit to each cell.

    Returns
    -------
    DataArray, dims (chain, draw, anchor, seabed)
        log N, at reference conditions.
    """
    draws = fit.posterior
    capacity = draws["log_capacity"]
    generator = np.random.default_rng(int(fit.tree.attrs["seed"]) if seed is None else seed)
    visit = xr.zeros_like(capacity) + generator.standard_normal(capacity.shape)
    scatter = xr.zeros_like(capacity) + generator.standard_t(DEGREES_OF_FREEDOM, capacity.shape)
    return capacity + draws["visit_spread"] * visit + draws["pull_scatter"] * scatter


def _exp(log_load: xr.DataArray) -> xr.DataArray:
    return log_load.copy(data=np.exp(log_load.to_numpy()))


def _quantiles(draws: xr.DataArray, unit: str, name: str) -> xr.DataArray:
    bands = draws.quantile(list(QUANTILES), _SAMPLE).transpose(..., "quantile")
    return bands.assign_attrs(units=unit, long_name=name, band="equal-tailed")


def _counts(fit: Fit) -> dict[str, xr.DataArray]:
    inputs = fit.inputs
    shape = (inputs.sizes["anchor"], inputs.sizes["seabed"])
    pulls, visits = np.zeros(shape, dtype=int), np.zeros(shape, dtype=int)
    places = [inputs[name].to_numpy() for name in ("anchor_of", "seabed_of", "visit_of")]
    np.add.at(pulls, (places[0], places[1]), 1)
    for anchor, seabed, _ in set(zip(*(place.tolist() for place in places), strict=True)):
        visits[anchor, seabed] += 1
    template = inputs["pull_weight"]
    evidence = np.where(pulls > 0, "tested", "untested")
    return {
        "evidence": template.copy(data=evidence),
        "pulls": template.copy(data=pulls),
        "visits": template.copy(data=visits),
    }


def _range(fit: Fit) -> xr.DataArray:
    """Return whether mass, area, tip load and strength lie inside what was tested, over the whole log."""
    inputs = fit.inputs
    tested_anchors = np.unique(inputs["anchor_of"].to_numpy())
    tested_seabeds = np.unique(inputs["seabed_of"].to_numpy())
    inside = xr.ones_like(inputs["log_mass_ratio"], dtype=bool)
    area = inputs["log_area_excess"] + inputs["log_mass_ratio"] * 2.0 / 3.0
    for measure in (inputs["log_mass_ratio"], inputs["log_tip_load"], area):
        inside = inside & _between(measure, measure.isel(anchor=tested_anchors))
    strength = inputs["strength_index"]
    both = inside & _between(strength, strength.isel(seabed=tested_seabeds))
    both = both.transpose("anchor", "seabed")
    return both.copy(data=np.where(both.to_numpy(), "inside", "outside"))


def _between(values: xr.DataArray, tested: xr.DataArray) -> xr.DataArray:
    slack = 1e-9
    return (values >= float(tested.min()) - slack) & (values <= float(tested.max()) + slack)


def _above(efficiency: xr.DataArray, thresholds: dict[str, float]) -> xr.DataArray:
    chosen = thresholds.get("efficiency")
    if chosen is None:
        return xr.full_like(efficiency.isel(chain=0, draw=0, drop=True), np.nan)
    return (efficiency > chosen).mean(_SAMPLE)


def _described(made: xr.Dataset, fit: Fit) -> xr.Dataset:
    anchors, seabeds = fit.tree["anchors"].to_dataset(), fit.tree["seabeds"].to_dataset()
    made = made.assign_coords(
        design=("anchor", anchors["design"].to_numpy()),
        form=("anchor", anchors["form"].to_numpy()),
        mass_kg=("anchor", anchors["mass_kg"].to_numpy()),
        soil=("seabed", seabeds["soil"].to_numpy()),
        strength=("seabed", seabeds["strength"].to_numpy()),
    )
    wanted = ("title", "author", "licence", "version", "seed", "newest_trial", "input_hash")
    made.attrs = {name: fit.tree.attrs[name] for name in wanted}
    for name in ("evidence", "pulls", "visits", "range", "above_threshold"):
        made[name].attrs = {"units": "1", "long_name": name.replace("_", " ")}
    return made.transpose("anchor", "seabed", "quantile")
