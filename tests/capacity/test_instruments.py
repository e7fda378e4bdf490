"""The error that all readings of one instrument share."""

from collections.abc import Callable, Sequence

import numpy as np
import pymc as pm
import pytensor
import pytest

from holdcast.campaign import Campaign, read_campaign
from holdcast.capacity.inputs.layout import lay_out
from holdcast.capacity.model.build import build_model
from holdcast.capacity.model.priors import default_priors
from holdcast.capacity.plain_evaluation import AS_IT_STANDS
from holdcast.capacity.sampler.compiling import compile_model
from holdcast.capacity.sampler.refitting import hide_pulls
from holdcast.capacity.sampler.sampling import Effort, draw_posterior
from holdcast.package_data import path


def test_each_spot_names_the_share_of_its_tests_that_an_instrument_read(
    make_campaign: Callable[..., Campaign],
) -> None:
    anchor = {"anchor": "A-10", "seabed": "mud", "test": "pull", "date": "2024-05-01", "held_n": 900}
    read_by = ["good", "bad", "", "blank"]
    rows = [
        {**anchor, "trial": f"t{number}", "released_n": 1000 + number, "instrument": name}
        for number, name in enumerate(read_by)
    ]
    told = [
        {"instrument": "good", "error_pct": "0"},
        {"instrument": "bad", "error_pct": "8"},
        {"instrument": "blank"},
    ]
    inputs = lay_out(make_campaign(trials=rows, instruments=told))
    # One that is right moves nothing, so it is no unknown.
    assert list(inputs["instrument"].to_numpy()) == ["bad"]
    np.testing.assert_allclose(inputs["instrument_error_sd"], [0.08])
    np.testing.assert_allclose(inputs["instrument_share"], [[0.25]])


def test_the_error_moves_every_reading_of_its_instrument_and_no_other() -> None:
    campaign = read_campaign(path("demo"))
    inputs = lay_out(campaign)
    with build_model(inputs, default_priors()) as model:
        spot, error, spread = pm.draw(
            [model["spot_effect"], model["instrument_error"], model["spot_spread"]], draws=4000, random_seed=1
        )
    np.testing.assert_allclose(error.std(axis=0), inputs["instrument_error_sd"], rtol=0.05)
    share = inputs["instrument_share"].to_numpy()[inputs["shared_spot_at"].to_numpy()]
    assert set(np.unique(share)) == {0.0, 1.0}
    slope = np.array([np.polyfit(error[:, 0], column, 1)[0] for column in spot.T])
    noise = spread.mean() / error[:, 0].std() / np.sqrt(4000)
    np.testing.assert_allclose(slope, share[:, 0], atol=6.0 * noise)


def pulled(instruments: Sequence[str]) -> list[dict[str, object]]:
    """Eight pulls in two seabeds, read in turn by these instruments."""
    return [
        {
            "trial": f"t{number}", "anchor": "A-10", "seabed": ("mud", "sand")[number % 2], "test": "pull",
            "date": f"2024-05-{1 + number // 4:02d}", "held_n": 900, "released_n": 1000 + 50 * number,
            "instrument": instruments[number % len(instruments)],
        }
        for number in range(8)
    ]  # fmt: skip


CELLS = [{"instrument": "cell", "error_pct": "15"}, {"instrument": "scale", "error_pct": "3"}]
BEDS = [{"seabed": "mud", "soil": "clay"}, {"seabed": "sand", "soil": "sand"}]


def test_levels_hold_the_share_of_the_pulls_that_each_instrument_read(
    make_campaign: Callable[..., Campaign],
) -> None:
    trials = pulled(["cell", "scale", "cell", "cell"])
    inputs = lay_out(make_campaign(seabeds=BEDS, trials=trials, instruments=CELLS))
    np.testing.assert_allclose(inputs["instrument_weight"].sel(instrument="cell"), [1.0, 0.5])
    np.testing.assert_allclose(inputs["instrument_weight"].sel(instrument="scale"), [0.0, 0.5])
    hidden = hide_pulls(inputs, inputs["seabed_of"].to_numpy() == 1)
    np.testing.assert_allclose(hidden["instrument_weight"].sum("instrument"), [1.0, 0.0])


def test_what_no_pull_can_tell_costs_the_sampler_nothing(make_campaign: Callable[..., Campaign]) -> None:
    """One cell read all pulls: its error moves, and what the pulls fix stays where it is."""
    inputs = lay_out(make_campaign(seabeds=BEDS, trials=pulled(["cell"]), instruments=CELLS[:1]))
    model = build_model(inputs, default_priors())
    point = model.initial_point()
    names = [name for name in point if name.startswith("instrument")]
    assert len(names) == 1 and point[names[0]].shape == (1,)
    density = model.logp(vars=[model["log_load"]], sum=True)
    likelihood = pytensor.function(model.value_vars, density, mode=AS_IT_STANDS, on_unused_input="ignore")
    here, moved = (float(likelihood(**(point | {names[0]: np.array([error])}))) for error in (0.0, 1.5))
    assert moved == pytest.approx(here, rel=1e-10)


def test_a_campaign_without_instruments_has_no_such_unknown(make_campaign: Callable[..., Campaign]) -> None:
    inputs = lay_out(make_campaign())
    assert inputs.sizes["instrument"] == 0
    assert inputs["instrument_share"].shape == (inputs.sizes["spot"], 0)


@pytest.mark.fit
def test_bands_cannot_be_narrower_than_the_one_load_cell(make_campaign: Callable[..., Campaign]) -> None:
    """Forty exact pulls of one anchor leave an error of 30% of the only cell as it was."""
    rows = [
        {
            "trial": f"t{number}", "anchor": "A-10", "seabed": "mud", "test": "pull", "instrument": "cell",
            "date": f"2024-05-{1 + number // 2:02d}", "held_n": load, "released_n": load,
        }
        for number, load in enumerate(np.exp(np.random.default_rng(5).normal(np.log(900), 0.08, 40)).round(0))
    ]  # fmt: skip
    compiled, widths = None, []
    for error in ("1", "30"):
        campaign = make_campaign(trials=rows, instruments=[{"instrument": "cell", "error_pct": error}])
        inputs = lay_out(campaign)
        if compiled is None:
            compiled = compile_model(build_model(inputs, default_priors()), own_source=True)
        drawn, _ = draw_posterior(compiled.with_data(inputs), Effort(300, 300, 0.8, chains=2), seed=3)
        capacity = drawn["posterior"]["log_capacity"]
        widths.append(float(capacity.sel(anchor="A-10", seabed="mud").std()))
    assert widths[1] == pytest.approx(np.hypot(widths[0], 0.3), rel=0.25)
