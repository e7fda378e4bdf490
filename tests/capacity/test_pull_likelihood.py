"""The likelihood of pulls that set in one pass, against the same written as a graph of single rows.

Whether a pull sets is weighed in :mod:`test_setting_loops`.
"""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytensor
import pytensor.tensor as pt
import pytest
from numpy.typing import NDArray
from pytensor.compile.mode import Mode

from holdcast.capacity.likelihood.corrections import LEAST_WIDTH, corrected_ends
from holdcast.capacity.likelihood.interval import ABOVE, BELOW, BETWEEN, EXACT, interval_log_likelihood
from holdcast.capacity.likelihood.interval_rows import STUDENT_T, Distribution
from holdcast.capacity.likelihood.log_likelihoods import log_likelihood_of
from holdcast.capacity.likelihood.pull_loop import ALONE, PULL_COLUMNS, PULL_EFFECTS
from holdcast.capacity.likelihood.setting_rows import SET

ANCHORS, SEABEDS, VISITS, PULLS = 4, 3, 5, 400
KINDS_OF_EFFECT = dict(
    zip(
        PULL_EFFECTS,
        (
            *(pt.dmatrix, pt.dvector, pt.dvector, pt.dvector, pt.dscalar, pt.dvector),
            *(pt.dmatrix, pt.dscalar, pt.dvector, pt.dscalar, pt.dscalar),
        ),
        strict=True,
    )
)


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
        "spot_anchor": random.integers(0, ANCHORS, PULLS),
        "spot_seabed": random.integers(0, SEABEDS, PULLS),
        "spot_visit": random.integers(0, VISITS, PULLS),
        "spot_first": np.arange(PULLS),
        "spot_pulls": np.ones(PULLS, dtype=np.int64),
        "spot_alone": np.zeros(PULLS, dtype=np.int64),
        "pull_order": np.arange(PULLS),
        "kind": kind,
        "setting": np.full(PULLS, SET),
        "lower": lower,
        "upper": lower + width,
        "fall_lower": falls[0],
        "fall_upper": falls[1],
        "fall_slope": np.where(plain, 0.0, random.uniform(0.0, 0.5, PULLS)),
        "speed": np.where(plain, 0.0, random.choice([0.0, 0.001, 0.02, 0.5], PULLS)),
    }
    assert {EXACT, BELOW, ABOVE, BETWEEN} == set(kind.tolist())
    return made


def effects() -> dict[str, NDArray[Any]]:
    random = np.random.default_rng(4)
    return {
        "capacity": random.normal(7.0, 0.5, (ANCHORS, SEABEDS)),
        "visit": random.normal(0.0, 0.2, VISITS),
        "spot": random.normal(0.0, 0.1, PULLS),
        "scatter": random.uniform(0.1, 0.6, SEABEDS),
        "fall": np.array(0.7),
        "rate": random.uniform(0.02, 0.2, SEABEDS),
        "odds": random.normal(2.0, 1.0, (ANCHORS, SEABEDS)),
        "concentration": np.array(6.0),
        # No reading comes near: every pull is one that set, whatever the chance of a slip of the pen.
        "sliding": random.normal(1000.0, 0.3, ANCHORS),
        "sliding_scatter": np.array(0.5),
        "spot_spread": np.array(0.2),
    }


def symbols_of_effects() -> dict[str, Any]:
    return {name: make(name) for name, make in KINDS_OF_EFFECT.items()}


def at_their_values(
    symbols: dict[str, Any], values: dict[str, NDArray[Any]] | None = None
) -> dict[Any, NDArray[Any]]:
    values = effects() if values is None else values
    return {symbols[name]: values[name] for name in symbols}


def by_rows(symbols: dict[str, Any], data: dict[str, NDArray[Any]], distribution: Distribution) -> Any:
    """Return the same likelihood with every row looked up, corrected and judged by the library."""
    anchor, seabed = data["spot_anchor"], data["spot_seabed"]
    low, high, jacobian = corrected_ends(data, symbols["fall"], symbols["rate"][seabed])
    location = symbols["capacity"][anchor, seabed] + symbols["visit"][data["spot_visit"]] + symbols["spot"]
    scatter = symbols["scatter"][seabed]
    rows = interval_log_likelihood(location, scatter, low, high, data["kind"], distribution)
    sets = -pt.log1p(pt.exp(-symbols["odds"][anchor, seabed]))
    said = np.where(data["kind"] == ABOVE, 0.0, np.log(0.98))  # that it set, as it did; or it was stopped
    return (rows + jacobian + sets + said).sum()


@pytest.mark.parametrize("scatter", ["Student t", "normal"])
def test_value_and_slopes_are_those_of_single_rows(
    scatter: str, normal_scatter: Distribution, evaluate: Callable[..., Any]
) -> None:
    distribution = STUDENT_T if scatter == "Student t" else normal_scatter
    symbols, data = symbols_of_effects(), pulls()
    moving = [symbols[name] for name in PULL_EFFECTS[:7]]
    ours = log_likelihood_of("pull", symbols, data, distribution)
    theirs = by_rows(symbols, data, distribution)
    for one, other in zip(
        evaluate([ours, *pytensor.grad(ours, moving)], at_their_values(symbols)),
        evaluate([theirs, *pytensor.grad(theirs, moving)], at_their_values(symbols)),
        strict=True,
    ):
        assert np.isfinite(other).all()
        np.testing.assert_allclose(one, other, rtol=1e-9, atol=1e-9)


def test_loads_far_above_sliding_say_nothing_of_it(evaluate: Callable[..., Any]) -> None:
    symbols, data = symbols_of_effects(), pulls()
    data["kind"] = np.where(data["kind"] == BELOW, ABOVE, data["kind"])
    values = {**effects(), "sliding": np.full(ANCHORS, 1.0)}
    unmoved = [symbols[name] for name in ("concentration", "sliding", "sliding_scatter")]
    slopes = evaluate(
        pytensor.grad(log_likelihood_of("pull", symbols, data), unmoved), at_their_values(symbols, values)
    )
    for slope in slopes:
        np.testing.assert_allclose(slope, 0.0, atol=1e-12)


def test_some_ends_are_held_apart_by_the_least_width(evaluate: Callable[..., Any]) -> None:
    """The pulls above try that rule, or the comparison would not."""
    data, values = pulls(), effects()
    rate = pt.constant(values["rate"])[data["spot_seabed"]]
    low, high, _ = evaluate(list(corrected_ends(data, pt.constant(values["fall"]), rate)), {})
    between = data["kind"] == BETWEEN
    held = np.isclose((high - low)[between], LEAST_WIDTH)
    assert 10 < held.sum() < between.sum() - 10


def test_a_weight_on_the_likelihood_weighs_its_slopes(evaluate: Callable[..., Any]) -> None:
    symbols = symbols_of_effects()
    total = log_likelihood_of("pull", symbols, pulls())
    whole, half = (
        evaluate(pytensor.grad(share * total, symbols["capacity"]), at_their_values(symbols))
        for share in (1.0, 0.5)
    )
    np.testing.assert_allclose(half, 0.5 * whole)


@pytest.mark.parametrize("short", [*PULL_COLUMNS, ALONE])
def test_columns_of_unequal_length_are_refused(short: str, evaluate: Callable[..., Any]) -> None:
    data = pulls()
    data[short] = data[short][:-1]
    with pytest.raises(ValueError, match=r"one entry for every (pull|spot)|every pull must belong"):
        evaluate(log_likelihood_of("pull", effects(), data), {})


def test_no_pull_tells_nothing(plain_mode: Mode) -> None:
    none = {name: column[:0] for name, column in pulls().items()}
    capacity = pt.dmatrix("capacity")
    total = log_likelihood_of("pull", {**effects(), "capacity": capacity}, none)
    value, slope = pytensor.function([capacity], [total, pytensor.grad(total, capacity)], mode=plain_mode)(
        effects()["capacity"]
    )
    assert value == 0.0
    np.testing.assert_array_equal(slope, 0.0)


@pytest.mark.parametrize("away", [-40.0, 40.0])
def test_far_tails_are_finite_and_so_are_their_slopes(away: float, evaluate: Callable[..., Any]) -> None:
    symbols, values = symbols_of_effects(), effects()
    values["capacity"] = values["capacity"] + away * values["scatter"]
    total = log_likelihood_of("pull", symbols, pulls())
    for found in evaluate(
        [total, *pytensor.grad(total, list(symbols.values()))], at_their_values(symbols, values)
    ):
        assert np.isfinite(found).all()
