"""The part of a load that chain in the mud takes: from a campaign's rodes to a sentence."""

import numpy as np
import pytest
import xarray as xr
from closed_forms import buried_chain_exact

from holdcast.answers.boat.buried_chain import buried_chain
from holdcast.capacity.fitting import Fit
from holdcast.commands.published.publishing import correction_lines
from holdcast.show.views.buried_chain import buried_chain_sentences


def on_chain(fit: Fit, **sizes: float) -> Fit:
    """Return the fit with every pull made on one rode of a chain of that size."""
    tree = fit.tree.copy()
    rode = np.full(tree["trials"].sizes["trial"], "usual")
    tree["trials"] = tree["trials"].to_dataset().assign(rode=("trial", rode))
    tree["rodes"] = xr.DataTree(
        xr.Dataset({name: ("rode", [size]) for name, size in sizes.items()}, {"rode": ["usual"]})
    )
    return Fit(tree, fit.verdict)


def soft_seabeds(fit: Fit) -> list[str]:
    grounds = fit.tree["seabeds"].to_dataset()
    soft = grounds["soil"].isin(["clay", "silt"]) & grounds["strength"].isin(["very_low", "low"])
    return [str(label) for label in grounds["seabed"].to_numpy()[soft.to_numpy()]]


def test_only_soft_seabeds_pulled_on_a_known_chain_are_told(world_fit: Fit) -> None:
    soft = soft_seabeds(world_fit)
    assert soft
    told = buried_chain(on_chain(world_fit, chain_mm=8.0))
    assert told["seabed"].to_numpy().tolist() == soft
    assert buried_chain(world_fit).sizes["seabed"] == 0
    assert buried_chain_sentences(buried_chain(world_fit)) == []
    inches = buried_chain(on_chain(world_fit, chain_in=0.315))
    np.testing.assert_allclose(inches["share"], told["share"], rtol=1e-3)


def test_share_turns_back_into_the_load_of_a_typical_pull(world_fit: Fit) -> None:
    told = buried_chain(on_chain(world_fit, chain_mm=8.0)).isel(seabed=0)
    share, depth = float(told["share"].isel(depth=0)), float(told["depth"][0])
    trials = world_fit.tree["trials"].to_dataset().to_dataframe()
    here = trials[
        (trials["seabed"] == told["seabed"].item())
        & (trials["status"] == "used")
        & (trials["test"] == "pull")
    ]
    load = float(np.median(np.where(np.isinf(here["released_n"]), here["held_n"], here["released_n"])))
    # Neubecker & Randolph 1995 (from memory): E_n d N_c s z, from the padeye's side.
    integral = 2.5 * 0.008 * 7.6 * 1000.0 * float(told["strength_kpa"]) * depth
    ratio = buried_chain_exact(load * (1.0 - share), integral, 0.4)[1]
    assert ratio == pytest.approx(1.0 / (1.0 - share), rel=1e-6)


def test_page_and_fit_tell_it_and_a_small_share_is_not_told(world_fit: Fit) -> None:
    fit = on_chain(world_fit, chain_mm=8.0)
    lines = correction_lines(fit)
    assert sum("8 mm chain about" in line for line in lines) == len(soft_seabeds(fit))
    in_us = " ".join(correction_lines(fit, "us"))
    assert "0.315 in chain about" in in_us and "ft deep" in in_us and "psf)" in in_us
    chain = buried_chain(fit)
    assert buried_chain_sentences(chain.assign(share=chain["share"] * 0.0 + 0.04)) == []
    none_deeper = chain.assign(share=chain["share"].where(chain["depth"] < 0.3))
    assert none_deeper["share"].notnull().any("depth").all()
    assert all("no deeper under such a load" in text for text in buried_chain_sentences(none_deeper))
