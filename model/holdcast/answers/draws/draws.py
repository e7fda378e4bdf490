"""The one holder of a fit's draws, labelled; and one random stream for each new member."""

import hashlib
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, overload

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import NDArray

from holdcast.campaign.records import used_rows
from holdcast.capacity.fitting import Fit
from holdcast.capacity.inputs.labels import positions
from holdcast.capacity.log_tables import log_table

__all__ = ["Draws", "Floats", "by_sample", "draws_of"]

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Draws:
    """What a fit knows, ready for arithmetic on draws.

    Attributes
    ----------
    fit : Fit
        Where they come from.
    seed : int
        Of everything random.
    """

    fit: Fit = field(repr=False)
    seed: int

    def __getitem__(self, name: str) -> Floats:
        """Return draws of one variable as an array, shape (sample, …), for arithmetic on positions."""
        if name not in self._arrays:
            self._arrays[name] = np.asarray(self.posterior[name].to_numpy())
        return self._arrays[name]

    def __contains__(self, name: str) -> bool:
        return name in self.posterior

    def once[Laid](self, name: str, lay_out: Callable[[], Laid]) -> Laid:
        """Return what is laid out of the fit's tree under a name, once for all questions and seeds."""
        laid_out = self.fit.laid_out
        if name not in laid_out:
            laid_out[name] = lay_out()
        held: Laid = laid_out[name]
        return held

    @cached_property
    def _arrays(self) -> dict[str, Floats]:
        """Variables that were asked for as arrays; hundreds of requests ask for the same ones."""
        return self.once("arrays", dict)

    @cached_property
    def _places(self) -> dict[str, dict[str, int]]:
        """Where the labels of dims stand, of dims that were asked for."""
        return self.once("places", dict)

    @cached_property
    def posterior(self) -> xr.Dataset:
        """The posterior, dims (sample, …): chains one after the other."""
        return self.once("posterior", lambda: by_sample(self.fit.posterior))

    @cached_property
    def prior(self) -> xr.Dataset:
        """Draws from the prior, dims (sample, …)."""
        return self.once("prior", lambda: by_sample(self.fit.tree["prior"].to_dataset()))

    @cached_property
    def inputs(self) -> xr.Dataset:
        """What the model was told."""
        return self.fit.inputs

    @property
    def samples(self) -> int:
        """Number of draws, all chains together."""
        return int(self.posterior.sizes["sample"])

    @cached_property
    def with_likelihood(self) -> NDArray[np.bool_]:
        """Which draws the fit keeps a likelihood of, shape (sample,): all, unless that group was thinned."""
        every, thinned = self.fit.posterior["draw"], self.fit.tree["log_likelihood"]["draw"]
        inside = np.isin(every.to_numpy(), thinned.to_numpy())
        return np.tile(inside, self.fit.posterior.sizes["chain"])

    @cached_property
    def priors(self) -> Mapping[str, Mapping[str, float]]:
        """Name of a prior to the parameters that were used."""
        parameters: Mapping[str, Mapping[str, float]] = json.loads(str(self.fit.tree.attrs["priors"]))
        return parameters

    @cached_property
    def anchors(self) -> pd.DataFrame:
        """The campaign's anchors, index anchor."""
        return self.table("anchors")

    @cached_property
    def seabeds(self) -> pd.DataFrame:
        """The campaign's seabeds, index seabed."""
        return self.table("seabeds")

    @cached_property
    def used_pulls(self) -> pd.DataFrame:
        """The pulls of the log that the fit used, index trial."""
        return self.once("used pulls", lambda: used_rows(self.table("trials"), "pull"))

    @cached_property
    def tested_anchors(self) -> pd.DataFrame:
        """The anchors with a used pull, in the campaign's order."""
        return self.anchors[self.anchors.index.isin(self.used_pulls["anchor"])]

    @cached_property
    def largest_tested_kg(self) -> float:
        """The mass of the heaviest of them [kg]; every root of a mass asks for it."""
        return float(self.tested_anchors["mass_kg"].max())

    def table(self, name: str) -> pd.DataFrame:
        """Return a table of the campaign by label."""
        return self.once(f"table of {name}", lambda: log_table(self.fit.tree, name))

    @cached_property
    def _labels(self) -> dict[str, list[str]]:
        return self.once("labels", lambda: _labels_of(self.inputs, self.posterior))

    def labels(self, dim: str, only: Sequence[str] | None = None) -> list[str]:
        """Return the labels of a dim in the posterior's order, or only those named, as they are named.

        Raises
        ------
        KeyError
            When one is not known; the message gives the nearest known one.
        """
        if only is None:
            return self._labels[dim]
        positions(list(only), self._labels[dim], dim)
        return list(only)

    def place(self, dim: str, label: str) -> int:
        """Return where a label stands in a dim.

        Raises
        ------
        KeyError
            When it is not known.
        """
        places = self._places.setdefault(dim, {})
        if label not in places:
            places[label] = int(positions([label], self.labels(dim), dim)[0])
        return places[label]

    def normals(self, *key: str, columns: int | None = None) -> Floats:
        """Return standard normals that belong to one new member, shape (sample,) or (sample, columns).

        The stream depends on the seed and the key alone, so a member is the same in every question, whatever
        else is asked beside it.
        """
        digest = hashlib.sha256("\x1f".join(key).encode()).digest()
        words = np.frombuffer(digest, dtype=np.uint32).astype(np.int64).tolist()
        random = np.random.default_rng([self.seed, *words])
        return random.standard_normal(self.samples if columns is None else (self.samples, columns))


def _labels_of(*sources: xr.Dataset) -> dict[str, list[str]]:
    return {
        str(dim): [str(label) for label in source[dim].to_numpy()]
        for source in sources
        for dim in source.dims
        if dim in source.coords and dim != "component"
    }


def draws_of(fit: Fit, seed: int | None = None) -> Draws:
    """Return the draws of a fit.

    Parameters
    ----------
    fit : Fit
        As from :func:`holdcast.capacity.fit` or :func:`holdcast.capacity.load`.
    seed : int, optional
        Of everything drawn for new members; the fit's own by default.
    """
    return Draws(fit, int(fit.tree.attrs["seed"]) if seed is None else seed)


@overload
def by_sample(data: xr.DataArray) -> xr.DataArray: ...
@overload
def by_sample(data: xr.Dataset) -> xr.Dataset: ...
def by_sample(data: xr.DataArray | xr.Dataset) -> xr.DataArray | xr.Dataset:
    """Return draws with chain and draw made one first dim ``sample``, without coordinates on it.

    Parameters
    ----------
    data : DataArray or Dataset, dims (chain, draw, …)
        Any unit; it is kept.
    """
    labels = {
        str(name): value for name, value in data.coords.items() if not {"chain", "draw"} & {*value.dims, name}
    }
    if isinstance(data, xr.DataArray):
        dims, flat, attributes = _flat(data.variable)
        return xr.DataArray(flat, labels, dims, attrs=attributes, name=data.name)
    # All at once: labelled arrays one by one would be compared with each other, again and again.
    arrays = {str(name): _flat(array.variable) for name, array in data.data_vars.items()}
    own = {dim for dims, _, _ in arrays.values() for dim in dims}
    return xr.Dataset(arrays, {name: value for name, value in labels.items() if {*value.dims} <= own})


def _flat(values: xr.Variable) -> tuple[tuple[str, ...], NDArray[Any], dict[str, Any]]:
    """Return dims, values and attributes of draws (chain, draw, …) as (sample, …)."""
    ordered = values.transpose("chain", "draw", ...)
    array = ordered.to_numpy()
    flat = array.reshape(array.shape[0] * array.shape[1], *array.shape[2:])
    return ("sample", *map(str, ordered.dims[2:])), flat, dict(values.attrs)
