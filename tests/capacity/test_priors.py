"""The table of priors: what it holds, how a campaign overrides it, and what it says before any data."""

import importlib
from collections.abc import Mapping
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
import xarray as xr

from holdcast.campaign.records import CampaignError, Finding
from holdcast.capacity.inputs.layout import lay_out
from holdcast.capacity.model.build import build_model
from holdcast.capacity.model.priors import default_priors, parameter_names, priors_table, with_overrides

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def page_maker() -> ModuleType:
    return importlib.import_module("priors_page")


@pytest.fixture(scope="module")
def efficiency(page_maker: ModuleType) -> xr.DataArray:
    return page_maker.prior_efficiencies()


def faults(overrides: Mapping[str, Mapping[str, object]]) -> tuple[Finding, ...]:
    with pytest.raises(CampaignError) as caught:
        with_overrides(overrides)
    return caught.value.findings


def test_each_row_names_distribution_unit_reason_and_source() -> None:
    table = priors_table(default_priors())
    assert list(table.columns) == ["name", "distribution", "parameters", "dims", "unit", "reason", "source"]
    assert table["name"].is_unique
    for column in ("name", "parameters", "unit", "reason", "source"):
        assert (table[column].str.strip() != "").all(), column
    for prior in default_priors().values():
        assert tuple(prior.parameters) == parameter_names(prior.distribution, prior.dims), prior.name
    with pytest.raises(KeyError):
        parameter_names("triangular", "")


def test_every_prior_is_used_by_the_model_and_every_free_variable_has_a_prior(setting_campaign) -> None:
    inputs = lay_out(setting_campaign)
    model = build_model(inputs, with_overrides({}))
    named = set(model.named_vars)
    stands_for = {"pull_scatter_deviation": "pull_scatter"}
    soils = {f"rate_per_decade_{soil}" for soil in inputs["soil"].to_numpy()}
    for name in default_priors():
        if name.startswith("rate_per_decade_"):
            continue
        assert stands_for.get(name, name) in named, name
    assert soils <= set(default_priors())
    free = {str(variable.name) for variable in model.free_RVs}
    made = {name for name in free if name.endswith(("_z", "_unit"))} | {
        "ground",
        "form_typical",
        "log_pull_scatter",
        "rate_per_decade",
    }
    assert free - made <= set(default_priors())


def test_priors_of_tests_that_the_log_does_not_hold_stay_out_of_the_model(small_campaign) -> None:
    model = build_model(lay_out(small_campaign), with_overrides({}))
    free = {str(variable.name) for variable in model.free_RVs}
    assert not {name for name in free if name.startswith(("again_", "turn_"))}
    assert not {"resets_log_odds", "turn"} & set(model.named_vars)
    assert "sets_log_odds" in model.named_vars


def test_an_override_changes_one_parameter_and_says_where_it_came_from() -> None:
    changed = with_overrides({"visit_spread": {"median": 0.4}, "size_exponent": {"mean": -1, "sd": 0.2}})
    assert changed["visit_spread"].parameters == {"median": 0.4, "log_sd": 0.5}
    assert changed["visit_spread"].source == "campaign.toml"
    assert changed["size_exponent"].parameters == {"mean": -1.0, "sd": 0.2}
    untouched = {
        name: prior for name, prior in changed.items() if name not in ("visit_spread", "size_exponent")
    }
    assert all(prior == default_priors()[name] for name, prior in untouched.items())
    assert default_priors()["visit_spread"].parameters["median"] == 0.18


def test_an_override_reaches_the_model(small_campaign) -> None:
    from holdcast.capacity.tree import prior_group

    moved = with_overrides({"size_exponent": {"mean": 2.0, "sd": 0.01}})
    inputs = lay_out(small_campaign)
    prior = prior_group(build_model(inputs, moved), inputs, seed=1)
    assert float(prior["size_exponent"].mean()) == pytest.approx(2.0, abs=0.01)


def test_an_unknown_prior_fails_with_the_nearest_one() -> None:
    (fault,) = faults({"vist_spread": {"median": 0.2}})
    assert (fault.severity, fault.file, fault.column) == ("fault", "campaign.toml", "vist_spread")
    assert fault.fix == "did you mean visit_spread?"
    assert "ground_typical" in fault.allowed


def test_an_unknown_parameter_fails_with_the_nearest_one() -> None:
    (fault,) = faults({"visit_spread": {"medain": 0.2}})
    assert (fault.column, fault.found) == ("priors.visit_spread", "medain")
    assert (fault.allowed, fault.fix) == ("one of: median, log_sd", "did you mean median?")


@pytest.mark.parametrize("value", ["0.2", True, None, [1.0], float("nan"), float("inf"), -float("inf"), 1e9])
def test_what_is_not_a_plain_number_fails(value: object) -> None:
    (fault,) = faults({"size_exponent": {"mean": value}})
    assert (fault.column, fault.found) == ("priors.size_exponent.mean", str(value))
    assert fault.fix == "write a plain number"


@pytest.mark.parametrize(
    ("name", "parameter"), [("visit_spread", "median"), ("size_exponent", "sd"), ("tip_growth", "a"),
                            ("tip_growth", "high"), ("design_share", "own")]
)  # fmt: skip
@pytest.mark.parametrize("value", [0, -0.1])
def test_spreads_medians_and_shapes_must_be_above_0(name: str, parameter: str, value: float) -> None:
    (fault,) = faults({name: {parameter: value}})
    assert (fault.column, fault.allowed) == (f"priors.{name}.{parameter}", "a number above 0")


def test_a_range_must_not_be_turned_round() -> None:
    (fault,) = faults({"tip_growth": {"low": 0.7}})
    assert (fault.allowed, fault.fix) == ("low below high", "swap them")
    assert with_overrides({"tip_growth": {"low": -0.2}})["tip_growth"].parameters["low"] == -0.2


def test_all_faults_are_found_at_once_and_a_good_override_beside_them_is_no_fault() -> None:
    found = faults(
        {
            "desing_spread": {"median": 1},
            "visit_spread": {"median": -1, "sd": 0.1},
            "size_exponent": {"mean": 0.9},
            "form_spread": 3,  # type: ignore[dict-item]
        }
    )
    columns = [fault.column for fault in found]
    assert columns == [
        "desing_spread",
        "priors.visit_spread.median",
        "priors.visit_spread",
        "priors.form_spread",
    ]
    assert found[-1].fix == "write it as a table"


# --- Before any data -----------------------------------------------------------------------------------


def test_prior_efficiencies_are_what_the_trade_has_seen(efficiency: xr.DataArray) -> None:
    """A 10 kg anchor holds about 1 to 150 times its weight over all ground: common practice, no source."""
    assert efficiency.sizes["anchor"] == 8
    assert efficiency.sizes["seabed"] >= 10
    low, high = np.quantile(efficiency, [0.05, 0.95])
    assert 0.7 <= low <= 2.5
    assert 50.0 <= high <= 150.0


def test_prior_spread_inside_one_seabed_is_what_the_trade_has_seen(efficiency: xr.DataArray) -> None:
    """Efficiencies in one seabed run from about 4 to 60 over designs: common practice, no source.

    A factor of 15 from least to greatest; eight designs of one draw are neither all alike nor worlds apart.
    """
    here = efficiency.sel(seabed="clay, medium")
    run = np.log(here.max("anchor") / here.min("anchor"))
    assert np.log(2.0) < float(run.median()) < np.log(15.0)
    assert float((run > np.log(15.0)).mean()) > 0.01


def test_page_of_priors_is_current(page_maker: ModuleType) -> None:
    written = (ROOT / "docs" / "priors.md").read_text(encoding="utf-8")
    assert written == page_maker.page(), "run scripts/checks/priors_page.py"
    for name in default_priors():
        assert f"`{name}`" in written
