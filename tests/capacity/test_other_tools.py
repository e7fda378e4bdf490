"""``posterior.nc`` as it is, opened with the field's own tools: ArviZ's predictive and prior checks."""

from collections.abc import Callable, Iterator

import arviz_plots as plots
import matplotlib.pyplot as plt
import numpy as np
import pytest
import xarray as xr
from arviz_stats import loo, psense
from numpy.testing import assert_allclose

from holdcast.capacity.fitting import Fit
from holdcast.capacity.likelihood.kinds import UNREAD
from holdcast.capacity.results.container import tree_bytes
from holdcast.capacity.results.variable_words import LOG_NEWTON
from holdcast.capacity.sampler.compiling import CompiledModel

pytestmark = pytest.mark.fit

CHECKS = (
    *("plot_ppc_dist", "plot_ppc_pit", "plot_ppc_interval", "plot_ppc_tstat", "plot_ppc_censored"),
    *("plot_loo_pit", "plot_loo_interval"),
)
UDUNITS = {"1", LOG_NEWTON, "ln(re 1 kg)"}


@pytest.fixture(scope="module")
def opened(fitted: tuple[Fit, CompiledModel], tmp_path_factory: pytest.TempPathFactory) -> xr.DataTree:
    path = tmp_path_factory.mktemp("other") / "posterior.nc"
    path.write_bytes(tree_bytes(fitted[0].tree))
    return xr.load_datatree(path, engine="h5netcdf")


@pytest.fixture(autouse=True)
def no_windows() -> Iterator[None]:
    yield
    plt.close("all")


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("name", CHECKS)
def test_predictive_checks_run_on_the_file_as_it_is(opened: xr.DataTree, name: str) -> None:
    check: Callable[..., object] = getattr(plots, name)
    assert check(opened, backend="matplotlib") is not None


@pytest.mark.filterwarnings("ignore")
def test_power_scaling_runs_on_the_file_as_it_is(opened: xr.DataTree) -> None:
    for group in ("prior", "likelihood"):
        sensitivity = psense(opened, var_names=["visit_spread", "design_spread"], group=group)
        assert all(np.isfinite(float(sensitivity[name])) for name in ("visit_spread", "design_spread"))


@pytest.mark.filterwarnings("ignore:Estimated shape parameter of Pareto")
def test_leave_one_out_runs_on_the_file_as_it_is(opened: xr.DataTree) -> None:
    assert np.isfinite(loo(opened).elpd)


def test_what_was_observed_is_the_middle_of_each_reading(opened: xr.DataTree) -> None:
    told, observed = opened["constant_data"], opened["observed_data"]["log_load"]
    assert list(opened["observed_data"].data_vars) == ["log_load"]
    read = (told["kind"] != UNREAD).to_numpy()
    assert_allclose(observed[read], 0.5 * (told["lower"] + told["upper"])[read])
    assert not np.isfinite(observed[~read]).any()


def test_every_variable_has_words_and_a_unit_of_the_netcdf_conventions(opened: xr.DataTree) -> None:
    for group in (
        "posterior",
        "prior",
        "posterior_predictive",
        "log_likelihood",
        "log_prior",
        "sample_stats",
    ):
        for name, variable in opened[group].data_vars.items():
            assert variable.attrs["units"] in UDUNITS, name
            assert len(str(variable.attrs["long_name"]).split()) > 1, name
    assert opened["posterior"]["ground_typical"].attrs["units"] == LOG_NEWTON
    assert opened["posterior"]["resistance_typical"].attrs["units"] == "ln(re 1 kg)"
    assert opened["posterior"]["anchor_log_tip_load"].attrs["units"] == "ln(re 1 kg)"


def test_draws_take_half_the_room_and_answer_alike(
    opened: xr.DataTree, fitted: tuple[Fit, CompiledModel]
) -> None:
    """Saved in single precision, and rounded so in memory: the same numbers before and after."""
    capacity = opened["posterior"]["log_capacity"]
    assert capacity.dtype == np.float32
    assert (capacity.to_numpy() == fitted[0].posterior["log_capacity"].to_numpy()).all()
