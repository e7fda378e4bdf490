"""Pulls to look at again after a fit: the odd one first, each told once, none ever to be dropped."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
import xarray as xr

from holdcast.answers.doubts import pulls_to_check as module
from holdcast.answers.doubts.pulls_to_check import pulls_to_check_after_fit
from holdcast.campaign.records import PullToCheck
from holdcast.capacity.fitting import Fit
from holdcast.capacity.likelihood.kinds import DID_NOT_SET, EXACT, NOT_SAID, SET

TYPED_TENFOLD = "T17"


@pytest.fixture
def small(world: Callable[..., Fit]) -> Fit:
    """Eighty pulls drawn from the model, all read exactly, with what is predicted of each."""
    fit = world(4, trials=80, groups=10)
    rng, told = np.random.default_rng(5), fit.inputs
    draws = fit.posterior
    centre = (
        draws["log_capacity"].to_numpy()[..., told["anchor_of"].to_numpy(), told["seabed_of"].to_numpy()]
        + draws["visit_effect"].to_numpy()[..., told["visit_of"].to_numpy()]
    )
    scale = draws["pull_scatter"].to_numpy()[..., told["seabed_of"].to_numpy()]
    # Normal and within its 90% range: nothing is odd until a test makes it so.
    load = centre.mean(axis=(0, 1)) + scale.mean(axis=(0, 1)) * rng.uniform(-1.5, 1.5, 80)
    predicted = centre + scale * rng.standard_t(4, centre.shape)
    fit.tree["posterior_predictive"] = xr.DataTree(
        xr.Dataset({"log_load": (("chain", "draw", "trial"), predicted)}, {"trial": told["trial"]})
    )
    return read_as(fit, load)


def read_as(fit: Fit, load: np.ndarray) -> Fit:
    """Return the fit with other readings, all exact, and the log's own table of them."""
    told = fit.inputs
    inputs = told.assign(
        lower=("trial", load), upper=("trial", load), kind=("trial", np.full(load.size, EXACT))
    )
    table = {
        "anchor": ("trial", told["anchor"].to_numpy()[told["anchor_of"].to_numpy()]),
        "seabed": ("trial", told["seabed"].to_numpy()[told["seabed_of"].to_numpy()]),
        "held_n": ("trial", np.exp(load)),
        "released_n": ("trial", np.exp(load)),
        "set": ("trial", [""] * load.size),
    }
    tree = fit.tree.copy()
    tree["constant_data"] = xr.DataTree(inputs)
    tree["trials"] = xr.DataTree(xr.Dataset(table, {"trial": told["trial"]}))
    return replace(fit, tree=tree)


def typed_tenfold(fit: Fit) -> Fit:
    load = fit.inputs["upper"].to_numpy().copy()
    load[fit.inputs["trial"].to_numpy().tolist().index(TYPED_TENFOLD)] += np.log(10.0)
    return read_as(fit, load)


def row_before_fit(trials: tuple[str, ...], reason: str) -> PullToCheck:
    return PullToCheck(trials, "D1", "mud", 100.0, 200.0, np.nan, np.nan, reason)


def test_a_log_as_the_model_expects_it_has_none(small: Fit) -> None:
    assert pulls_to_check_after_fit(small) == ()


def test_a_reading_typed_tenfold_comes_first_with_what_was_expected(small: Fit) -> None:
    fit = typed_tenfold(small)
    first, *others = pulls_to_check_after_fit(fit)
    assert first.trials == (TYPED_TENFOLD,) and others == []
    assert first.held_n == pytest.approx(float(np.exp(fit.inputs["upper"].sel(trial=TYPED_TENFOLD))))
    # Nine in ten such pulls hold about what the true reading was, a tenth of what was typed.
    assert first.expected_low_n < 0.1 * first.held_n < first.expected_high_n < 0.5 * first.held_n
    assert first.reason.startswith("far more than the rest of the log expects: about 1 pull in ")
    assert first.advice == "repeat, correct or keep"
    assert not any(word in first.reason for word in ("drop", "exclude", "leave out", "delete"))


def test_a_pull_odd_in_the_log_and_to_the_fit_is_told_once(small: Fit) -> None:
    twin, other = (
        row_before_fit((TYPED_TENFOLD,), "10 times more than its twins"),
        row_before_fit(("T3",), "odd"),
    )
    rows = pulls_to_check_after_fit(typed_tenfold(small), (other, twin))
    assert [row.trials for row in rows] == [(TYPED_TENFOLD,), ("T3",)]
    assert rows[0].reason.endswith("; 10 times more than its twins")
    assert rows[1].reason == "odd" and rows[1].expected_low_n < rows[1].expected_high_n
    again = pulls_to_check_after_fit(typed_tenfold(small), (twin, row_before_fit(("gone",), "of a lost row")))
    assert [row.trials for row in again] == [(TYPED_TENFOLD,), ("gone",)]


def left_out(fit: Fit, **columns: dict[str, object]) -> xr.Dataset:
    """Return pulls of which nothing is odd but what the columns say of some trials."""
    trials = fit.inputs["trial"].to_numpy()
    usual = {"tail": 0.5, "above": True, "expected_low_n": 900.0, "expected_high_n": 2100.0, "sets": 0.9}
    usual |= {"slid": False, "said": False, "contradicted": False, "cell_factor": 1.0, "trusted": True}
    made = xr.Dataset({name: ("trial", [value] * len(trials)) for name, value in usual.items()},
                      {"trial": trials})  # fmt: skip
    for name, values in columns.items():
        for trial, value in values.items():
            made[name].loc[{"trial": trial}] = value
    return made


def test_a_cell_hangs_on_the_pull_that_moves_it_most(small: Fit, monkeypatch: pytest.MonkeyPatch) -> None:
    cells = small.tree["trials"].to_dataset().to_dataframe().groupby(["anchor", "seabed"]).groups
    one, two = next(list(own)[:2] for own in cells.values() if len(own) > 1)
    pulls = left_out(small, cell_factor={one: 1.3, two: 0.6}, trusted={two: False})
    monkeypatch.setattr(module, "left_out_pulls", lambda fit: pulls)
    (row,) = pulls_to_check_after_fit(small)
    assert row.trials == (two,)
    assert row.reason.startswith("the cell hangs on it: without it the capacity would be 0.6 times as much")
    assert row.reason.endswith("(only roughly known: the fit leans much on this pull)")
    assert (row.expected_low_n, row.expected_high_n) == (900.0, 2100.0)


@pytest.mark.parametrize("said", [True, False])
def test_a_slide_where_such_pulls_set(small: Fit, monkeypatch: pytest.MonkeyPatch, said: bool) -> None:
    slid = {"T3": True}
    pulls = left_out(small, slid=slid, said={"T3": said}, sets={"T3": 0.995}, tail={"T3": 0.005})
    monkeypatch.setattr(module, "left_out_pulls", lambda fit: pulls)
    (row,) = pulls_to_check_after_fit(small)
    assert "set (about 99% of such pulls do)" in row.reason
    assert ("in the column set" in row.reason) is not said
    likely = left_out(small, slid=slid, said={"T3": said}, sets={"T3": 0.8}, tail={"T3": 0.3})
    monkeypatch.setattr(module, "left_out_pulls", lambda fit: likely)
    assert pulls_to_check_after_fit(small) == ()


@pytest.mark.parametrize(("word", "had_set"), [(SET, 0.1), (DID_NOT_SET, 0.9)])
def test_a_load_that_outweighs_the_word_set_is_listed(small: Fit, word: int, had_set: float) -> None:
    trials = small.inputs["trial"].to_numpy()
    slipped = trials == "T3"
    chances = np.where(slipped, had_set, np.where(word == SET, 0.99, 0.9))
    setting = np.where(slipped, word, NOT_SAID)
    inputs = small.inputs.assign(setting=("trial", setting), had_set=("trial", chances))
    log = small.tree["trials"].to_dataset()
    log["set"] = ("trial", np.where(slipped, "yes" if word == SET else "no", ""))
    small.tree["constant_data"], small.tree["trials"] = xr.DataTree(inputs), xr.DataTree(log)
    row, *_ = pulls_to_check_after_fit(small)
    assert row.trials == ("T3",)
    said, reads = ("set", "slid") if word == SET else ("did not set", "did")
    assert row.reason.startswith(f"the log says that it {said}, but its load is that of one that {reads}")


def test_an_anchor_that_never_held_and_a_visit_that_stands_apart(
    small: Fit, monkeypatch: pytest.MonkeyPatch
) -> None:
    log = small.tree["trials"].to_dataset().to_dataframe()
    (anchor, seabed), own = next(iter(log.groupby(["anchor", "seabed"]).groups.items()))
    had_set = (~small.inputs["trial"].isin(list(own))).astype(float)
    small.tree["constant_data"] = xr.DataTree(small.inputs.assign(had_set=("trial", had_set.to_numpy())))
    visit = int(small.inputs["visit_of"][0])
    posterior = small.posterior
    posterior["visit_effect"][:, :, visit] = -1.0
    small.tree["posterior"] = xr.DataTree(posterior)
    monkeypatch.setattr(module, "left_out_pulls", left_out)
    held, apart = pulls_to_check_after_fit(small)
    assert (held.trials, held.anchor, held.seabed) == (tuple(own), anchor, seabed)
    assert held.reason == "it never held there"
    assert apart.reason == "this visit stands apart: 0.37 times what the other visits suggest"
    of_visit = small.inputs["trial"].to_numpy()[small.inputs["visit_of"].to_numpy() == visit]
    assert apart.trials == tuple(of_visit) and apart.anchor.endswith(" anchors")
