"""One refit as a worker process does it: told by plain data, its model compiled once and kept."""

import hashlib
import json
import platform
import threading
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from importlib.metadata import version
from typing import Any

import numpy as np
import xarray as xr

from holdcast.campaign.records import Campaign
from holdcast.capacity.model.priors import with_overrides
from holdcast.evaluate.campaign_refits import outcome_of
from holdcast.evaluate.hiding import Hiding
from holdcast.evaluate.model_digest import model_digest
from holdcast.evaluate.refit import Refitter, prepare

__all__ = ["Differs", "Work", "fingerprint", "refit_on_worker", "work_of"]

_LIBRARIES = ("arviz-stats", "numba", "numpy", "nutpie", "pymc", "pytensor", "scipy", "xarray")
"""Whose other release may give other digits."""
_ONE_AT_A_TIME = threading.Lock()
"""Compiling is not made for threads, and a worker may run several."""


class Differs(Exception):
    """A worker that has another program or got other data; the message says what differs."""


@dataclass(frozen=True)
class Work:
    """What all refits of a campaign have in common, as a worker needs it; two are equal by their digest.

    Attributes
    ----------
    digest : of the inputs and the priors.
    fingerprint : of the program that asks.
    inputs : the labelled arrays as plain mappings and arrays.
    priors : as the campaign changes them.
    seed : of the sampler and the scores.
    """

    digest: str
    fingerprint: Mapping[str, str] = field(compare=False)
    inputs: Mapping[str, Any] = field(compare=False)
    priors: Mapping[str, Mapping[str, object]] = field(compare=False)
    seed: int = field(compare=False)


def fingerprint() -> dict[str, str]:
    """Return what has to agree between two machines for their refits to be one table's."""
    return {
        "holdcast's source": model_digest(("campaign", "capacity", "evaluate", "physics")),
        "python": platform.python_version(),
        **{name: version(name) for name in _LIBRARIES},
    }


_LOADED = fingerprint()
"""Taken when the code is loaded: files may change under a worker that runs for days."""


def work_of(campaign: Campaign, inputs: xr.Dataset, seed: int) -> Work:
    """Return what workers are told of a campaign.

    Parameters
    ----------
    campaign : Campaign
        Whose priors hold.
    inputs : Dataset
        As made by :func:`holdcast.capacity.inputs.layout.lay_out`.
    seed : int
        Of the sampler and the scores.
    """
    priors = {name: dict(values) for name, values in campaign.priors.items()}
    return Work(_digest(inputs, priors), _LOADED, inputs.to_dict(data="array"), priors, seed)


def refit_on_worker(work: Work, kind: str, label: str, hidden: Sequence[str]) -> dict[str, Any]:
    """Refit with some pulls hidden; the first refit of a process compiles the model.

    Parameters
    ----------
    work : Work
        From :func:`work_of`.
    kind, label : str
        Of what is hidden, see :class:`holdcast.evaluate.hiding.Hiding`.
    hidden : sequence of str
        Labels of the pulls, resets and veers to hide.

    Returns
    -------
    dict
        As :func:`holdcast.evaluate.campaign_refits.outcome_of` returns it.

    Raises
    ------
    Differs
        When this process has another program than the one that asks, or got other data.
    """
    other = [
        f"{name} {_LOADED.get(name)} (asked for {there})"
        for name, there in work.fingerprint.items()
        if _LOADED.get(name) != there
    ]
    if other:
        raise Differs(
            f"a worker on {platform.node()} has another program: {', '.join(other)}; "
            "end it and start it with the same releases"
        )
    with _ONE_AT_A_TIME:
        inputs, refitter = _prepared(work)
        tests = {dim: inputs[dim].to_numpy() for dim in ("trial", "reset", "veer")}
        unknown = sorted(set(hidden).difference(*(labels.tolist() for labels in tests.values())))
        if unknown:
            raise Differs(
                f"a worker on {platform.node()} does not know the trials {', '.join(unknown)}; "
                "is it the same release?"
            )
        hiding = Hiding(kind, label, *(np.isin(labels, list(hidden)) for labels in tests.values()))
        return outcome_of(refitter, inputs, hiding, work.seed)


@lru_cache(maxsize=1)
def _prepared(work: Work) -> tuple[xr.Dataset, Refitter]:
    inputs = xr.Dataset.from_dict(work.inputs)
    if _digest(inputs, work.priors) != work.digest:
        raise Differs(f"a worker on {platform.node()} got other data than were sent; is it the same release?")
    return inputs, prepare(inputs, with_overrides(work.priors))


def _digest(inputs: xr.Dataset, priors: Mapping[str, Mapping[str, object]]) -> str:
    digest = hashlib.sha256(json.dumps(priors, sort_keys=True, default=str).encode())
    for name in sorted(map(str, inputs.variables)):
        variable = inputs.variables[name]
        values = variable.to_numpy()
        if values.dtype.kind == "O":
            values = values.astype(str)
        digest.update(f"{name} {variable.dims} {values.dtype.str} {values.shape}".encode())
        digest.update(np.ascontiguousarray(values).tobytes())
    return digest.hexdigest()
