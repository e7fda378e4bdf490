"""The worlds' campaigns are the same wherever they are drawn; their effects have the covariance they say."""

import json
from pathlib import Path

import numpy as np
import pytest

ROOT = Path(__file__).parents[2]
KEPT = ROOT / "docs" / "worlds.jsonl"


def test_kept_campaigns_are_drawn_again() -> None:
    """Truths, hidden cells and how many pulls the boat could not finish, of all that were fitted."""
    from invented.campaign import draw_campaign
    from invented.truth import ANCHORS, SEABEDS

    outcomes = [json.loads(line) for line in KEPT.read_text(encoding="utf-8").splitlines()]
    assert len(outcomes) >= 72
    for outcome in outcomes:
        truth, log, hidden, _ = draw_campaign(outcome["world"], outcome["campaign"], outcome["seed"])
        cells = [[ANCHORS[a], SEABEDS[s]] for a, s in np.argwhere(hidden)]
        assert cells == outcome["cells"], outcome["world"]
        assert round(float(np.isinf(log.released_n).mean()), 3) == outcome["censored"], outcome["world"]
        # Kept to four decimals.
        np.testing.assert_allclose(truth.log_capacity[hidden], outcome["truth"], rtol=0.0, atol=1e-4)


@pytest.mark.parametrize("world", ["no_limit", "families"])
def test_effects_have_the_covariance_that_is_told(world: str) -> None:
    """Whitened by it, the effects of 400 campaigns are standard normals; families are told to it."""
    from invented.truth import WORLDS, draw_truth

    squares, pairs = [], []
    for number in range(400):
        truth = draw_truth(WORLDS[world], np.random.default_rng([5, number]))
        own = (truth.log_capacity - truth.mean).ravel()
        values, vectors = np.linalg.eigh(truth.covariance)
        # Cells of one design share effects, so that some directions have no variance.
        kept = values > 1e-9 * values.max()
        standard = vectors[:, kept].T @ own / np.sqrt(values[kept])
        np.testing.assert_allclose(vectors[:, ~kept].T @ own, 0.0, atol=1e-6)
        squares.append(standard @ standard / kept.sum())
        pairs.append(own @ truth.covariance @ own / (truth.covariance**2).sum())
    for ratios in (squares, pairs):
        assert abs(np.mean(ratios) - 1.0) < 4.0 * np.std(ratios) / 20.0


def test_sizes_of_a_design_share_its_effects() -> None:
    from invented.truth import DESIGN_OF, WORLDS, draw_truth

    truth = draw_truth(WORLDS["no_limit"], np.random.default_rng(3))
    own = truth.log_capacity - truth.mean
    first = np.flatnonzero(DESIGN_OF[0] == DESIGN_OF)
    # Apart by their configurations only, the same in every seabed.
    np.testing.assert_allclose(np.ptp(own[first[0]] - own[first[1]]), 0.0, atol=1e-12)
