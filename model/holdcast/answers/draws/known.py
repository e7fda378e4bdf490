"""What a fit knows, ready for arithmetic on draws; and one random stream for each new member."""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import NDArray

from holdcast.capacity import Fit
from holdcast.capacity.inputs.labels import positions
from holdcast.capacity.log_tables import log_table

__all__ = ["Floats", "Known", "known", "normals", "place"]

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Known:
    """The posterior with chains and draws in one row, the campaign's tables, and the priors.

    Attributes
    ----------
    draws : mapping of str to array, shape (sample, ...)
        The posterior's variables; `sample` runs over chains and draws.
    labels : mapping of str to list of str
        Dim to its labels, in the posterior's order.
    priors : mapping
        Name of a prior to its parameters.
    inputs : Dataset
        What the model was told.
    anchors, seabeds, trials : DataFrame
        The campaign's tables by label.
    seed : int
        Of everything random.
    """

    draws: Mapping[str, Floats] = field(repr=False)
    labels: Mapping[str, list[str]]
    priors: Mapping[str, Mapping[str, float]] = field(repr=False)
    inputs: xr.Dataset = field(repr=False)
    anchors: pd.DataFrame = field(repr=False)
    seabeds: pd.DataFrame = field(repr=False)
    trials: pd.DataFrame = field(repr=False)
    seed: int

    @property
    def samples(self) -> int:
        """Number of draws, all chains together."""
        return len(self.draws["size_exponent"])


def known(fit: Fit, seed: int | None = None) -> Known:
    """Return what a fit knows.

    Parameters
    ----------
    fit : Fit
        As from :func:`holdcast.capacity.fitting` or :func:`holdcast.capacity.load`.
    seed : int, optional
        The fit's own by default.
    """
    posterior = fit.posterior
    draws = {}
    for name, array in posterior.data_vars.items():
        ordered = array.transpose("chain", "draw", ...).to_numpy()
        draws[str(name)] = ordered.reshape(-1, *ordered.shape[2:])
    inputs = fit.inputs
    labels = {
        str(dim): [str(label) for label in source[dim].to_numpy()]
        for source in (inputs, posterior)
        for dim in source.dims
        if dim in source.coords and dim not in {"chain", "draw", "component"}
    }
    tables = {name: log_table(fit.tree, f"{name}s") for name in ("anchor", "seabed", "trial")}
    return Known(
        draws=draws,
        labels=labels,
        priors=json.loads(str(fit.tree.attrs["priors"])),
        inputs=inputs,
        anchors=tables["anchor"],
        seabeds=tables["seabed"],
        trials=tables["trial"],
        seed=int(fit.tree.attrs["seed"]) if seed is None else seed,
    )


def normals(facts: Known, *key: str, columns: int | None = None) -> Floats:
    """Return standard normals that belong to one new member, shape (sample,) or (sample, columns).

    The stream depends on the seed and the key alone, so a member is the same in every question, whatever else
    is asked beside it.
    """
    digest = hashlib.sha256("\x1f".join(key).encode()).digest()
    words = np.frombuffer(digest, dtype=np.uint32).astype(np.int64).tolist()
    random = np.random.default_rng([facts.seed, *words])
    return random.standard_normal(facts.samples if columns is None else (facts.samples, columns))


def place(facts: Known, dim: str, label: str) -> int:
    """Return where a label stands in a dim.

    Raises
    ------
    KeyError
        When it is not known.
    """
    return int(positions([label], facts.labels[dim], dim)[0])
