"""A small fit put together by hand: its numbers follow from the model's equation."""

import json

import numpy as np
import pytest
import xarray as xr
from all_set import observed, with_setting, with_spots
from scipy import stats

from holdcast.capacity.fitting import Fit
from holdcast.capacity.model.design_parts import PARTS, TRAITS
from holdcast.capacity.sampler.verdict import Verdict
from holdcast.physics.ground.penetration import log_penetration_factor

CHAINS, DRAWS, PRIOR_DRAWS = 2, 400, 300
ANCHORS = ["A-10", "A-10-bar", "B-09", "B-20", "C-12"]
DESIGNS, DESIGN_OF = ["A", "B", "C"], [0, 0, 1, 1, 2]
FORMS, FORM_OF = ["scoop", "plough", "claw"], [0, 0, 1, 1, 2]
MASS = np.array([10.0, 10.6, 9.0, 20.0, 12.0])
TIP = np.array([3.5, 3.6, 2.4, 5.0, 3.0])
AREA_EXCESS = np.array([0.1, 0.08, -0.1, -0.05, 0.0])
SEABEDS = ["soft mud", "firm sand", "stones"]
SOILS, SOIL_OF = ["silt", "sand", "gravel"], [0, 1, 2]
FEATURES = ["roll_bar", "tip_weight"]
HAS_FEATURE = np.array([[0, 0], [1, 0], [0, 0], [0, 0], [0, 1]], dtype=float)
FEATURE_EFFECT = np.array([[0.3, 0.0, -0.2], [0.1, 0.1, 0.1]])  # (feature, seabed)
TRIALS = [  # anchor, seabed, visit, held_n, released_n; the truth of a cell plays no part
    ("T1", "A-10", "soft mud", "2026-04-01", 1500.0, 1700.0),
    ("T2", "A-10", "soft mud", "2026-04-01", 1600.0, 1600.0),
    ("T3", "A-10-bar", "soft mud", "2026-04-01", 1900.0, np.inf),
    ("T4", "B-09", "soft mud", "2026-04-01", 0.0, 900.0),
    ("T5", "A-10", "firm sand", "2026-05-01", 2500.0, 2900.0),
    ("T6", "B-20", "firm sand", "2026-05-01", 4000.0, 4200.0),
    ("T7", "C-12", "firm sand", "2026-05-02", 2000.0, 2100.0),
]
PRIORS = {"feature_typical": {"mean": 0.0, "sd": 0.25}, "design_spread": {"median": 0.35, "log_sd": 0.4}}


def drawn_effects(rng: np.random.Generator, shape: tuple[int, int], spread: float) -> xr.Dataset:
    """Independent draws of every part of the equation about known values."""
    dims = {"seabed": SEABEDS, "feature": FEATURES, "form": FORMS, "design": DESIGNS, "anchor": ANCHORS}
    dims["trait"] = list(TRAITS)

    def draw(name: str, centre: object, sd: float, *over: str) -> tuple[tuple[str, ...], np.ndarray]:
        size = (*shape, *(len(dims[dim]) for dim in over))
        return (("chain", "draw", *over), np.asarray(centre) + spread * sd * rng.standard_normal(size))

    drawn = {
        "ground": draw("ground", [7.3, 7.9, 7.0], 0.1, "seabed"),
        "size_exponent": draw("size_exponent", 0.86, 0.05),
        "size_exponent_deviation": draw("size_exponent_deviation", 0.0, 0.02, "seabed"),
        "area_exponent": draw("area_exponent", 0.7, 0.1),
        "log_resistance": draw("log_resistance", [-2.0, -0.5, 1.0], 0.2, "seabed"),
        "penetration_steepness": draw("penetration_steepness", 1.5, 0.1),
        "tip_growth": draw("tip_growth", 0.33, 0.05),
        "form_effect": draw("form_effect", 0.0, 0.1, "form", "seabed"),
        "feature_effect": draw("feature_effect", FEATURE_EFFECT, 0.05, "feature", "seabed"),
        "feature_typical": draw("feature_typical", FEATURE_EFFECT.mean(axis=1), 0.05, "feature"),
        "design_effect": draw("design_effect", 0.0, 0.15, "design", "seabed"),
        "configuration_effect": draw("configuration_effect", 0.0, 0.05, "anchor", "seabed"),
        "trait_score": draw("trait_score", 0.0, 1.0, "design", "trait"),
        "trait_loading": draw("trait_loading", 0.0, 0.05, "trait", "seabed"),
        "anchor_log_tip_load": draw("anchor_log_tip_load", np.log(TIP), 0.0, "anchor"),
        "anchor_log_area_excess": draw("anchor_log_area_excess", AREA_EXCESS, 0.0, "anchor"),
    }
    made = xr.Dataset(drawn, coords={**dims, "chain": range(shape[0]), "draw": range(shape[1])})
    made["trait_effect"] = (made["trait_score"] * made["trait_loading"]).sum("trait")
    made["design_spread"] = np.exp(np.log(0.35) + 0.2 * spread * made["size_exponent"])
    mass = xr.DataArray(np.log(MASS / 10.0), dims="anchor", coords={"anchor": ANCHORS})
    design = xr.DataArray(DESIGN_OF, dims="anchor")
    form = xr.DataArray(FORM_OF, dims="anchor")
    has = xr.DataArray(
        HAS_FEATURE, dims=("anchor", "feature"), coords={"anchor": ANCHORS, "feature": FEATURES}
    )
    penetration = log_penetration_factor(
        made["anchor_log_tip_load"],
        mass,
        made["log_resistance"],
        made["penetration_steepness"],
        made["tip_growth"],
    )
    made["log_capacity"] = (
        made["ground"]
        + (made["size_exponent"] + made["size_exponent_deviation"]) * mass
        + made["area_exponent"] * made["anchor_log_area_excess"]
        + penetration
        + made["form_effect"].isel(form=form).drop_vars("form")
        + (has * made["feature_effect"]).sum("feature")
        + (made["design_effect"] + made["trait_effect"]).isel(design=design).drop_vars("design")
        + made["configuration_effect"]
    ).transpose("chain", "draw", "anchor", "seabed")
    return made


def inputs() -> xr.Dataset:
    lower = np.array([held if held > 0 else released for _, _, _, _, held, released in TRIALS])
    upper = np.array([released if np.isfinite(released) else held for _, _, _, _, held, released in TRIALS])
    kind = [1 if h == 0 else 2 if np.isinf(r) else 0 if h == r else 3 for *_, h, r in TRIALS]
    visits = list(dict.fromkeys(f"{seabed} / {visit}" for _, _, seabed, visit, _, _ in TRIALS))
    zeros = np.zeros(len(TRIALS))
    made = xr.Dataset(
        {
            "log_mass_ratio": ("anchor", np.log(MASS / 10.0)),
            "log_tip_load": ("anchor", np.log(TIP)),
            "log_tip_load_spread": ("anchor", np.zeros(len(ANCHORS))),
            "log_area_excess": ("anchor", AREA_EXCESS),
            "log_area_excess_spread": ("anchor", np.zeros(len(ANCHORS))),
            "has_feature": (("anchor", "feature"), HAS_FEATURE),
            "strength_index": ("seabed", [-1.0, 0.5, 1.0]),
            "strength_index_spread": ("seabed", [0.3, 0.3, 0.3]),
            "alike_value": ("component", np.ones(len(SEABEDS))),
            "alike_vector": (("seabed", "component"), np.eye(len(SEABEDS))),
            "design_of": ("anchor", DESIGN_OF),
            "form_of": ("anchor", FORM_OF),
            "soil_of": ("seabed", SOIL_OF),
            "lower": ("trial", np.log(lower)),
            "upper": ("trial", np.log(upper)),
            "kind": ("trial", np.array(kind)),
            **dict.fromkeys(("fall_lower", "fall_upper", "fall_slope"), ("trial", zeros)),
            "speed": ("trial", zeros + 0.001),  # the reference speed: no correction
            "anchor_of": ("trial", [ANCHORS.index(a) for _, a, *_ in TRIALS]),
            "seabed_of": ("trial", [SEABEDS.index(s) for _, _, s, *_ in TRIALS]),
            "visit_of": ("trial", [visits.index(f"{s} / {v}") for _, _, s, v, _, _ in TRIALS]),
        },
        coords={
            "anchor": ANCHORS,
            "seabed": SEABEDS,
            "design": DESIGNS,
            "form": FORMS,
            "feature": FEATURES,
            "soil": SOILS,
            "visit": visits,
            "trial": [row[0] for row in TRIALS],
        },
    )
    return with_spots(made)


def with_pull_variables(made: xr.Dataset, told: xr.Dataset, rng: np.random.Generator) -> xr.Dataset:
    shape = (made.sizes["chain"], made.sizes["draw"])
    visits = told["visit"]
    made = with_setting(made, told)
    return made.assign_coords(visit=visits, soil=told["soil"], part=list(PARTS)).assign(
        visit_effect=(("chain", "draw", "visit"), 0.1 * rng.standard_normal((*shape, len(visits)))),
        visit_spread=(("chain", "draw"), np.full(shape, 0.1)),
        pull_scatter=(("chain", "draw", "seabed"), np.full((*shape, len(SEABEDS)), 0.2)),
        strength_of_fall=(("chain", "draw"), np.full(shape, 0.5)),
        design_share=(
            ("chain", "draw", "part"),
            np.broadcast_to([0.3, 0.2, 0.2, 0.1, 0.1, 0.1], (*shape, 6)),
        ),
        rate_per_decade=(("chain", "draw", "soil"), np.full((*shape, len(SOILS)), 0.05)),
    )


def likelihood(drawn: xr.Dataset, told: xr.Dataset) -> tuple[xr.DataArray, xr.DataArray]:
    """Log likelihood of each pull and a predictive draw of it, by scipy's Student t (outside witness)."""
    place = {"anchor": told["anchor_of"], "seabed": told["seabed_of"]}
    centre = drawn["log_capacity"].isel(place) + drawn["visit_effect"].isel(visit=told["visit_of"])
    centre = centre.reset_coords(drop=True).transpose("chain", "draw", "trial")
    t = stats.t(4, loc=centre.to_numpy(), scale=0.2)
    low, high, kind = (told[name].to_numpy() for name in ("lower", "upper", "kind"))
    low, high = np.where(kind == 1, -np.inf, low), np.where(kind == 2, np.inf, high)
    with np.errstate(divide="ignore"):
        between = np.log(t.cdf(high) - t.cdf(low))
    values = np.where(kind == 0, t.logpdf(np.where(kind == 0, high, 0.0)), between)
    scatter = np.random.default_rng(5).standard_t(4, size=centre.shape)
    return centre.copy(data=values), centre + 0.2 * scatter


def build_fit(seed: int = 1, *, ok: bool = True) -> Fit:
    rng = np.random.default_rng(seed)
    told = inputs()
    drawn = with_pull_variables(drawn_effects(rng, (CHAINS, DRAWS), 1.0), told, rng)
    prior = with_pull_variables(drawn_effects(rng, (1, PRIOR_DRAWS), 4.0), told, rng)
    log_likelihood, predictive = likelihood(drawn, told)
    anchors = xr.Dataset(
        {
            "design": ("anchor", np.array(DESIGNS)[DESIGN_OF]),
            "form": ("anchor", np.array(FORMS)[FORM_OF]),
            "mass_kg": ("anchor", MASS),
            "tip_load_kg": ("anchor", TIP),
            "flag_roll_bar": ("anchor", HAS_FEATURE[:, 0] > 0),
            "flag_tip_weight": ("anchor", HAS_FEATURE[:, 1] > 0),
        },
        coords={"anchor": ANCHORS},
    )
    seabeds = xr.Dataset(
        {"soil": ("seabed", SOILS), "strength": ("seabed", ["very_low", "dense", ""])},
        coords={"seabed": SEABEDS},
    )
    columns = dict(
        zip(("anchor", "seabed", "visit"), zip(*(row[1:4] for row in TRIALS), strict=True), strict=True)
    )
    trials = xr.Dataset(
        {
            **{name: ("trial", list(values)) for name, values in columns.items()},
            "test": ("trial", ["pull"] * len(TRIALS)),
            "date": ("trial", list(columns["visit"])),
            "held_n": ("trial", [row[4] for row in TRIALS]),
            "released_n": ("trial", [row[5] for row in TRIALS]),
            "exclude": ("trial", [""] * len(TRIALS)),
            "note": ("trial", [""] * len(TRIALS)),
            "status": ("trial", ["used"] * len(TRIALS)),
        },
        coords={"trial": [row[0] for row in TRIALS]},
    )
    tree = xr.DataTree.from_dict(
        {
            "posterior": drawn,
            "posterior_predictive": xr.Dataset({"log_load": predictive}),
            "log_likelihood": xr.Dataset({"log_load": log_likelihood}),
            "prior": prior,
            "constant_data": told,
            "observed_data": observed(told),
            "anchors": anchors,
            "seabeds": seabeds,
            "trials": trials,
        }
    )
    tree.attrs = {
        "results_version": 1,
        "version": "0",
        "seed": 7,
        "title": "Small and invented",
        "author": "A. Tester",
        "licence": "CC0-1.0",
        "input_hash": "0" * 64,
        "newest_trial": "2026-05-02",
        "priors": json.dumps(PRIORS),
        "thresholds": "{}",
        "weights": "{}",
        "boat": "{}",
    }
    return Fit(tree, Verdict(ok, ("made by hand",), 0, 1.0, 800.0, 800.0, 1.0, CHAINS * DRAWS))


@pytest.fixture(scope="session")
def small_fit() -> Fit:
    return build_fit()


@pytest.fixture(scope="session")
def unreliable_fit() -> Fit:
    return build_fit(ok=False)
