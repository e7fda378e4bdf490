"""The likelihood of all pulls in one pass, against the same written as a graph of single rows."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytensor
import pytensor.tensor as pt
import pytest
from holdcast.capacity.likelihood.pull_likelihood import COLUMNS, EFFECTS, log_likelihood_of_pulls
from numpy.typing import NDArray
from pytensor.compile.mode import Mode

from holdcast.capacity.likelihood.corrections import LEAST_WIDTH, corrected_ends
from holdcast.capacity.likelihood.interval import ABOVE, BELOW, BETWEEN, EXACT, log_likelihood_by_kind
from holdcast.capacity.likelihood.interval_rows import STUDENT_T, Distribution

ANCHORS, SEABEDS, VISITS, PULLS = 4, 3, 5, 400
KINDS_OF_EFFECT = (pt.dmatrix, pt.dvector, pt.dvector, pt.dscalar, pt.dvector)


def pulls() -> dict[str, NDArray[Any]]:
    """Pulls of every kind; a third without any correction, and some whose ends the speed would cross."""
    random = np.random.default_rng(3)
    kind = random.integers(0, 4, PULLS)
    lower = random.normal(7.0, 0.8, PULLS)
    width = np.where(kind == BETWEEN, random.choice([0.001, 0.1, 0.8], PULLS), 0.0)
    plain = random.random(PULLS) < 1.0 / 3.0
    falls = np.where(plain, 0.0, np.sort(random.uniform(0.0, 0.6, (2, PULLS)), axis=0))
    falls[1] = np.where(kind == BETWEEN, falls[1], falls[0])
    made = {
        "anchor_of": random.integers(0, ANCHORS, PULLS),
        "seabed_of": random.integers(0, SEABEDS, PULLS),
        "visit_of": random.integers(0, VISITS, PULLS),
        "kind": kind,
        "lower": lower,
        "upper": lower + width,
        "fall_lower": falls[0],
        "fall_upper": falls[1],
        "fall_slope": np.where(plain, 0.0, random.uniform(0.0, 0.5, PULLS)),
        "speed": np.where(plain, 0.0, random.choice([0.0, 0.001, 0.02, 0.5], PULLS)),
    }
    assert {EXACT, BELOW, ABOVE, BETWEEN} == set(kind.tolist())
    return made


def effects() -> list[NDArray[Any]]:
    random = np.random.default_rng(4)
    return [
        random.normal(7.0, 0.5, (ANCHORS, SEABEDS)), random.normal(0.0, 0.2, VISITS),
        random.uniform(0.1, 0.6, SEABEDS), np.array(0.7), random.uniform(0.02, 0.2, SEABEDS),
    ]  # fmt: skip


def by_rows(symbols: list[Any], data: dict[str, NDArray[Any]], distribution: Distribution) -> Any:
    """Return the same likelihood with every row looked up, corrected and judged by the library."""
    capacity, visit, scatter, fall, rate = symbols
    seabed = data["seabed_of"]
    low, high, jacobian = corrected_ends(data, fall, rate[seabed])
    location = capacity[data["anchor_of"], seabed] + visit[data["visit_of"]]
    rows = log_likelihood_by_kind(distribution, location, scatter[seabed], low, high, data["kind"])
    return (rows + jacobian).sum()


@pytest.mark.parametrize("scatter", ["Student t", "normal"])
def test_value_and_slopes_are_those_of_single_rows(
    scatter: str, normal_scatter: Distribution, evaluate: Callable[..., Any]
) -> None:
    distribution = STUDENT_T if scatter == "Student t" else normal_scatter
    symbols = [make() for make in KINDS_OF_EFFECT]
    data, values = pulls(), dict(zip(symbols, effects(), strict=True))
    ours = log_likelihood_of_pulls(dict(zip(EFFECTS, symbols, strict=True)), data, distribution)
    theirs = by_rows(symbols, data, distribution)
    for one, other in zip(
        evaluate([ours, *pytensor.grad(ours, symbols)], values),
        evaluate([theirs, *pytensor.grad(theirs, symbols)], values),
        strict=True,
    ):
        assert np.isfinite(other).all()
        np.testing.assert_allclose(one, other, rtol=1e-9, atol=1e-9)


def test_some_ends_are_held_apart_by_the_least_width(evaluate: Callable[..., Any]) -> None:
    """The pulls above try that rule, or the comparison would not."""
    data, (_, _, _, fall, rate) = pulls(), effects()
    low, high, _ = evaluate(
        list(corrected_ends(data, pt.constant(fall), pt.constant(rate)[data["seabed_of"]])), {}
    )
    between = data["kind"] == BETWEEN
    held = np.isclose((high - low)[between], LEAST_WIDTH)
    assert 10 < held.sum() < between.sum() - 10


def test_a_weight_on_the_likelihood_weighs_its_slopes(evaluate: Callable[..., Any]) -> None:
    symbols = [make() for make in KINDS_OF_EFFECT]
    total = log_likelihood_of_pulls(dict(zip(EFFECTS, symbols, strict=True)), pulls())
    values = dict(zip(symbols, effects(), strict=True))
    whole, half = (evaluate(pytensor.grad(share * total, symbols[0]), values) for share in (1.0, 0.5))
    np.testing.assert_allclose(half, 0.5 * whole)


@pytest.mark.parametrize("short", COLUMNS)
def test_columns_of_unequal_length_are_refused(short: str, evaluate: Callable[..., Any]) -> None:
    data = pulls()
    data[short] = data[short][:-1]
    constants = [pt.constant(value) for value in effects()]
    with pytest.raises(ValueError, match="one entry for every pull"):
        evaluate(log_likelihood_of_pulls(dict(zip(EFFECTS, constants, strict=True)), data), {})


def test_no_pull_tells_nothing(plain_mode: Mode) -> None:
    none = {name: column[:0] for name, column in pulls().items()}
    capacity = pt.dmatrix("capacity")
    total = log_likelihood_of_pulls(dict(zip(EFFECTS, (capacity, *effects()[1:]), strict=True)), none)
    value, slope = pytensor.function([capacity], [total, pytensor.grad(total, capacity)], mode=plain_mode)(
        effects()[0]
    )
    assert value == 0.0
    np.testing.assert_array_equal(slope, 0.0)


@pytest.mark.parametrize("away", [-40.0, 40.0])
def test_far_tails_are_finite_and_so_are_their_slopes(away: float, evaluate: Callable[..., Any]) -> None:
    symbols = [make() for make in KINDS_OF_EFFECT]
    data, (capacity, visit, scatter, fall, rate) = pulls(), effects()
    moved = capacity + away * scatter
    total = log_likelihood_of_pulls(dict(zip(EFFECTS, symbols, strict=True)), data)
    values = dict(zip(symbols, (moved, visit, scatter, fall, rate), strict=True))
    for found in evaluate([total, *pytensor.grad(total, symbols)], values):
        assert np.isfinite(found).all()
