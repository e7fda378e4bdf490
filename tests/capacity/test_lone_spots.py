"""Pulls that are alone on their spots: what the spot does is summed over, in the fit and after it."""

import itertools
from collections.abc import Callable
from typing import Any

import numba
import numpy as np
import pymc as pm
import pytensor
import pytest
import xarray as xr
from numpy.typing import NDArray
from pytensor.compile.mode import Mode
from scipy import integrate, stats

from holdcast.campaign import Campaign
from holdcast.capacity.inputs.layout import lay_out
from holdcast.capacity.likelihood.interval_rows import ABOVE, BELOW, BETWEEN, EXACT, STUDENT_T, Distribution
from holdcast.capacity.likelihood.kinds import UNREAD
from holdcast.capacity.likelihood.spot_grid import spot_grid, steps_of_spots
from holdcast.capacity.likelihood.spot_rows import row_over_spots
from holdcast.capacity.model.build import build_model
from holdcast.capacity.model.prior_draws import draw_prior
from holdcast.capacity.model.priors import default_priors
from holdcast.capacity.pointwise.lone_pulls import log_inside_over_spots
from holdcast.capacity.pointwise.pulls import pull_draws, shifted_log_likelihoods
from holdcast.capacity.pointwise.student_and_normal import shares_below

from .conftest import assert_slopes_are_differences, world_of_tests

Row = Callable[[float, float, int, float], tuple[float, float, float, float]]
KINDS = (EXACT, BELOW, ABOVE, BETWEEN)
ENDS = ((-1.0, 0.3), (0.1, 0.15), (4.0, 5.0), (-20.0, -18.0))
"""In scales: about the middle, narrow, beside it and far out."""


@pytest.fixture(scope="module")
def row() -> Row:
    made: Row = row_over_spots(STUDENT_T)
    return made


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("ratio", [0.05, 0.4, 0.5, 1.0, 2.0, 6.0])
def test_a_row_is_the_integral_over_its_spot(kind: int, ratio: float, row: Row) -> None:
    """By scipy's quadrature of its own t and normal."""
    for low, high in ENDS:
        found = row(low, high, kind, ratio)[0]
        assert found == pytest.approx(np.log(by_quadrature(low, high, kind, ratio)), abs=2e-5)


def by_quadrature(low: float, high: float, kind: int, ratio: float) -> float:
    def inside(z: float) -> float:
        below, above = low - ratio * z, high - ratio * z
        between = stats.t.cdf(above, 4) - stats.t.cdf(below, 4)
        if low > 0.0:  # where the distribution function is nearly one, its differences lose digits
            between = stats.t.sf(below, 4) - stats.t.sf(above, 4)
        said = {EXACT: stats.t.pdf(above, 4), BELOW: stats.t.cdf(above, 4), ABOVE: stats.t.sf(below, 4)}
        return float(said.get(kind, between) * stats.norm.pdf(z))

    return float(integrate.quad(inside, -9.0, 9.0, epsabs=0.0, epsrel=1e-10, limit=500)[0])


def test_of_normals_the_sum_is_a_normal(normal_scatter: Distribution) -> None:
    """Two normals add up to one whose variance is their sum: in closed form, the grid aside."""
    row = row_over_spots(normal_scatter)
    for kind, ratio, (low, high) in itertools.product(KINDS, (0.3, 0.9, 3.0), ENDS[:3]):
        law = stats.norm(0.0, np.hypot(1.0, ratio))
        said = {EXACT: law.pdf(high), BELOW: law.cdf(high), ABOVE: law.sf(low)}
        expected = np.log(said.get(kind, law.sf(low) - law.sf(high)))
        assert row(low, high, kind, ratio)[0] == pytest.approx(expected, abs=2e-5), (kind, ratio, low)


@pytest.mark.parametrize("kind", KINDS)
def test_slopes_are_those_of_finite_differences(kind: int, row: Row) -> None:
    step = 1e-5
    for (low, high), ratio in itertools.product(ENDS, (0.07, 0.4, 0.7, 1.7)):
        slopes = row(low, high, kind, ratio)[1:]
        for at, slope in enumerate(slopes):
            up, down = ([low, high, ratio] for _ in range(2))
            up[at] += step
            down[at] -= step
            across = (row(*up[:2], kind, up[2])[0] - row(*down[:2], kind, down[2])[0]) / (2.0 * step)
            assert slope == pytest.approx(across, rel=1e-5, abs=1e-6), (low, high, ratio, at)


def test_all_pulls_together_have_the_slopes_of_finite_differences(plain_mode: Mode) -> None:
    """Whether they set is open, ends are turned and brought to rest: the chain of slopes is whole."""
    effects, data = alone()
    slopes = assert_slopes_are_differences("pull", effects, data, plain_mode)
    assert abs(slopes["spot_spread"]) > 0.1


def alone() -> tuple[dict[str, NDArray[Any]], dict[str, NDArray[Any]]]:
    """Return effects and data of pulls of every kind, each on a spot of its own."""
    world, random = world_of_tests(5), np.random.default_rng(8)
    pulls = world.data["kind"].size
    of = random.integers(0, world.data["spot_anchor"].size, pulls)
    data = world.data | {name: world.data[name][of] for name in ("spot_anchor", "spot_seabed", "spot_visit")}
    data |= {name: np.ones(pulls, dtype=int) for name in ("spot_pulls", "spot_alone")}
    data |= {name: np.arange(pulls) for name in ("spot_first", "pull_order")}
    return world.effects | {"spot": random.normal(0.0, 0.1, pulls)}, data


def test_many_draws_say_the_same(row: Row) -> None:
    random, number = np.random.default_rng(2), 60
    kind = random.integers(0, 5, number)
    low = random.normal(0.0, 3.0, (7, number))
    high = np.where(kind == BETWEEN, low + random.choice([0.02, 1.0], number), low)
    ratio = random.uniform(0.1, 1.9, low.shape)
    found = log_inside_over_spots(low, high, kind, ratio)
    for at in np.ndindex(low.shape):
        read = kind[at[1]] != UNREAD
        expected = row(low[at], high[at], kind[at[1]], ratio[at])[0] if read else 0.0
        assert found[at] == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize(("ratio", "steps"), [(0.0, 1), (0.5, 1), (0.51, 2), (1.9, 4), (8.0, 16), (99.0, 16)])
def test_the_grid_is_as_fine_as_the_scatter_asks(ratio: float, steps: int) -> None:
    assert steps_of_spots(ratio) == steps
    places, weights = spot_grid(steps)
    assert len(places) == 12 * steps
    assert weights.sum() == pytest.approx(1.0)
    assert (weights * places**2).sum() == pytest.approx(1.0, abs=1e-6)


def test_loops_over_the_grid_take_several_points_at_once(row: Row) -> None:
    """The compiler's own choice, lost when a branch or a call comes into them: a pull would take twice as
    long."""
    if "avx" not in str(numba.core.codegen.get_host_cpu_features()):
        pytest.skip("this processor takes one at a time")
    row(-1.0, 1.0, BETWEEN, 0.3)
    (assembly,) = row.inspect_asm().values()  # type: ignore[attr-defined]
    assert "vsqrtpd" in assembly


@pytest.fixture
def inputs(make_campaign: Callable[..., Campaign]) -> xr.Dataset:
    """Twenty pulls of an anchor: on eight days one, on four days three; a reset on a day of one pull."""
    days = [*range(1, 9), *(day for day in range(9, 13) for _ in range(3))]
    rows: list[dict[str, object]] = [
        {
            "trial": f"t{number}", "anchor": "A-10", "seabed": ("mud", "sand")[day % 2], "test": "pull",
            "date": f"2024-05-{day:02d}", "held_n": 900, "released_n": 1000 + 50 * number,
        }
        for number, day in enumerate(days)
    ]  # fmt: skip
    reset = {"trial": "r", "test": "reset", "held_n": 500, "released_n": None}
    reset |= {"reversal_deg": 180, "attempts": 5, "successes": 4}
    beds = [{"seabed": "mud", "soil": "clay"}, {"seabed": "sand", "soil": "sand"}]
    return lay_out(make_campaign(seabeds=beds, trials=[*rows, rows[0] | reset]))


def test_a_lone_spot_is_no_number_of_the_samplers(inputs: xr.Dataset) -> None:
    alone = inputs["spot_alone"].to_numpy() > 0
    assert list(alone) == [False, *[True] * 7, *[False] * 4]  # the reset shares the first spot
    np.testing.assert_array_equal(inputs["shared_spot"], inputs["spot"][~alone])
    np.testing.assert_array_equal(inputs["shared_spot_at"], np.flatnonzero(~alone))
    model = build_model(inputs, default_priors())
    assert model.initial_point()["spot_z"].shape == (5,)


def test_what_the_model_draws_has_the_spots_spread(inputs: xr.Dataset) -> None:
    """Loads drawn from the model itself: those of lone pulls are as wide as their law says."""
    with build_model(inputs, default_priors()) as model:
        wanted = ["log_load", "log_capacity", "visit_effect", "pull_scatter", "spot_spread"]
        drawn = dict(zip(wanted, pm.draw([model[name] for name in wanted], 2000, random_seed=3), strict=True))
    told = {name: inputs[name].to_numpy() for name in ("anchor_of", "seabed_of", "visit_of", "spot_of")}
    capacity = drawn["log_capacity"][:, told["anchor_of"], told["seabed_of"]]
    margin = drawn["log_load"] - capacity - drawn["visit_effect"][:, told["visit_of"]]
    scale = drawn["pull_scatter"][:, told["seabed_of"]]
    lone = inputs["spot_alone"].to_numpy()[told["spot_of"]] > 0
    ratio = (drawn["spot_spread"][:, None] / scale)[:, lone]
    share = shares_below((margin / scale)[:, lone].T, ratio.T)
    assert stats.kstest(share.ravel(), "uniform").pvalue > 1e-3
    assert stats.kstest(stats.t.cdf((margin / scale)[:, lone].ravel(), 4), "uniform").pvalue < 1e-3


def test_a_replicated_load_has_the_law_it_is_judged_by(inputs: xr.Dataset) -> None:
    draws = draw_prior(build_model(inputs, default_priors()), seed=4)
    draws["sets_log_odds"] = draws["sets_log_odds"] * 0.0 + 40.0  # all set: the load alone is judged
    pulls = pull_draws(draws, inputs)
    lone = inputs["spot_alone"].to_numpy()[inputs["spot_of"].to_numpy()] > 0
    assert (pulls.spot_spread[..., lone] > 0.0).all()
    assert (pulls.spot_spread[..., ~lone] == 0.0).all()
    load = pulls.replicate(np.random.default_rng(1))
    share = pulls.below(load, load[0, 0])[..., lone]
    assert stats.kstest(share.ravel(), "uniform").pvalue > 1e-3


def test_single_pulls_add_up_to_the_models_likelihood(inputs: xr.Dataset, plain_mode: Mode) -> None:
    model = build_model(inputs, default_priors())
    names = [v.name for v in model.unobserved_RVs]
    total = model.logp(vars=[model["log_load"]])
    parts = model.replace_rvs_by_values([model[name] for name in names])
    evaluate = pytensor.function(model.value_vars, [total, *parts], mode=plain_mode, on_unused_input="ignore")
    start, random = model.initial_point(), np.random.default_rng(2)
    point = [start[v.name] + random.normal(0.0, 0.5, start[v.name].shape) for v in model.value_vars]
    logp, *values = evaluate(*point)
    dims = {name: ("chain", "draw", *(model.named_vars_to_dims.get(name) or ())) for name in names}
    draws = xr.Dataset({n: (dims[n], value[None, None]) for n, value in zip(names, values, strict=True)})
    (singles,) = shifted_log_likelihoods(draws, inputs, [0.0])
    np.testing.assert_allclose(singles.sum(), logp, rtol=1e-9)
