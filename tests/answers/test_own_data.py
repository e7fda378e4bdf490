"""What a cell's own pulls are worth, against draws from the prior weighted by scipy's likelihoods."""

import numpy as np
import pytest
import xarray as xr
from numpy.typing import NDArray
from scipy import stats

from holdcast.answers.cells.own_data import without_own_pulls
from holdcast.capacity.fitting import Fit
from holdcast.capacity.inputs.likeness import alike_kernel, kernel_parts
from holdcast.capacity.model.design_parts import PARTS, TRAITS

NUMBER, SPREAD, SCATTER, CENTRE = 400_000, 0.5, 0.55, 7.4
SHARE = dict(zip(PARTS, (0.1, 0.1, 0.2, 0.1, 0.4, 0.1), strict=True))
KERNEL = alike_kernel(np.array([-0.8, 0.3, 0.6]), ["clay", "sand", "sand"])
DRAWS = (2, 50_000)

Numbers = NDArray[np.float64]


def prior_draws(told: xr.Dataset, random: np.random.Generator) -> dict[str, Numbers]:
    """Effects of designs, configurations and cells, (draw, member, seabed), from their definition."""
    seabeds = told.sizes["seabed"]

    def effect(members: int, everywhere: float, alike: float, own: float) -> Numbers:
        root = np.linalg.cholesky(everywhere + alike * KERNEL + own * np.eye(seabeds))
        return SPREAD * random.standard_normal((NUMBER, members, seabeds)) @ root.T

    half = 0.5 * SHARE["configuration_seabed"]
    design = effect(told.sizes["design"], SHARE["main"], SHARE["alike"], SHARE["own"])
    configuration = effect(told.sizes["anchor"], SHARE["configuration"], half, half)
    half = 0.5 * SHARE["trait"] / len(TRAITS)
    loading = effect(len(TRAITS), 0.0, half, half)
    traits = random.standard_normal((NUMBER, told.sizes["design"], len(TRAITS))) @ loading
    ground = CENTRE + 0.15 * random.standard_normal((NUMBER, 1, seabeds))
    capacity = ground + (design + traits)[:, told["design_of"].to_numpy()] + configuration
    return {
        "design": design,
        "traits": traits,
        "loading": loading,
        "configuration": configuration,
        "capacity": capacity,
    }


def log_likelihoods(capacity: Numbers, told: xr.Dataset) -> Numbers:
    """Log likelihood of each pull, (draw, trial)."""
    centre = capacity[:, told["anchor_of"].to_numpy(), told["seabed_of"].to_numpy()]
    low, high, kind = (told[name].to_numpy() for name in ("lower", "upper", "kind"))
    t = stats.t(4, loc=centre, scale=SCATTER)
    with np.errstate(divide="ignore"):
        between = np.log(t.cdf(np.where(kind == 2, np.inf, high)) - t.cdf(np.where(kind == 1, -np.inf, low)))
    return np.where(kind == 0, t.logpdf(high), between)


@pytest.fixture(scope="module")
def told(small_fit: Fit) -> xr.Dataset:
    """The small campaign as the model was told of it, two of its three seabeds alike."""
    value, vector = kernel_parts(KERNEL)
    alike = {"alike_value": ("component", value), "alike_vector": (("seabed", "component"), vector)}
    return small_fit.inputs.assign(alike)


@pytest.fixture(scope="module")
def prior(told: xr.Dataset) -> dict[str, Numbers]:
    return prior_draws(told, np.random.default_rng(11))


@pytest.fixture(scope="module")
def likelihoods(told: xr.Dataset, prior: dict[str, Numbers]) -> Numbers:
    return log_likelihoods(prior["capacity"], told)


@pytest.fixture(scope="module")
def spreads(small_fit: Fit, told: xr.Dataset, prior: dict[str, Numbers], likelihoods: Numbers) -> xr.Dataset:
    """The answer, for draws of the posterior: the prior's, drawn again by the likelihood of all pulls."""
    weight = np.exp(likelihoods.sum(axis=1))
    chosen = np.random.default_rng(12).choice(NUMBER, np.prod(DRAWS), p=weight / weight.sum())
    posterior = small_fit.posterior.isel(draw=np.zeros(DRAWS[1], dtype=int)).assign_coords(
        draw=range(DRAWS[1])
    )
    names = {
        "design_effect": ("design", "design"),
        "trait_effect": ("traits", "design"),
        "trait_loading": ("loading", "trait"),
        "configuration_effect": ("configuration", "anchor"),
        "log_capacity": ("capacity", "anchor"),
    }
    made = {}
    for name, (short, member) in names.items():
        values = prior[short][chosen].reshape(*DRAWS, *prior[short].shape[1:])
        made[name] = (("chain", "draw", member, "seabed"), values)
    posterior = posterior.assign(
        **made,
        design_spread=(("chain", "draw"), np.full(DRAWS, SPREAD)),
        design_share=(("chain", "draw", "part"), np.broadcast_to(list(SHARE.values()), (*DRAWS, len(SHARE)))),
        visit_effect=posterior["visit_effect"] * 0.0,
        pull_scatter=posterior["pull_scatter"] * 0.0 + SCATTER,
    )
    tree = small_fit.tree.copy()
    tree["posterior"] = xr.DataTree(posterior)
    tree["constant_data"] = xr.DataTree(told)
    wide = small_fit.tree["prior"].to_dataset()
    tree["prior"] = xr.DataTree(wide.assign(log_capacity=wide["log_capacity"] * 10.0))
    return without_own_pulls(Fit(tree, small_fit.verdict))


@pytest.mark.parametrize(
    ("anchor", "seabed"),
    [
        ("A-10", "soft mud"),
        ("A-10-bar", "soft mud"),
        ("B-09", "soft mud"),
        ("A-10", "firm sand"),
        ("B-20", "firm sand"),
    ],
)
def test_a_cells_spread_without_its_pulls_is_that_of_the_others(
    anchor: str,
    seabed: str,
    told: xr.Dataset,
    prior: dict[str, Numbers],
    likelihoods: Numbers,
    spreads: xr.Dataset,
) -> None:
    """The first two are two configurations of one design in one seabed: each keeps what the other tells."""
    place = list(told["anchor"].to_numpy()).index(anchor), list(told["seabed"].to_numpy()).index(seabed)
    own = (told["anchor_of"].to_numpy() == place[0]) & (told["seabed_of"].to_numpy() == place[1])
    weight = np.exp(likelihoods[:, ~own].sum(axis=1))
    weight /= weight.sum()
    values = prior["capacity"][:, place[0], place[1]]
    expected = np.sqrt(weight @ (values - weight @ values) ** 2)
    found = spreads["sd_without"].sel(anchor=anchor, seabed=seabed)
    assert float(found) == pytest.approx(expected, rel=0.03)
    assert float(found) > 1.05 * float(spreads["sd_all"].sel(anchor=anchor, seabed=seabed))
