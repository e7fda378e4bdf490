"""Ends of intervals brought to a pull along the bottom at rest."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytensor.tensor as pt
import pytest
from hypothesis import given
from hypothesis import strategies as st

from holdcast.capacity.likelihood.corrections import LEAST_WIDTH, corrected_ends
from holdcast.capacity.likelihood.kinds import ABOVE, BELOW, BETWEEN, EXACT
from holdcast.physics.ground.rate import log_rate_factor
from holdcast.physics.rode.uplift import log_uplift_factor

FALL, RATE = pt.dscalar("fall"), pt.dvector("rate")


@pytest.fixture
def correct(evaluate: Callable[..., Any]) -> Callable[..., Any]:
    def correct(
        kind: int, lower: float, upper: float, fall: float = 0.0, rate: float = 0.0, **rest: float
    ) -> Any:
        row = {"fall_lower": 0.0, "fall_upper": 0.0, "fall_slope": 0.0, "speed": 0.0, **rest}
        data = {name: np.array([value]) for name, value in {**row, "lower": lower, "upper": upper}.items()}
        ends = corrected_ends({**data, "kind": np.array([kind])}, FALL, RATE)
        return [float(end[0]) for end in evaluate(list(ends), {FALL: np.array(fall), RATE: np.array([rate])})]

    return correct


def test_without_angle_and_speed_ends_stand(correct: Callable[..., Any]) -> None:
    assert correct(BETWEEN, 7.0, 7.4, fall=0.5, rate=0.1) == [7.0, 7.4, 0.0]


def test_each_end_is_turned_at_its_own_angle(correct: Callable[..., Any]) -> None:
    low, high, jacobian = correct(BETWEEN, 7.0, 7.4, fall=0.5, fall_lower=0.1, fall_upper=0.4, fall_slope=0.3)
    assert (low, high, jacobian) == pytest.approx((7.05, 7.6, 0.0))


def test_a_turned_load_has_lost_what_the_uplift_law_takes(correct: Callable[..., Any]) -> None:
    """Capacity along the bottom times the uplift factor gives back the load that was read."""
    from holdcast.physics.rode.uplift import fall_shape

    low, _, _ = correct(ABOVE, 7.0, 7.0, fall=0.6, fall_lower=float(fall_shape(9.0)))
    assert low + log_uplift_factor(9.0, 0.6) == pytest.approx(7.0)


def test_exact_rows_move_both_ends_alike_and_carry_the_jacobian(correct: Callable[..., Any]) -> None:
    low, high, jacobian = correct(
        EXACT, 7.0, 7.0, fall=0.5, rate=0.1, fall_lower=0.4, fall_upper=0.4, fall_slope=0.3, speed=0.01
    )
    assert low == high == pytest.approx(7.0 + 0.2 - log_rate_factor(0.01, 0.1))
    assert jacobian == pytest.approx(np.log1p(0.5 * 0.3))


def test_only_an_upper_end_was_read_while_dragging(correct: Callable[..., Any]) -> None:
    low, high, _ = correct(BETWEEN, 7.0, 7.4, rate=0.1, speed=0.01)
    assert (low, high) == pytest.approx((7.0, 7.4 - np.log(1.1)))
    assert correct(ABOVE, 7.0, 7.0, rate=0.1, speed=0.01)[0] == 7.0
    assert correct(BELOW, 7.0, 7.4, rate=0.1, speed=0.01)[1] == pytest.approx(7.4 - np.log(1.1))


@given(
    width=st.floats(1e-6, 2.0), speed=st.floats(0.0, 2.0), rate=st.floats(1e-4, 1.0),
    fall=st.floats(0.0, 2.0), falls=st.tuples(st.floats(0.0, 3.0), st.floats(0.0, 3.0)),
)  # fmt: skip
def test_no_speed_makes_an_interval_empty(
    width: float, speed: float, rate: float, fall: float, falls: tuple[float, float]
) -> None:
    data = {name: np.array([value]) for name, value in
            (("lower", 7.0), ("upper", 7.0 + width), ("fall_lower", min(falls)), ("fall_upper", max(falls)),
             ("fall_slope", 0.0), ("speed", speed))}  # fmt: skip
    low, high, _ = corrected_ends(
        {**data, "kind": np.array([BETWEEN])}, pt.constant(fall), pt.constant([rate])
    )
    from pytensor.compile.mode import Mode

    gap = float((high - low).eval(mode=Mode(linker="py", optimizer=None))[0])
    assert gap >= LEAST_WIDTH * (1.0 - 1e-9)
