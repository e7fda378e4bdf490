"""Designs, traits and configurations as one effect: against dense normal algebra, label by label."""

import numpy as np
import pytest
import xarray as xr
from numpy.typing import NDArray

from holdcast.capacity.inputs.design_layout import design_layout
from holdcast.capacity.inputs.likeness import alike_kernel, kernel_parts
from holdcast.capacity.model.design_parts import LOADING, SCORE, TRAIT_EFFECT
from holdcast.capacity.model.design_split import ANCHOR_EFFECT, root_of, split_designs, trait_covariance
from holdcast.capacity.model.designs import from_means_and_contrasts
from holdcast.capacity.model.seabed_likeness import alike_effects

DESIGN_OF = np.array([1, 0, 1, 2, 3, 1, 2])  # three sizes of one, two of another, two alone; in no order
SMOOTH = 0.5
SHARES = {
    "main": 0.25,
    "alike": 0.3,
    "own": 0.2,
    "configuration": 0.1,
    "configuration_seabed": 0.15,
    "trait": 0.15,
}
OTHER = {
    "main": 0.05,
    "alike": 0.1,
    "own": 0.4,
    "configuration": 0.05,
    "configuration_seabed": 0.4,
    "trait": 0.1,
}
LOADINGS = np.array([[0.1, -0.2, 0.3], [0.25, 0.0, -0.1]])
"""Of two traits in each seabed [log N]; any will do, the split being given them."""
SPREAD = 0.4
KERNEL = alike_kernel(np.array([-1.0, 0.2, 0.9]), ["clay", "sand", "sand"])
ANCHORS, SEABEDS = len(DESIGN_OF), len(KERNEL)

Numbers = NDArray[np.float64]


def parts(shares: dict[str, float] = SHARES) -> tuple[Numbers, Numbers]:
    """Covariances over seabeds of a design and of a configuration, from their definition."""
    ones, identity = np.ones_like(KERNEL), np.eye(SEABEDS)
    design = shares["main"] * ones + shares["alike"] * KERNEL + shares["own"] * identity
    by_seabed = SMOOTH * KERNEL + (1.0 - SMOOTH) * identity
    configuration = shares["configuration"] * ones + shares["configuration_seabed"] * by_seabed
    return SPREAD**2 * design, SPREAD**2 * configuration


def of_anchors(shares: dict[str, float] = SHARES) -> Numbers:
    """Covariance of the sums over all cells, anchor by anchor."""
    design, configuration = parts(shares)
    same_design = (DESIGN_OF[:, None] == DESIGN_OF).astype(float)
    traits = LOADINGS.T @ LOADINGS
    return np.kron(same_design, design + traits) + np.kron(np.eye(ANCHORS), configuration)


def test_the_sampled_rows_have_the_covariance_of_designs_traits_and_configurations() -> None:
    """Every standard normal in turn: the map's columns make up the whole covariance."""
    value, vector = kernel_parts(KERNEL)
    layout = design_layout(DESIGN_OF)
    number = layout["anchors_in_mean"].to_numpy()[:, None]
    by_seabed = SHARES["configuration_seabed"]
    everywhere = np.sqrt(number * SHARES["main"] + SHARES["configuration"]) * np.ones(SEABEDS)
    patterns = [everywhere, *(np.sqrt(number) * loading / SPREAD for loading in LOADINGS)]
    columns = []
    for unit in np.eye(ANCHORS * SEABEDS):
        rows = alike_effects(
            unit.reshape(ANCHORS, SEABEDS),
            value,
            vector,
            number * SHARES["alike"] + SMOOTH * by_seabed,
            number * SHARES["own"] + (1.0 - SMOOTH) * by_seabed,
            [pattern @ vector for pattern in patterns],
        )
        mirror = layout["design_mirror"].to_numpy()
        columns.append(SPREAD * from_means_and_contrasts(rows, mirror, DESIGN_OF, 4).eval().ravel())
    made = np.array(columns)
    np.testing.assert_allclose(made.T @ made, of_anchors(), atol=1e-12)


@pytest.mark.parametrize("design_of", [DESIGN_OF, np.zeros(5, dtype=int), np.arange(4)])
def test_the_map_is_a_mirror_within_designs(design_of: NDArray[np.int64]) -> None:
    mirror = design_layout(design_of)["design_mirror"].to_numpy()
    turned = from_means_and_contrasts(np.eye(len(design_of)), mirror, design_of, len(set(design_of))).eval()
    np.testing.assert_allclose(turned @ turned, np.eye(len(design_of)), atol=1e-12)
    assert not turned[design_of[:, None] != design_of].any()
    for first in np.unique(design_of, return_index=True)[1]:
        family = design_of == design_of[first]
        np.testing.assert_allclose(turned[family, first], 1.0 / np.sqrt(family.sum()), atol=1e-12)


def draws_of(values: Numbers) -> tuple[xr.Dataset, xr.Dataset]:
    """The same sums (anchor, seabed) in many draws, each chain of other shares, and what they belong to."""
    value, vector = kernel_parts(KERNEL)
    shape = (2, 10_000)
    every_draw = np.broadcast_to(values, (*shape, *values.shape))
    by_chain = np.array([list(SHARES.values()), list(OTHER.values())])
    share = np.broadcast_to(by_chain[:, None, :], (*shape, len(SHARES)))
    draws = xr.Dataset(
        {
            ANCHOR_EFFECT: (("chain", "draw", "anchor", "seabed"), every_draw),
            LOADING: (("chain", "draw", "trait", "seabed"), np.broadcast_to(LOADINGS, (*shape, 2, SEABEDS))),
            "design_spread": (("chain", "draw"), np.full(shape, SPREAD)),
            "design_share": (("chain", "draw", "part"), share),
        },
        {"part": list(SHARES)},
    )
    inputs = xr.Dataset(
        {
            "design_of": ("anchor", DESIGN_OF),
            "alike_value": ("component", value),
            "alike_vector": (("seabed", "component"), vector),
        },
        {"design": list("abcd")},
    )
    return draws, inputs


def test_split_draws_scores_and_designs_from_their_distribution_given_the_sums() -> None:
    """Witness: the conditional of the joint normal of scores, designs and sums, all written out."""
    values = np.random.default_rng(1).normal(0.0, SPREAD, (ANCHORS, SEABEDS))
    draws, inputs = draws_of(values)
    split = split_designs(draws, inputs, seed=3)
    belongs = (np.arange(4)[:, None] == DESIGN_OF).astype(float)
    for chain, shares in enumerate((SHARES, OTHER)):
        design, _ = parts(shares)
        cross = np.concatenate([np.kron(belongs, LOADINGS), np.kron(belongs, design)])
        prior = np.zeros((len(cross), len(cross)))
        prior[:8, :8], prior[8:, 8:] = np.eye(8), np.kron(np.eye(4), design)
        gain = cross @ np.linalg.inv(of_anchors(shares))
        left = prior - gain @ cross.T
        one = split.isel(chain=chain)
        drawn = np.concatenate(
            [one[name].to_numpy().reshape(one.sizes["draw"], -1) for name in (SCORE, "design_effect")], axis=1
        )
        deviation = (drawn.mean(axis=0) - gain @ values.ravel()) / np.sqrt(np.diag(left) / len(drawn))
        assert np.abs(deviation).max() < 4.0
        scale = np.sqrt(np.diag(left))
        np.testing.assert_allclose(np.cov((drawn / scale).T), left / np.outer(scale, scale), atol=0.05)


def test_split_adds_up_and_repeats_with_the_seed() -> None:
    values = np.random.default_rng(1).normal(0.0, SPREAD, (ANCHORS, SEABEDS))
    draws, inputs = draws_of(values)
    split, again, other = (split_designs(draws, inputs, seed=seed) for seed in (3, 3, 4))
    np.testing.assert_allclose(split[TRAIT_EFFECT], xr.dot(split[SCORE], draws[LOADING], dim="trait"))
    of_design = (split["design_effect"] + split[TRAIT_EFFECT]).isel(
        design=xr.DataArray(DESIGN_OF, dims="anchor")
    )
    total = (of_design + split["configuration_effect"]).transpose(*draws[ANCHOR_EFFECT].dims)
    np.testing.assert_allclose(total, draws[ANCHOR_EFFECT])
    assert split.equals(again)
    assert not split["design_effect"].equals(other["design_effect"])
    assert not split[SCORE].equals(other[SCORE])


def test_trait_covariance_is_that_of_what_the_traits_of_a_design_do() -> None:
    draws, _ = draws_of(np.zeros((ANCHORS, SEABEDS)))
    found = trait_covariance(draws).isel(chain=1, draw=7).to_numpy()
    scores = np.random.default_rng(2).standard_normal((200_000, 2))
    np.testing.assert_allclose(found, np.cov((scores @ LOADINGS).T), atol=2e-3)


def test_a_part_without_variance_can_still_be_split() -> None:
    draws, inputs = draws_of(np.full((ANCHORS, SEABEDS), 0.3))
    shares = draws["design_share"].where(draws["part"] != "configuration_seabed", 1e-12)
    shares = shares.where(shares["part"] != "configuration", 1e-12)
    split = split_designs(draws.assign(design_share=shares), inputs, seed=3)
    np.testing.assert_allclose(split["design_effect"] + split[TRAIT_EFFECT], 0.3, atol=1e-3)


def test_wholly_alike_seabeds_and_next_to_no_part_of_their_own_can_be_split() -> None:
    """Shares that small weights in campaign.toml allow: the covariance of the sums is then singular."""
    draws, inputs = draws_of(np.full((ANCHORS, SEABEDS), 0.3))
    value, vector = kernel_parts(np.ones((SEABEDS, SEABEDS)))
    inputs = inputs.assign(alike_value=("component", value), alike_vector=(("seabed", "component"), vector))
    shares = draws["design_share"].where(~draws["part"].isin(["own", "configuration_seabed"]), 1e-18)
    even = draws[LOADING].isel(seabed=[0] * SEABEDS)
    split = split_designs(draws.assign({"design_share": shares, LOADING: even}), inputs, seed=3)
    assert all(np.isfinite(split[name]).all() for name in split)


def test_roots_are_there_however_small_the_part() -> None:
    """A fit whose share hugs 0 must still be answered for."""
    alike = alike_kernel(np.array([0.2, 0.2, 0.2, -1.0]), ["sand", "sand", "sand", "clay"])
    for own in 10.0 ** np.arange(-12.0, 0.0):
        whole = (0.1 + own * alike + own * np.eye(4))[None]
        left = own * (np.eye(4) - own * np.linalg.inv(whole))
        root = root_of(left, whole)
        np.testing.assert_allclose(root @ root.transpose(0, 2, 1), left, atol=1e-8)
