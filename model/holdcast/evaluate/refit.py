"""Fitting again and again with one compiled model."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import pymc as pm
import xarray as xr

from holdcast.capacity.model.build import build_model
from holdcast.capacity.model.priors import Prior
from holdcast.capacity.progress import Progress, silent
from holdcast.capacity.sampler.compiling import CompiledModel, compile_model
from holdcast.capacity.sampler.refitting import with_new_data
from holdcast.capacity.sampler.sampling import Effort, draw_posterior
from holdcast.capacity.sampler.verdict import Limits, Verdict, judge
from holdcast.capacity.tree import keep_posterior

__all__ = ["EFFORTS", "LIMITS", "Refit", "Refitter", "prepare", "refit"]

EFFORTS = (Effort(500, 500, 0.8, chains=2), Effort(1000, 1000, 0.95, chains=2))
"""Tried in order until the verdict on the cells is good: fewer draws than a published fit, since only bands
are scored."""
LIMITS = Limits(ess=200.0)
"""100 independent draws a chain: Vehtari et al. 2021, *Bayesian Analysis* 16:667 (value from memory)."""


@dataclass(frozen=True)
class Refitter:
    """A model as built and as compiled, ready for any data of the same shapes."""

    model: pm.Model
    compiled: CompiledModel


@dataclass(frozen=True)
class Refit:
    """Draws of one refit under the labels of its own data, and the verdict on its cells."""

    posterior: xr.Dataset
    verdict: Verdict


def prepare(inputs: xr.Dataset, priors: Mapping[str, Prior]) -> Refitter:
    """Compile the model of these inputs once.

    Parameters
    ----------
    inputs : Dataset
        As made by :func:`holdcast.capacity.inputs.layout.lay_out`.
    priors : mapping
        Priors by name.
    """
    model = build_model(inputs, priors)
    return Refitter(model, compile_model(model, own_source=True))


def refit(
    refitter: Refitter,
    inputs: xr.Dataset,
    *,
    seed: int,
    progress: Progress = silent,
    efforts: tuple[Effort, ...] = EFFORTS,
) -> Refit:
    """Return the posterior for other data of the same shapes.

    Parameters
    ----------
    refitter : Refitter
        From :func:`prepare`.
    inputs : Dataset
        New data; hidden pulls by :func:`holdcast.capacity.sampler.refitting.hide_pulls`.
    seed : int
        The same refitter, seed and data give the same draws: chains start near a point of the first data.
    progress : callable
        Told what the sampler does.
    efforts : tuple of Effort
        Tried in order; the last attempt counts, good or bad.

    Raises
    ------
    ValueError
        When the shapes differ from those compiled.
    """
    compiled = with_new_data(refitter.compiled, refitter.model, inputs)
    seconds = 0.0
    for attempt, effort in enumerate(efforts, start=1):
        raw, spent = draw_posterior(compiled, effort, seed, progress)
        seconds += spent
        tree = xr.DataTree.from_dict(
            {
                "posterior": _relabelled(keep_posterior(raw["posterior"].to_dataset(), inputs, seed), inputs),
                "sample_stats": raw["sample_stats"].to_dataset()[["diverging", "energy"]],
            }
        )
        verdict = replace(judge(tree, ["log_capacity"], LIMITS), attempts=attempt, seconds_sample=seconds)
        if verdict.ok:
            break
    return Refit(tree["posterior"].to_dataset(), verdict)


def _relabelled(posterior: xr.Dataset, inputs: xr.Dataset) -> xr.Dataset:
    return posterior.assign_coords({dim: inputs[dim] for dim in posterior.dims if dim in inputs.dims})
