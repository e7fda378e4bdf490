"""What others would make of the same log: each rival guesses the log capacity of every cell.

All rivals get what the tester wrote down; missing tip loads are filled in as the program does. Readings
become one number each, as a spreadsheet would have it: see `midpoints`.
"""

import warnings
from dataclasses import dataclass

import numpy as np
import pymc as pm
import xarray as xr
from numpy.typing import NDArray
from scipy import stats

from holdcast.capacity.likelihood.kinds import ABOVE, BELOW, EXACT
from holdcast.capacity.sampler.compiling import compile_model
from holdcast.capacity.sampler.refitting import with_new_data
from holdcast.capacity.sampler.sampling import Effort, draw_posterior
from holdcast.evaluate.refit import Refitter
from invented.log import Log
from invented.truth import TAIL_FREEDOM, Truth

Array = NDArray[np.float64]
QUANTILES = (0.05, 0.25, 0.5, 0.75, 0.95)


@dataclass(frozen=True)
class Guess:
    """Guesses of log capacity; quantiles have shape (quantile, anchor, seabed), None without bands."""

    middle: Array
    quantiles: Array | None = None
    divergences: int = 0
    draws: int = 0
    ess: float = 0.0


def midpoints(inputs: xr.Dataset) -> Array:
    """Return one log load a pull: its interval's middle, half of what pulled it out, or the load held."""
    kind, lower, upper = (inputs[name].to_numpy() for name in ("kind", "lower", "upper"))
    return np.select(
        [kind == EXACT, kind == BELOW, kind == ABOVE],
        [upper, upper - np.log(2.0), lower],
        0.5 * (lower + upper),
    )


def normal_guess(mean: Array, sd: Array) -> Guess:
    """Return a guess whose bands are those of a normal."""
    return Guess(mean, np.stack([mean + stats.norm.ppf(q) * sd for q in QUANTILES]))


def best_possible(truth: Truth, log: Log) -> Guess:
    """Guess by exact conditioning, knowing all of the world but the designs' own effects.

    It knows the mean, visits, covariance, which pulls are fouled, and exact loads, whose scatter it takes as
    normal with the t's variance.
    """
    clean = ~log.fouled
    cell = (log.anchor_of * truth.mean.shape[1] + log.seabed_of)[clean]
    residual = log.log_load[clean] - truth.mean.ravel()[cell] - log.visit_effect[clean]
    noise = truth.scatter[log.seabed_of[clean]] ** 2 * TAIL_FREEDOM / (TAIL_FREEDOM - 2.0)
    variance = truth.covariance[np.ix_(cell, cell)] + np.diag(noise)
    gain = np.linalg.solve(variance, truth.covariance[cell]).T
    sd = np.sqrt(np.maximum(np.diag(truth.covariance) - (gain * truth.covariance[:, cell]).sum(axis=1), 0.0))
    shape = truth.mean.shape
    return normal_guess(truth.mean + (gain @ residual).reshape(shape), sd.reshape(shape))


def cell_means(inputs: xr.Dataset) -> Array:
    """Return the mean midpoint of each cell, NaN where nobody pulled, shape (anchor, seabed)."""
    shape = (inputs.sizes["anchor"], inputs.sizes["seabed"])
    total, count = np.zeros(shape), np.zeros(shape)
    cell = (inputs["anchor_of"].to_numpy(), inputs["seabed_of"].to_numpy())
    np.add.at(total, cell, midpoints(inputs))
    np.add.at(count, cell, 1.0)
    return np.where(count > 0, total / np.maximum(count, 1.0), np.nan)


def copy_most_similar(inputs: xr.Dataset) -> Guess:
    """Copy the efficiency of the most similar anchor tested in the same seabed."""
    mass, tip, area = (inputs[n].to_numpy() for n in ("log_mass_ratio", "log_tip_load", "log_area_excess"))
    form, design, flags = (inputs[n].to_numpy() for n in ("form_of", "design_of", "has_feature"))
    apart = (
        np.abs(np.subtract.outer(mass, mass)) / 0.5
        + np.abs(np.subtract.outer(tip - mass, tip - mass)) / 0.3
        + np.abs(np.subtract.outer(area, area)) / 0.2
        + 1.0 * (form[:, None] != form)
        + 2.0 * (design[:, None] != design)
        + 0.5 * np.abs(flags[:, None] - flags).sum(axis=2)
    )
    apart = apart + np.diag(np.full(len(mass), np.inf))
    efficiency = cell_means(inputs) - mass[:, None]
    middle = np.empty_like(efficiency)
    for seabed in range(efficiency.shape[1]):
        tested = np.flatnonzero(~np.isnan(efficiency[:, seabed]))
        middle[:, seabed] = mass + efficiency[tested[apart[:, tested].argmin(axis=1)], seabed]
    return Guess(middle)


def row_and_column_means(inputs: xr.Dataset) -> Guess:
    """Guess an anchor's mean plus a seabed's mean, by least squares on the midpoints."""
    anchors, seabeds = inputs.sizes["anchor"], inputs.sizes["seabed"]
    design = np.zeros((inputs.sizes["trial"], anchors + seabeds))
    rows = np.arange(inputs.sizes["trial"])
    design[rows, inputs["anchor_of"].to_numpy()] = 1.0
    design[rows, anchors + inputs["seabed_of"].to_numpy()] = 1.0
    effect = np.linalg.lstsq(design, midpoints(inputs), rcond=None)[0]
    return Guess(effect[:anchors, None] + effect[anchors:])


def _one_hot(places: NDArray[np.int64], size: int) -> Array:
    return np.eye(size)[places]


def _anchor_columns(inputs: xr.Dataset) -> Array:
    """Return standardised mass, tip load and area, then flags and forms, shape (anchor, column)."""
    measured = np.stack(
        [inputs[name].to_numpy() for name in ("log_mass_ratio", "log_tip_load", "log_area_excess")], axis=1
    )
    measured = (measured - measured.mean(axis=0)) / measured.std(axis=0)
    forms = _one_hot(inputs["form_of"].to_numpy(), inputs.sizes["form"])
    return np.hstack([measured, inputs["has_feature"].to_numpy(), forms])


def _pull_variance(inputs: xr.Dataset) -> float:
    """Return the pooled variance of midpoints within cells."""
    means = cell_means(inputs)
    cell = (inputs["anchor_of"].to_numpy(), inputs["seabed_of"].to_numpy())
    residual = midpoints(inputs) - means[cell]
    return float((residual**2).sum() / max(len(residual) - np.count_nonzero(~np.isnan(means)), 1))


def gaussian_process(inputs: xr.Dataset) -> Guess:
    """Guess by a Gaussian process over all columns, one length scale each, fitted by marginal likelihood.

    It is fitted to cell means, whose noise is the pooled variance within cells over the number of pulls.
    """
    from sklearn.gaussian_process import GaussianProcessRegressor
    from sklearn.gaussian_process.kernels import RBF, ConstantKernel

    anchors, seabeds = inputs.sizes["anchor"], inputs.sizes["seabed"]
    designs = _one_hot(inputs["design_of"].to_numpy(), inputs.sizes["design"])
    by_anchor = np.hstack([_anchor_columns(inputs), designs])
    strength = inputs["strength_index"].to_numpy()
    by_seabed = np.column_stack([(strength - strength.mean()) / strength.std(), np.eye(seabeds)])
    cells = np.hstack([np.repeat(by_anchor, seabeds, axis=0), np.tile(by_seabed, (anchors, 1))])
    y = cell_means(inputs).ravel()
    tested = ~np.isnan(y)
    place = inputs["anchor_of"].to_numpy() * seabeds + inputs["seabed_of"].to_numpy()
    pulls = np.bincount(place, minlength=len(y))[tested]
    kernel = ConstantKernel(1.0) * RBF(np.full(cells.shape[1], 3.0), (0.1, 100.0))
    noise = _pull_variance(inputs) / pulls / y[tested].var()
    process = GaussianProcessRegressor(kernel, alpha=noise, normalize_y=True, random_state=0)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # length scales at their bounds: the column does not matter
        process.fit(cells[tested], y[tested])
    mean, sd = process.predict(cells, return_std=True)
    return normal_guess(mean.reshape(anchors, seabeds), sd.reshape(anchors, seabeds))


def imputer(inputs: xr.Dataset, *, draws: int = 20) -> Guess:
    """Fill the table of cell means round and round by ridge regressions; bands from sampled fillings."""
    from sklearn.experimental import enable_iterative_imputer  # noqa: F401
    from sklearn.impute import IterativeImputer

    seabeds = inputs.sizes["seabed"]
    table = np.hstack([cell_means(inputs), _anchor_columns(inputs)])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # its early stopping seldom comes to rest
        middle = IterativeImputer(random_state=0).fit_transform(table)[:, :seabeds]
        sampled = [
            IterativeImputer(random_state=seed, sample_posterior=True).fit_transform(table)[:, :seabeds]
            for seed in range(draws)
        ]
    return normal_guess(middle, np.std(sampled, axis=0, ddof=1))


def formula_data(inputs: xr.Dataset) -> dict[str, NDArray[np.generic]]:
    """Return the formula model's data, standardised."""
    y = midpoints(inputs)
    columns = _anchor_columns(inputs)[:, : 3 + inputs.sizes["feature"]]
    places = {
        name: inputs[name].to_numpy()
        for name in ("form_of", "design_of", "anchor_of", "seabed_of", "visit_of")
    }
    return {"y": (y - y.mean()) / y.std(), "columns": columns, **places}


def build_formula_model(inputs: xr.Dataset) -> pm.Model:
    """Return a Bayesian linear mixed model of the midpoints, as a formula interface would write it.

    y ~ mass + tip + area + features + (1 + tip + features || seabed) + (1 | form) + (1 | form:seabed)
        + (1 | design) + (1 | design:seabed) + (1 | anchor) + (1 | visit), normal, default weak priors: slopes
    Normal(0, 2.5), spreads HalfNormal(2.5), in standard deviations of y (usual defaults, value from memory).
    """
    size = inputs.sizes
    with pm.Model() as model:
        data = {name: pm.Data(name, values) for name, values in formula_data(inputs).items()}
        columns = data["columns"]
        varying = columns[:, [1, *range(3, 3 + size["feature"])]]

        def group(name: str, *shape: int) -> pm.Deterministic:
            return pm.HalfNormal(f"{name}_sd", 2.5) * pm.Normal(f"{name}_z", 0.0, 1.0, shape=shape)

        slopes = pm.Normal("slopes", 0.0, 2.5, shape=3 + size["feature"])
        by_anchor = (
            pm.Normal("intercept", 0.0, 2.5) + columns @ slopes + group("form", size["form"])[data["form_of"]]
        )
        by_anchor += group("design", size["design"])[data["design_of"]] + group("anchor", size["anchor"])
        shape = (1 + size["feature"], size["seabed"])
        spread = pm.HalfNormal("varying_sd", 2.5, shape=shape[0])
        by_seabed = varying @ (spread[:, None] * pm.Normal("varying_z", 0.0, 1.0, shape=shape))
        cell = by_anchor[:, None] + group("seabed", size["seabed"]) + by_seabed
        cell += group("form_seabed", size["form"], size["seabed"])[data["form_of"]]
        cell += group("design_seabed", size["design"], size["seabed"])[data["design_of"]]
        pm.Deterministic("cell", cell)
        mu = cell[data["anchor_of"], data["seabed_of"]] + group("visit", size["visit"])[data["visit_of"]]
        pm.Normal("load", mu, pm.HalfStudentT("sigma", 4.0, 1.0), observed=data["y"])
    return model


def prepare_formula(inputs: xr.Dataset) -> Refitter:
    """Compile the formula model once."""
    model = build_formula_model(inputs)
    return Refitter(model, compile_model(model))


def formula_model(refitter: Refitter, inputs: xr.Dataset, seed: int) -> Guess:
    """Guess by the formula model, with as many draws as the program's own refits."""
    import arviz as az

    compiled = with_new_data(refitter.compiled, refitter.model, formula_data(inputs))
    drawn, _ = draw_posterior(compiled, Effort(500, 500, 0.9, chains=2), seed)
    y = midpoints(inputs)
    cell = y.mean() + y.std() * drawn["posterior"]["cell"]
    quantiles = cell.quantile(QUANTILES, dim=("chain", "draw")).to_numpy()
    diverging = drawn["sample_stats"]["diverging"]
    ess = min(float(az.ess(cell.to_dataset(name="cell"), method=m)["cell"].min()) for m in ("bulk", "tail"))
    return Guess(quantiles[2], quantiles, int(diverging.sum()), int(diverging.size), ess)
