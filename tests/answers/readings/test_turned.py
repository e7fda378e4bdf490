"""What a turn leaves of a pull: against scipy's t, and where it leaves next to nothing."""

import numpy as np
import pytest
from scipy import stats

from holdcast.answers.draws.new_pull import NewPull
from holdcast.answers.draws.rode import ALONG_THE_BOTTOM
from holdcast.answers.readings.expected import PulledFrom, level_probabilities, levels_n
from holdcast.answers.readings.turned import turned

DRAWS = 60
PULLED = PulledFrom(load_at="anchor")


def pull() -> NewPull:
    """One anchor of 2000 N whose draws are all alike, and that sets in half of its pulls."""
    same = np.ones(DRAWS)
    return NewPull(
        *(np.log(2000.0) * same[None], 1e-9 * same, 0.2 * same, 0.5 * same[None], np.log(150.0) * same[None]),
        *(0.4 * same, 0.6 * same, ALONG_THE_BOTTOM, np.zeros(1)),
    )


@pytest.mark.parametrize("degrees", [0.0, 60.0, 180.0, 360.0])
def test_a_turn_takes_its_share_of_an_anchor_that_set(degrees: float) -> None:
    """Witness: scipy's t; of an anchor that did not set nothing is left in the levels."""
    levels = levels_n(turned(pull(), np.full((1, DRAWS), 0.25), degrees), PULLED)[0]
    left = np.log(2000.0) - 0.25 * degrees / 90.0
    expected = np.exp(left + 0.2 * stats.t(4).ppf(level_probabilities()))
    np.testing.assert_allclose(levels, expected, rtol=2e-3)


def test_a_turn_that_takes_nearly_all_still_has_levels() -> None:
    """Some draws lose all of it: their loads lie below the least that is looked at."""
    turn = np.where(np.arange(DRAWS) % 3 == 0, 4.0, 0.1)[None]
    levels = levels_n(turned(pull(), turn, 360.0), PULLED)[0]
    assert np.all(np.isfinite(levels)) and np.all(np.diff(levels) >= 0.0) and levels[0] >= 1.0 - 1e-9
