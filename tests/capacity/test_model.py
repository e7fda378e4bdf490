"""The model as built: campaigns of edge sizes, no invented dims, and effects where they should be."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pymc as pm
import pytensor
import pytest
from pytensor.compile.mode import Mode

from holdcast.campaign import Campaign
from holdcast.capacity.inputs.layout import lay_out
from holdcast.capacity.likelihood.setting_rows import UNREAD
from holdcast.capacity.model.build import build_model
from holdcast.capacity.model.design_split import ANCHOR_EFFECT
from holdcast.capacity.model.priors import with_overrides
from holdcast.capacity.sampler.compiling import compile_model
from holdcast.capacity.sampler.density import lay_out_point

ONE_ANCHOR = [{"anchor": "only", "mass_kg": 10}]
ONE_SEABED = [{"seabed": "mud", "soil": "clay"}]
PULL = {"trial": "1", "anchor": "only", "seabed": "mud", "test": "pull", "date": "2024-05-01",
        "held_n": 900, "released_n": 1000}  # fmt: skip
EDGES: dict[str, dict[str, Any]] = {
    "one anchor, one seabed, one pull": {"anchors": ONE_ANCHOR, "seabeds": ONE_SEABED, "trials": [PULL]},
    "never held anything": {"anchors": ONE_ANCHOR, "seabeds": ONE_SEABED, "trials": [PULL | {"held_n": ""}]},
    "no flags, a seabed never pulled in": {
        "anchors": [*ONE_ANCHOR, {"anchor": "other", "mass_kg": 12, "tip_load_kg": 3}],
        "trials": [PULL, PULL | {"trial": "2", "anchor": "other", "seabed": "beach"}],
    },
    "a flag that no anchor has": {"anchors": [ONE_ANCHOR[0] | {"flag_roll_bar": "no"}], "trials": [PULL]},
    "every soil, one pulled in": {
        "anchors": ONE_ANCHOR,
        "seabeds": [{"seabed": "mud" if soil == "clay" else soil, "soil": soil}
                    for soil in ("clay", "silt", "sand", "gravel", "cobble", "rock")],
        "trials": [PULL],
    },
    "never set, no load read": {
        "anchors": ONE_ANCHOR, "seabeds": ONE_SEABED,
        "trials": [PULL, PULL | {"trial": "2", "held_n": "", "released_n": "", "set": "no"}],
    },
    "said not to have set at a load far above its weight": {
        "anchors": ONE_ANCHOR, "seabeds": ONE_SEABED,
        "trials": [PULL | {"held_n": 9000, "released_n": 9900, "set": "no"}],
    },
    "resets and veers before any pull of that anchor": {
        "anchors": [*ONE_ANCHOR, {"anchor": "other", "mass_kg": 12}], "seabeds": ONE_SEABED,
        "trials": [
            PULL,
            {"trial": "2", "anchor": "other", "seabed": "mud", "test": "reset", "date": "2024-05-02",
             "attempts": 3, "successes": 0},
            {"trial": "3", "anchor": "other", "seabed": "mud", "test": "veer", "date": "2024-05-02",
             "held_n": 500, "veer_deg": 90},
        ],
    },
    "no dates, very small and very large loads": {
        "anchors": [*ONE_ANCHOR, {"anchor": "other", "mass_kg": 2000}],
        "seabeds": ONE_SEABED,
        "trials": [PULL | {"date": "", "held_n": 2, "released_n": 3},
                   PULL | {"date": "", "trial": "2", "anchor": "other", "held_n": 9e5, "released_n": 9.5e5}],
    },
}  # fmt: skip


def start_of(model: pm.Model) -> dict[str, np.ndarray]:
    """Return where the sampler starts, as the modelling library wants it."""
    layout = lay_out_point(model)
    ends = np.cumsum([int(np.prod(shape)) for shape in layout.shapes.values()])[:-1]
    pieces = zip(layout.shapes.items(), np.split(layout.start, ends), strict=True)
    return {name: piece.reshape(shape) for (name, shape), piece in pieces}


@pytest.mark.parametrize("edge", EDGES)
def test_edge_campaigns_build_with_a_finite_start(
    make_campaign: Callable[..., Campaign], plain_mode: Mode, edge: str
) -> None:
    model = build_model(lay_out(make_campaign(**EDGES[edge])), with_overrides({}))
    evaluate = pytensor.function(model.value_vars, model.logp(sum=False), mode=plain_mode)
    start = start_of(model)
    assert np.isfinite(np.concatenate([np.ravel(value) for value in start.values()])).all()
    for name, value in zip(
        [*model.basic_RVs, *model.potentials],
        evaluate(*[start[each.name] for each in model.value_vars]),
        strict=True,
    ):
        assert np.isfinite(value).all(), name


@pytest.mark.fit
def test_gradients_are_finite_where_a_sampler_starts(setting_campaign: Campaign) -> None:
    """All kinds of readings, resets and veers; a sampler starts within 1 of the model's own start."""
    inputs = lay_out(setting_campaign)
    assert set(inputs["kind"].to_numpy()) == {0, 1, 2, 3, UNREAD}
    compiled = compile_model(build_model(inputs, with_overrides({})), own_source=True)
    layout, random = compiled.derivation.layout, np.random.default_rng(1)
    names = np.repeat(list(layout.shapes), [int(np.prod(shape)) for shape in layout.shapes.values()])
    for _ in range(20):
        point = layout.start + random.uniform(-1.0, 1.0, layout.start.size)
        value, gradient = compiled.density(point, layout.data.numbers, layout.data.positions)
        assert np.isfinite(value)
        assert not set(names[~np.isfinite(gradient)])


def test_each_pull_without_date_is_its_own_visit(make_campaign: Callable[..., Campaign]) -> None:
    inputs = lay_out(make_campaign(**EDGES["no dates, very small and very large loads"]))
    assert inputs.sizes["visit"] == 2


def test_no_variable_has_an_invented_dim(setting_campaign: Campaign) -> None:
    model = build_model(lay_out(setting_campaign), with_overrides({}))
    for name, variable in model.named_vars.items():
        dims = model.named_vars_to_dims.get(name, ())
        assert len(dims) == variable.ndim, name
        assert set(dims) <= {"anchor", "seabed", "design", "form", "feature", "cover", "soil", "visit",
                             "trial",
                             "component", "part", "trait", "spot", "shared_spot", "instrument",
                             "reset", "veer", "set_part",
                             "angle_ground", "angle_ground_other"}, name  # fmt: skip
    for name in ("log_capacity", "sets_log_odds", "resets_log_odds", "turn"):
        assert model.named_vars_to_dims[name] == ("anchor", "seabed")


def test_pairs_share_their_designs_effects(small_campaign: Campaign, plain_mode: Mode) -> None:
    """With and without a part: the difference is the part, what was measured, and the configurations' own."""
    model = build_model(lay_out(small_campaign), with_overrides({}))
    inputs = lay_out(small_campaign)
    names = ("log_capacity", "feature_effect", ANCHOR_EFFECT, "size_exponent",
             "size_exponent_deviation", "area_exponent", "anchor_log_area_excess", "log_resistance",
             "penetration_steepness", "tip_growth")  # fmt: skip
    drawn = dict(
        zip(names, pm.draw([model[name] for name in names], random_seed=5, mode=plain_mode), strict=True)
    )
    mass, tip = inputs["log_mass_ratio"].to_numpy()[:2], inputs["log_tip_load"].to_numpy()[:2]
    margin = tip[:, None] - drawn["tip_growth"] * mass[:, None] - drawn["log_resistance"]
    penetration = -np.log1p(np.exp(-drawn["penetration_steepness"] * margin))
    size = mass[:, None] * (drawn["size_exponent"] + drawn["size_exponent_deviation"])
    area = drawn["area_exponent"] * drawn["anchor_log_area_excess"][:2, None]
    own = drawn[ANCHOR_EFFECT][:2]
    known = penetration + size + area + own
    expected = drawn["feature_effect"][0] + known[0] - known[1]
    np.testing.assert_allclose(drawn["log_capacity"][0] - drawn["log_capacity"][1], expected, rtol=1e-9)
