"""The verdict: each limit fails with its own sentence, and names what is worst."""

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

from holdcast.capacity.results.verdict_file import read_verdict, verdict_text
from holdcast.capacity.sampler.verdict import LIMITS, Limits, judge

CHAINS, DRAWS = 4, 500


@pytest.fixture
def draws() -> Callable[..., xr.DataTree]:
    """Independent draws of two variables, with a way to spoil a variable or the sampler's record."""

    def draws(
        spoil: Callable[[np.ndarray], np.ndarray] = lambda x: x,
        diverging: int = 0,
        energy: Callable[[np.ndarray], np.ndarray] = lambda e: e,
    ) -> xr.DataTree:
        random = np.random.default_rng(1)
        cells = random.normal(size=(CHAINS, DRAWS, 2, 2))
        cells[:, :, 1, 0] = spoil(cells[:, :, 1, 0])
        posterior = xr.Dataset(
            {
                "log_capacity": (("chain", "draw", "anchor", "seabed"), cells),
                "visit_spread": (("chain", "draw"), random.normal(size=(CHAINS, DRAWS))),
            },
            coords={"anchor": ["A", "B"], "seabed": ["mud", "sand"]},
        )
        bad = np.zeros(CHAINS * DRAWS, dtype=bool)
        bad[:diverging] = True
        stats = xr.Dataset(
            {
                "diverging": (("chain", "draw"), bad.reshape(CHAINS, DRAWS)),
                "energy": (("chain", "draw"), energy(random.normal(size=(CHAINS, DRAWS)))),
            }
        )
        return xr.DataTree.from_dict({"posterior": posterior, "sample_stats": stats})

    return draws


def slow(x: np.ndarray) -> np.ndarray:
    """A walk of long memory, mixed alike in all chains."""
    walk = np.cumsum(x, axis=1) / 10.0
    return np.sin(walk)


def rough_tails(x: np.ndarray) -> np.ndarray:
    """The same draws, those of the upper tail brought together in runs of twelve."""
    spoiled = x.copy()
    for chain in spoiled:
        order = np.argsort(chain > 1.5, kind="stable")
        middle, tail = chain[order[: (chain <= 1.5).sum()]].copy(), chain[chain > 1.5].copy()
        runs = np.array_split(tail, max(len(tail) // 12, 1))
        pieces = np.array_split(middle, len(runs))
        chain[:] = np.concatenate([part for pair in zip(pieces, runs, strict=True) for part in pair])
    return spoiled


JUDGED = ["log_capacity", "visit_spread"]


def test_independent_draws_pass_with_one_sentence(draws: Callable[..., xr.DataTree]) -> None:
    verdict = judge(draws(), JUDGED)
    assert verdict.ok
    (sentence,) = verdict.sentences
    assert "0 of 2000 draws diverged" in sentence
    assert verdict.draws == 2000
    assert 1500 < verdict.ess_bulk_min < 2600
    assert 1.0 <= verdict.rhat_max < 1.01


def test_a_good_verdict_says_what_was_judged(draws: Callable[..., xr.DataTree]) -> None:
    (sentence,) = judge(draws(), JUDGED).sentences
    assert sentence.startswith("Every cell and every hyperparameter has at least ")
    (sentence,) = judge(draws(), JUDGED, replace(LIMITS, asked_of="every cell")).sentences
    assert sentence.startswith("Every cell has at least ")


def test_divergences_fail_above_one_in_a_thousand(draws: Callable[..., xr.DataTree]) -> None:
    assert judge(draws(diverging=2), JUDGED).ok
    verdict = judge(draws(diverging=3), JUDGED)
    assert not verdict.ok
    assert verdict.sentences == ("3 of 2000 draws diverged; at most 2 may.",)


def test_chains_that_disagree_fail_and_the_cell_is_named(draws: Callable[..., xr.DataTree]) -> None:
    verdict = judge(draws(spoil=lambda x: x + np.arange(CHAINS)[:, None]), JUDGED)
    assert not verdict.ok
    assert any(
        "The chains disagree: R-hat is" in each and "log_capacity (B, mud)" in each
        for each in verdict.sentences
    )
    assert verdict.rhat_max > LIMITS.rhat


def test_too_few_independent_draws_fail_and_the_cell_is_named(draws: Callable[..., xr.DataTree]) -> None:
    verdict = judge(draws(spoil=slow), JUDGED)
    assert not verdict.ok
    assert any("Too few independent draws of log_capacity (B, mud)" in each for each in verdict.sentences)
    assert verdict.ess_bulk_min < LIMITS.ess


def test_too_few_independent_draws_in_the_tails_fail_alone(draws: Callable[..., xr.DataTree]) -> None:
    limits = Limits(ess=300.0)
    verdict = judge(draws(spoil=rough_tails), JUDGED, limits)
    assert not verdict.ok
    (sentence,) = verdict.sentences
    assert "Too few independent draws in the tails of log_capacity (B, mud)" in sentence


def test_a_sampler_slow_between_energies_fails(draws: Callable[..., xr.DataTree]) -> None:
    verdict = judge(draws(energy=lambda e: np.cumsum(e, axis=1)), JUDGED)
    assert not verdict.ok
    assert verdict.sentences[0].startswith("The sampler moves badly between energies: BFMI is 0.0")
    assert verdict.bfmi_min < LIMITS.bfmi


def test_the_worst_chain_counts_for_energies(draws: Callable[..., xr.DataTree]) -> None:
    def one_bad(energy: np.ndarray) -> np.ndarray:
        energy[2] = np.cumsum(energy[2])
        return energy

    assert not judge(draws(energy=one_bad), JUDGED).ok


@pytest.mark.parametrize("value", [np.nan, np.inf])
def test_a_value_that_is_no_number_fails_and_is_named(
    draws: Callable[..., xr.DataTree], value: float
) -> None:
    def broken(x: np.ndarray) -> np.ndarray:
        x[0, 7] = value
        return x

    verdict = judge(draws(spoil=broken), JUDGED)
    assert not verdict.ok
    assert all(
        "log_capacity (B, mud)" in each for each in verdict.sentences if "R-hat" in each or "few" in each
    )
    assert any("log_capacity (B, mud)" in each for each in verdict.sentences)


def test_a_value_that_never_moves_fails(draws: Callable[..., xr.DataTree]) -> None:
    verdict = judge(draws(spoil=np.zeros_like), JUDGED)
    assert not verdict.ok
    assert any("log_capacity (B, mud)" in each for each in verdict.sentences)


def test_all_failures_are_told_at_once(draws: Callable[..., xr.DataTree]) -> None:
    verdict = judge(draws(spoil=slow, diverging=50, energy=lambda e: np.cumsum(e, axis=1)), JUDGED)
    assert len(verdict.sentences) >= 3


def test_an_unknown_variable_raises(draws: Callable[..., xr.DataTree]) -> None:
    with pytest.raises(KeyError, match="no_such"):
        judge(draws(), ["no_such"])


def test_the_verdict_as_written_has_the_promised_fields(draws: Callable[..., xr.DataTree]) -> None:
    written = judge(draws(), JUDGED).as_dict()
    promised = {"ok", "sentences", "divergences", "rhat_max", "ess_bulk_min", "ess_tail_min", "bfmi_min",
                "attempts", "seconds_compile", "seconds_sample"}  # fmt: skip
    assert promised <= set(written)
    assert isinstance(written["sentences"], list)


def test_a_verdict_without_a_number_is_valid_json_and_comes_back(
    draws: Callable[..., xr.DataTree], tmp_path: Path
) -> None:
    verdict = replace(judge(draws(), JUDGED), rhat_max=np.nan)
    path = tmp_path / "verdict.json"
    path.write_text(verdict_text(verdict, "0" * 64), encoding="utf-8")
    assert json.loads(path.read_text())["rhat_max"] is None
    again, _ = read_verdict(path)
    assert np.isnan(again.rhat_max)
    assert replace(again, rhat_max=1.0) == replace(verdict, rhat_max=1.0)
