"""Counts of setting again: sixteen groups of draws against all of them, and against scipy."""

import numpy as np
import pytest
from scipy import stats
from scipy.special import expit

from holdcast.answers.draws.draws import draws_of
from holdcast.answers.readings.reset_counts import GROUPS, count_tail, reset_groups


def tail_of_all(attempts: int, successes: int, chance: np.ndarray, concentration: np.ndarray) -> float:
    """Twice the smaller side of the mixture of beta-binomials (scipy), draw by draw."""
    numbers = np.arange(attempts + 1)[:, None]
    mass = stats.betabinom.pmf(numbers, attempts, chance * concentration, (1 - chance) * concentration)
    shares = mass.mean(axis=1)
    return min(1.0, 2.0 * min(shares[: successes + 1].sum(), shares[successes:].sum()))


def test_groups_say_what_all_draws_say(world_fit) -> None:
    draws = draws_of(world_fit)
    groups = reset_groups(draws)
    chance = np.clip(expit(draws["resets_log_odds"]), 1e-9, 1 - 1e-9)
    assert groups.sizes["group"] == GROUPS
    np.testing.assert_allclose(groups["reset_chance"].mean("group"), chance.mean(axis=0), rtol=0.02)
    for anchor, seabed in np.ndindex(*chance.shape[1:]):
        own = groups.isel(anchor=anchor, seabed=seabed)
        for attempts in (1, 4, 10):
            for successes in range(attempts + 1):
                by_groups = count_tail(attempts, successes, own["reset_chance"], own["reset_concentration"])
                every = tail_of_all(
                    attempts, successes, chance[:, anchor, seabed], draws["set_concentration"]
                )
                assert by_groups == pytest.approx(every, abs=0.02)


def test_attempts_that_go_each_their_own_way_are_binomial() -> None:
    even = np.full(GROUPS, 0.7), np.full(GROUPS, 1e7)
    assert count_tail(10, 3, *even) == pytest.approx(2 * stats.binom.cdf(3, 10, 0.7), rel=1e-4)
    assert count_tail(10, 10, *even) == pytest.approx(2 * 0.7**10, rel=1e-4)


@pytest.mark.parametrize("successes", [-1, 5])
def test_more_successes_than_attempts_are_refused(successes: int) -> None:
    with pytest.raises(ValueError, match="cannot have succeeded"):
        count_tail(4, successes, np.full(GROUPS, 0.5), np.full(GROUPS, 5.0))
