"""The reduced model against a general-purpose library of mixed models, on complete and exact data.

With normal scatter, no penetration limit, anchors of one size, spreads held at known values and flat priors
on what is left, the model is a linear mixed model.  Its posterior is then closed: generalised least squares
with one pseudo-observation for each random effect (Henderson 1975, *Biometrics* 31:423, value from memory),
here worked out by statsmodels, whose mixed model must give the same fixed effects.  With the Student t
scatter left in, the same comparison misses by half a standard deviation.
"""

import itertools
from collections.abc import Mapping
from functools import partial
from typing import NamedTuple

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from numpy.typing import NDArray
from statsmodels.regression.linear_model import GLS
from statsmodels.regression.mixed_linear_model import MixedLM, VCSpec

from holdcast.campaign import Campaign, read_campaign
from holdcast.capacity.inputs.layout import lay_out
from holdcast.capacity.inputs.likeness import alike_kernel
from holdcast.capacity.likelihood.interval_rows import Distribution
from holdcast.capacity.likelihood.log_likelihoods import log_likelihood_of
from holdcast.capacity.model import build as model_module
from holdcast.capacity.model.build import build_model
from holdcast.capacity.model.priors import with_overrides
from holdcast.capacity.sampler.compiling import compile_model
from holdcast.capacity.sampler.sampling import Effort, draw_posterior

Matrix = NDArray[np.float64]

SPREADS = {"form_spread": 0.3, "form_seabed_spread": 0.2, "feature_seabed_spread": 0.15,
           "design_spread": 0.35, "visit_spread": 0.15, "pull_scatter_typical": 0.25}  # fmt: skip
SHARES = {
    "main": 0.3,
    "alike": 0.3,
    "own": 0.2,
    "configuration": 0.1,
    "configuration_seabed": 0.1,
    "trait": 1e-4,
}
"""Next to nothing is left to hidden traits: a product of two normals is no part of a mixed model."""
SMOOTH = 0.5
"""Share of the variance of form, feature, trait and configuration effects by seabed that like seabeds have in
common (docs/model.md)."""
FORMS = {"A": "scoop", "B": "scoop", "C": "plough", "D": "plough"}
SEABEDS = {"mud": ("clay", "very_low"), "clay": ("clay", "medium"), "sand": ("sand", "dense")}
EFFECT = {"roll_bar": 0.3, "tip_weight": -0.2}


def settings() -> str:
    """Spreads held within a percent of known values, nothing from strength or area, the rest flat."""
    lines = [f"{name} = {{ median = {value}, log_sd = 0.01 }}" for name, value in SPREADS.items()]
    lines += [
        "design_share = { " + ", ".join(f"{part} = {2e4 * share}" for part, share in SHARES.items()) + " }",
        "pull_scatter_deviation = { mean = 0.0, sd = 0.001 }",
        "ground_strength_slope = { mean = 0.0, sd = 0.001 }",
        "area_exponent = { mean = 0.0, sd = 0.001 }",
        "ground_typical = { mean = 7.3, sd = 5.0 }",
        "ground_spread = { median = 5.0, log_sd = 0.01 }",
        "feature_typical = { mean = 0.0, sd = 10.0 }",
        # Every anchor sets for sure, and spots add nothing: a mixed model has neither.
        "spot_spread = { median = 0.0001, log_sd = 0.01 }",
        "set_typical = { mean = 40.0, sd = 0.01 }",
        "set_spread = { median = 0.0001, log_sd = 0.01 }",
    ]
    return "[priors]\n" + "\n".join(lines) + "\n"


def tables() -> dict[str, list[dict[str, object]]]:
    """Four designs with and without two features, three seabeds, two visits each, every load known."""
    random = np.random.default_rng(8)
    anchors: list[dict[str, object]] = []
    for place, (design, form) in enumerate(FORMS.items()):
        feature = list(EFFECT)[place % 2]
        for flag in ("yes", "no"):
            anchors.append(
                {"anchor": f"{design}-{flag}", "design": design, "form": form, "mass_kg": 10,
                 "tip_load_kg": 4, "fluke_area_cm2": 800, f"flag_{feature}": flag}
            )  # fmt: skip
    own = {design: 0.3 * random.standard_normal() for design in FORMS}
    trials: list[dict[str, object]] = []
    for (number, seabed), anchor, visit in itertools.product(enumerate(SEABEDS), anchors, (1, 2)):
        effect = sum(value for name, value in EFFECT.items() if anchor.get(f"flag_{name}") == "yes")
        centre = 7.0 + 0.5 * number + own[str(anchor["design"])] + effect + 0.1 * visit
        for _ in range(2 if visit == 1 else 1):
            load = round(float(np.exp(centre + 0.25 * random.standard_normal())), 1)
            trials.append(
                {"trial": f"T{len(trials):03d}", "anchor": anchor["anchor"], "seabed": seabed,
                 "test": "pull", "date": f"2024-05-{10 * number + visit:02d}", "held_n": load,
                 "released_n": load, "load_at": "anchor"}
            )  # fmt: skip
    grounds = [{"seabed": name, "soil": soil, "strength": word} for name, (soil, word) in SEABEDS.items()]
    return {"anchors": anchors, "seabeds": grounds, "trials": trials}


class Linear(NamedTuple):
    """The reduced model as matrices: rows are pulls or, for `cells`, anchor × seabed."""

    loads: Matrix
    fixed: Matrix
    random: list[tuple[str, Matrix, Matrix]]  # name, design matrix of the pulls, covariance
    cells: Matrix  # all effects, fixed ones first, as the cells' log capacities need them


def _indicator(which: Matrix, number: int) -> Matrix:
    return np.asarray(which[:, None] == np.arange(number), dtype=float)


def _crossed(one: Matrix, other: Matrix) -> Matrix:
    """Return the columns of an interaction, the second index running fastest."""
    return np.einsum("ni,nj->nij", one, other).reshape(len(one), -1)


def _covariances(kernel: Matrix, counts: Mapping[str, int]) -> dict[str, Matrix]:
    """Return the covariance of each group of random effects; in an interaction seabeds run fastest."""
    identity, size = np.eye(len(kernel)), SPREADS
    like, total = SMOOTH * kernel + (1.0 - SMOOTH) * identity, size["design_spread"] ** 2
    by_seabed = SHARES["alike"] * kernel + SHARES["own"] * identity
    form, feature, design, anchor = (np.eye(number) for number in counts.values())
    return {
        "form": size["form_spread"] ** 2 * form,
        "form x seabed": size["form_seabed_spread"] ** 2 * np.kron(form, like),
        "feature x seabed": size["feature_seabed_spread"] ** 2 * np.kron(feature, like),
        "design": total * SHARES["main"] * design,
        "design x seabed": total * np.kron(design, by_seabed),
        "configuration": total * SHARES["configuration"] * anchor,
        "configuration x seabed": total * SHARES["configuration_seabed"] * np.kron(anchor, like),
    }


def linear(inputs: xr.Dataset, campaign: Campaign) -> Linear:
    """Write the model down anew, from the campaign's labels alone."""
    pulls, anchors = campaign.trials, campaign.anchors
    names, places = list(anchors.index), list(campaign.seabeds.index)
    at = {
        "pull": (pulls["anchor"].map(names.index), pulls["seabed"].map(places.index)),
        "cell": tuple(np.divmod(np.arange(len(names) * len(places)), len(places))),
    }
    kernel = alike_kernel(inputs["strength_index"].to_numpy(), campaign.seabeds["soil"].tolist())
    forms, designs = (sorted(set(anchors[name])) for name in ("form", "design"))
    flags = [f"flag_{name}" for name in inputs["feature"].to_numpy()]
    counts = {"form": len(forms), "feature": len(flags), "design": len(designs), "anchor": len(names)}
    covariances = _covariances(kernel, counts)
    columns = {}
    for rows, (anchor, seabed) in at.items():
        who, where = np.asarray(anchor), _indicator(np.asarray(seabed), len(places))
        form = _indicator(np.array([forms.index(name) for name in anchors["form"]])[who], len(forms))
        design = _indicator(np.array([designs.index(name) for name in anchors["design"]])[who], len(designs))
        has = anchors[flags].to_numpy(dtype=float)[who]
        single = _indicator(who, len(names))
        columns[rows] = [
            np.hstack([where, has]), form, _crossed(form, where), _crossed(has, where), design,
            _crossed(design, where), single, _crossed(single, where),
        ]  # fmt: skip
    visits = (pulls["seabed"] + "/" + pulls["visit"]).tolist()
    visit = _indicator(np.array([sorted(set(visits)).index(name) for name in visits]), len(set(visits)))
    random = [(name, z, covariances[name]) for name, z in zip(covariances, columns["pull"][1:], strict=True)]
    random.append(("visit", visit, SPREADS["visit_spread"] ** 2 * np.eye(visit.shape[1])))
    none = np.zeros((len(names) * len(places), visit.shape[1]))
    loads = np.log(pulls["released_n"].to_numpy(dtype=float))
    return Linear(loads, columns["pull"][0], random, np.hstack([*columns["cell"], none]))


def closed_posterior(told: Linear) -> tuple[Matrix, Matrix]:
    """Return mean and covariance of all effects, fixed ones first, by statsmodels' least squares."""
    sizes = [covariance.shape[0] for _, _, covariance in told.random]
    effects, fixed = sum(sizes), told.fixed.shape[1]
    rows = np.vstack(
        [
            np.hstack([told.fixed, *(z for _, z, _ in told.random)]),
            np.hstack([np.zeros((effects, fixed)), np.eye(effects)]),
        ]
    )
    sigma = np.zeros((len(rows), len(rows)))
    pulls = len(told.loads)
    sigma[:pulls, :pulls] = SPREADS["pull_scatter_typical"] ** 2 * np.eye(pulls)
    start = pulls
    for size, (_, _, covariance) in zip(sizes, told.random, strict=True):
        sigma[start : start + size, start : start + size] = covariance
        start += size
    made = GLS(np.concatenate([told.loads, np.zeros(effects)]), rows, sigma=sigma).fit()
    return np.asarray(made.params), np.asarray(made.normalized_cov_params)


def mixed_model_fixed(told: Linear) -> Matrix:
    """Return the fixed effects by statsmodels' mixed model at the known variances."""
    names = [name for name, _, _ in told.random]
    mats = [[z @ np.linalg.cholesky(covariance)] for _, z, covariance in told.random]
    labels = [
        [[f"{name} {k}" for k in range(mat[0].shape[1])]] for name, mat in zip(names, mats, strict=True)
    ]
    one_group = np.zeros(len(told.loads))
    model = MixedLM(told.loads, told.fixed, one_group, exog_vc=VCSpec(names, labels, mats))
    ratio = np.full(len(names), 1.0 / SPREADS["pull_scatter_typical"] ** 2)
    return np.asarray(model.get_fe_params(np.empty((0, 0)), ratio)[0])


@pytest.fixture(scope="module")
def campaign(tmp_path_factory: pytest.TempPathFactory) -> Campaign:
    folder = tmp_path_factory.mktemp("reduced")
    for name, rows in tables().items():
        pd.DataFrame(rows).to_csv(folder / f"{name}.csv", index=False)
    (folder / "campaign.toml").write_text(settings(), encoding="utf-8")
    return read_campaign(folder)


def test_two_general_methods_agree_on_the_fixed_effects(campaign: Campaign) -> None:
    told = linear(lay_out(campaign), campaign)
    means, _ = closed_posterior(told)
    np.testing.assert_allclose(mixed_model_fixed(told), means[: told.fixed.shape[1]], atol=1e-7)


@pytest.fixture(scope="module")
def draws(campaign: Campaign, normal_scatter: Distribution) -> xr.Dataset:
    """Draws of the program's own model with the scatter made normal."""
    inputs, normal = lay_out(campaign), partial(log_likelihood_of, distribution=normal_scatter)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(model_module, "log_likelihood_of", normal)
        compiled = compile_model(build_model(inputs, with_overrides(campaign.priors), penetration=False))
        tree, _ = draw_posterior(compiled, Effort(3000, 300, 0.8), seed=6)
    return tree["posterior"].to_dataset()


def _compare(drawn: xr.DataArray, mean: Matrix, covariance: Matrix) -> None:
    """Compare means to a tenth of a posterior standard deviation, and those within a twentieth."""
    values = drawn.to_numpy().reshape(-1, len(mean))
    sd = np.sqrt(np.diag(covariance))
    assert (sd > 0.05).all()
    np.testing.assert_array_less(np.abs(values.mean(axis=0) - mean) / sd, 0.1)
    np.testing.assert_allclose(values.std(axis=0) / sd, 1.0, atol=0.05)


@pytest.mark.fit
def test_features_and_cell_contrasts_are_those_of_the_mixed_model(
    campaign: Campaign, draws: xr.Dataset
) -> None:
    inputs = lay_out(campaign)
    told = linear(inputs, campaign)
    means, covariance = closed_posterior(told)
    seabeds, features = inputs.sizes["seabed"], inputs.sizes["feature"]
    at = slice(seabeds, seabeds + features)
    typical = draws["feature_typical"].transpose("chain", "draw", "feature")
    _compare(typical, means[at], covariance[at, at])
    # A feature's effect in each seabed: typical plus interaction.
    before = told.fixed.shape[1] + sum(told.random[k][2].shape[0] for k in (0, 1))
    by_seabed = np.zeros((features * seabeds, len(means)))
    for feature, seabed in itertools.product(range(features), range(seabeds)):
        row = feature * seabeds + seabed
        by_seabed[row, [seabeds + feature, before + row]] = 1.0
    effect = draws["feature_effect"].transpose("chain", "draw", "feature", "seabed")
    _compare(effect, by_seabed @ means, by_seabed @ covariance @ by_seabed.T)
    # Every cell less that of the first anchor in the same seabed.
    cells = told.cells.reshape(-1, seabeds, len(means))
    contrast = (cells[1:] - cells[:1]).reshape(-1, len(means))
    capacity = draws["log_capacity"].transpose("chain", "draw", "anchor", "seabed")
    differences = capacity.isel(anchor=slice(1, None)) - capacity.isel(anchor=0, drop=True)
    differences = differences.transpose("chain", "draw", "anchor", "seabed")
    _compare(differences, contrast @ means, contrast @ covariance @ contrast.T)
