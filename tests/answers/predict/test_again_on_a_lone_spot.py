"""A new pull on a spot that held a single one: the fit kept nothing of that spot, so it is integrated."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from holdcast.answers.draws.draws import Draws, draws_of
from holdcast.answers.readings.new_tests import NewTests, values_of
from holdcast.capacity.fitting import Fit
from holdcast.capacity.inputs.new_tests import lay_out_with

ANCHOR, OLD, NEW = "B-12", (1500.0, 1800.0), (1000.0, 1100.0)
PLACES = np.arange(40)
"""Of the draws that are looked at."""


@pytest.fixture(scope="module")
def draws(world_fit: Fit) -> Draws:
    """The same draws with every anchor sure to set: the loads alone are weighed."""
    tree = world_fit.tree.copy()
    posterior = tree["posterior"].to_dataset()
    tree["posterior"] = posterior.assign(sets_log_odds=0.0 * posterior["sets_log_odds"] + 40.0)
    tree.attrs = world_fit.tree.attrs
    return draws_of(Fit(tree, world_fit.verdict))


def row_like(draws: Draws, trial: str, **changed: object) -> pd.DataFrame:
    """Return a new row of the log, as one that stands there but for what is changed."""
    row = draws.table("trials").loc[[trial]].copy()
    return row.rename(index={trial: "new"}).assign(**changed)


@pytest.mark.parametrize("seabed", ["mud", "clay"])
def test_the_earlier_pull_and_the_new_one_share_their_spot(draws: Draws, seabed: str) -> None:
    row = row_like(draws, f"{ANCHOR} {seabed}", held_n=NEW[0], released_n=NEW[1])
    inputs = lay_out_with(draws.fit.tree, row)
    spot = int(inputs["spot_of"].sel(trial="new"))
    assert int(inputs["spot_pulls"][spot]) == 2
    label = inputs["spot"].to_numpy()[spot]
    assert int(draws.inputs["spot_alone"].sel(spot=label)) == 1
    found = NewTests(draws, inputs).log_likelihood(values_of(draws, PLACES))
    expected = by_hand(draws, seabed)
    # Three points stand for a spot's normal where it is narrow, which is off by a hundredth or two.
    np.testing.assert_allclose(found, expected, rtol=0.0, atol=0.03)
    assert np.ptp(expected) > 3.0


def by_hand(draws: Draws, seabed: str) -> np.ndarray:
    """Integrate the spot on a fine grid: of both pulls together, over that of the earlier one."""
    some = draws.posterior.isel(sample=PLACES)
    capacity = some["log_capacity"].sel(anchor=ANCHOR, seabed=seabed).to_numpy()
    visit = [label for label in draws.labels("visit") if label.startswith(f"{seabed} ")]
    middle = capacity + some["visit_effect"].sel(visit=visit[0]).to_numpy()
    scale, spread = some["pull_scatter"].sel(seabed=seabed).to_numpy(), some["spot_spread"].to_numpy()
    z = np.linspace(-8.0, 8.0, 4001)
    weight = stats.norm.pdf(z)
    place = middle[:, None] + spread[:, None] * z

    def inside(ends: tuple[float, float]) -> np.ndarray:
        low, high = (stats.t.cdf((np.log(end) - place) / scale[:, None], 4) for end in ends)
        return high - low

    return np.log((weight * inside(OLD) * inside(NEW)).sum(axis=1) / (weight * inside(OLD)).sum(axis=1))
