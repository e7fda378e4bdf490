"""A world in which everything but the pulls is known, so that residuals can be checked against theory."""

from collections.abc import Callable

import numpy as np
import pytest
import xarray as xr
from all_set import observed, with_setting, with_spots
from scipy import stats

from holdcast.answers.criticise.residuals import residuals
from holdcast.capacity.fitting import Fit
from holdcast.capacity.model.design_parts import PARTS, TRAITS
from holdcast.capacity.sampler.verdict import Verdict

CHAINS, DRAWS = 2, 100
VISIT, SCATTER = 0.3, np.array([0.2, 0.35])
DESIGN = np.array([0.3, 0.5])  # by seabed
SPREAD, TRAIT_SHARE = 0.7, 0.9  # of all seabeds together; what is left of the designs is their traits'
LOADING = np.sqrt((DESIGN**2 - (1.0 - TRAIT_SHARE) * SPREAD**2) / len(TRAITS))
SEABEDS = ["mud", "sand"]


def known_world(seed: int, *, trials: int = 1200, groups: int = 60, scope_exponent: float = 0.0) -> Fit:
    """Draws all next to the truth; loads drawn from the model, known in all four ways.

    As many designs as visits; every visit has its own scope, on which loads depend when so asked, unknown to
    the model.
    """
    rng = np.random.default_rng(seed)
    anchor_of, visit_of = rng.integers(0, groups, trials), rng.integers(0, groups, trials)
    seabed_of = visit_of % 2
    design, visit = rng.normal(0.0, DESIGN, (groups, 2)), rng.normal(0.0, VISIT, groups)
    scope = rng.choice([3.0, 4.0, 5.0, 7.0, 8.0], groups)
    capacity = 7.0 + design
    centre = capacity[anchor_of, seabed_of] + visit[visit_of]
    load = centre + SCATTER[seabed_of] * rng.standard_t(4, trials)
    load = load + scope_exponent * np.log(scope / 5.0)[visit_of]
    lower, upper, kind = _readings(rng, load)
    inputs = _inputs(groups, anchor_of, seabed_of, visit_of, lower, upper, kind)
    posterior = _near(rng, inputs, capacity, design, visit)
    likelihood = stats.t.logpdf(load, 4, centre, SCATTER[seabed_of])
    likelihood = likelihood + 1e-3 * rng.standard_normal((CHAINS, DRAWS, trials))
    names = {dim: inputs[dim] for dim in ("trial",)}
    table = {
        "scope": ("trial", scope[visit_of]),
        "date": ("trial", np.datetime_as_string(np.datetime64("2024-01-01") + visit_of).astype(str)),
    }
    groups_made = {
        "posterior": posterior,
        "log_likelihood": xr.Dataset(
            {"log_load": (("chain", "draw", "trial"), likelihood)},
            {**names, "chain": range(CHAINS), "draw": range(DRAWS)},
        ),
        "constant_data": inputs,
        "observed_data": observed(inputs),
        "trials": xr.Dataset(table, names),
        "anchors": xr.Dataset(
            {"mass_kg": ("anchor", rng.uniform(5.0, 30.0, groups))}, {"anchor": inputs["anchor"]}
        ),
    }
    tree = xr.DataTree.from_dict(groups_made)
    tree.attrs = {"seed": 7, "title": "Known", "boat": "{}"}
    return Fit(tree, Verdict(True, ("made by hand",), 0, 1.0, 800.0, 800.0, 1.0, CHAINS * DRAWS))


def _readings(rng: np.random.Generator, load: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return ends and kind: open beyond a row's own limits, else exact or a step of a fixed grid.

    Neither limits nor steps know the load, as a boat's limit does not.
    """
    low, high = rng.uniform(5.8, 7.0, len(load)), rng.uniform(7.0, 8.2, len(load))
    step, between = 0.3, rng.random(len(load)) < 0.5
    edge = step * np.floor(load / step)
    kind = np.select([load > high, load < low, between], [2, 1, 3], 0)
    lower = np.select([kind == 2, kind == 1, kind == 3], [high, low, edge], load)
    upper = np.select([kind == 2, kind == 1, kind == 3], [high, low, edge + step], load)
    return lower, upper, kind


def _inputs(groups: int, anchor_of, seabed_of, visit_of, lower, upper, kind) -> xr.Dataset:
    zeros = np.zeros(len(anchor_of))
    names = [f"D{number}" for number in range(groups)]
    made = xr.Dataset(
        {
            "design_of": ("anchor", np.arange(groups)),
            "soil_of": ("seabed", [0, 1]),
            "has_feature": (("anchor", "feature"), np.zeros((groups, 0))),
            "lower": ("trial", lower),
            "upper": ("trial", upper),
            "kind": ("trial", kind),
            **dict.fromkeys(("fall_lower", "fall_upper", "fall_slope"), ("trial", zeros)),
            "speed": ("trial", zeros + 0.001),  # the reference speed: no correction
            "anchor_of": ("trial", anchor_of),
            "seabed_of": ("trial", seabed_of),
            "visit_of": ("trial", visit_of),
        },
        coords={
            "anchor": names,
            "design": names,
            "seabed": SEABEDS,
            "soil": ["silt", "sand"],
            "feature": np.zeros(0, dtype=str),
            "visit": [f"{SEABEDS[number % 2]} / {number}" for number in range(groups)],
            "trial": [f"T{number}" for number in range(len(anchor_of))],
        },
    )
    return with_spots(made.assign(log_mass_ratio=("anchor", np.zeros(groups))).assign_coords(form=["plough"]))


def _near(rng: np.random.Generator, inputs: xr.Dataset, capacity, design, visit) -> xr.Dataset:
    def near(truth: object, *dims: str) -> tuple[tuple[str, ...], np.ndarray]:
        truth = np.asarray(truth, dtype=float)
        return ("chain", "draw", *dims), truth + 1e-4 * rng.standard_normal((CHAINS, DRAWS, *truth.shape))

    near_truth = xr.Dataset(
        {
            "log_capacity": near(capacity, "anchor", "seabed"),
            "visit_effect": near(visit, "visit"),
            "visit_spread": near(VISIT),
            "design_effect": near(0.3 * design, "design", "seabed"),
            "trait_effect": near(0.3 * design, "design", "seabed"),
            "configuration_effect": near(0.4 * design, "anchor", "seabed"),  # each design has one anchor
            "trait_loading": near(np.tile(LOADING, (len(TRAITS), 1)), "trait", "seabed"),
            "design_share": near([(1.0 - TRAIT_SHARE) / 5.0] * 5 + [TRAIT_SHARE], "part"),
            "design_spread": near(SPREAD),
            "pull_scatter": near(SCATTER, "seabed"),
            "rate_per_decade": near([0.05, 0.05], "soil"),
            "strength_of_fall": near(0.5),
        },
        coords={
            **{dim: inputs[dim] for dim in ("anchor", "seabed", "design", "visit", "soil")},
            "chain": range(CHAINS),
            "draw": range(DRAWS),
            "part": list(PARTS),
            "trait": list(TRAITS),
        },
    )
    return with_setting(near_truth, inputs)


@pytest.fixture(scope="session")
def world() -> Callable[..., Fit]:
    return known_world


@pytest.fixture(scope="session")
def known_fit() -> Fit:
    return known_world(2)


@pytest.fixture(scope="session")
def found(known_fit: Fit) -> xr.Dataset:
    """Residuals of the known world."""
    return residuals(known_fit)
