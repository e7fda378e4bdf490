"""What moved between two fits: cells, chances of setting, effects and ranks, against their own bands."""

import numpy as np
import xarray as xr

from holdcast.answers.draws.bands import band
from holdcast.answers.draws.draws import draws_of
from holdcast.answers.draws.log_odds import expit, logit
from holdcast.answers.draws.setting import KINDS, setting_shares
from holdcast.answers.explain.learning import PARAMETERS, how_far_moved
from holdcast.answers.rank.rank import ranking
from holdcast.capacity.fitting import Fit

__all__ = ["MOVED", "cells_moved", "chances_moved", "effects_moved", "ranks_moved", "shared"]

MOVED = 0.25
"""A move of the median by this share of half the old 90% band is told.  A choice: six times what the chance
of the draws alone brings at an effective sample size of 400."""

_LEAST_SHARE = 1e-9
"""Nearer to 0 or 1 a share counts as this near, since the log odds of the ends are infinite."""


def shared(old: Fit, new: Fit, dim: str) -> list[str]:
    """Return the labels that both fits have, in the new one's order.

    Raises
    ------
    ValueError
        When they have none in common, so that nothing can be compared.
    """
    before = {str(name) for name in old.posterior[dim].to_numpy()}
    both = [str(name) for name in new.posterior[dim].to_numpy() if str(name) in before]
    if not both:
        raise ValueError(f"the two results have no {dim} in common; are they of the same campaign?")
    return both


def cells_moved(old: Fit, new: Fit) -> xr.Dataset:
    """Return how each cell that both fits have moved.

    Returns
    -------
    Dataset, dims (anchor, seabed, quantile)
        ``old_n`` and ``new_n`` (anchor, seabed, quantile) [N]: capacity.  ``move`` (anchor, seabed): change
        of the median of log capacity, as a share of half the old 90% band [1].  ``factor``: new median over
        old.
        ``band_ratio``: width of the new 90% band over the old one's, on the log scale.  ``outside``: whether
        the new median lies outside the old 90% band.  Coordinates ``design`` and ``form`` on anchor.

    Raises
    ------
    ValueError
        When the fits have no anchor or no seabed in common.
    """
    place = {dim: shared(old, new, dim) for dim in ("anchor", "seabed")}
    logs = [band(draws_of(fit).posterior["log_capacity"].sel(place)) for fit in (old, new)]
    moves = _move(*logs)
    moves["old_n"], moves["new_n"] = (np.exp(each) for each in logs)
    for name, words in (("old_n", "capacity in the old fit"), ("new_n", "capacity in the new fit")):
        moves[name].attrs = {"units": "N", "long_name": words}
    moves["factor"] = np.exp(moves["shift"])
    moves["factor"].attrs = {"units": "1", "long_name": "new median over old"}
    table = new.tree["anchors"].to_dataset().sel(anchor=place["anchor"])
    return moves.assign_coords({name: table[name].drop_attrs() for name in ("design", "form")})


def chances_moved(old: Fit, new: Fit) -> xr.Dataset:
    """Return how the chances of setting of each cell that both fits have moved.

    Returns
    -------
    Dataset, dims (kind, anchor, seabed, quantile)
        ``kind``: those of :data:`holdcast.answers.draws.setting.KINDS` that both logs hold tests of.
        ``old`` and ``new`` (kind, anchor, seabed, quantile) [1]: chance, or share kept.  ``move``,
        ``band_ratio``, ``outside`` (kind, anchor, seabed) as in :func:`cells_moved`, taken of the log odds of
        the chance or share, on which a band has no end to stand against.  Attribute ``only_in``: kinds of
        which one log alone holds tests, with which one, as text.

    Raises
    ------
    ValueError
        When the fits have no anchor or no seabed in common.
    """
    place = {dim: shared(old, new, dim) for dim in ("anchor", "seabed")}
    before, after = (setting_shares(draws_of(fit)) for fit in (old, new))
    kinds = [kind for kind in KINDS if kind in before and kind in after]
    odds = [
        xr.concat([_log_odds(band(shares[kind].sel(place))) for kind in kinds], "kind").assign_coords(
            kind=kinds
        )
        for shares in (before, after)
    ]
    moves = _move(*odds)
    moves["old"], moves["new"] = (each.copy(data=expit(each.to_numpy())) for each in odds)
    for name, words in (("old", "chance in the old fit"), ("new", "chance in the new fit")):
        moves[name].attrs = {"units": "1", "long_name": words}
    lone = [
        f"{kind}: {'old' if kind in before else 'new'}"
        for kind in KINDS
        if (kind in before) != (kind in after)
    ]
    return moves.assign_attrs(only_in="; ".join(lone))


def _log_odds(shares: xr.DataArray) -> xr.DataArray:
    """Return log odds of quantiles of a share, which are the quantiles of its log odds."""
    inside = np.clip(shares.to_numpy(), _LEAST_SHARE, 1.0 - _LEAST_SHARE)
    return shares.copy(data=logit(inside))


def effects_moved(old: Fit, new: Fit) -> xr.Dataset:
    """Return how parameters and feature effects that both fits have moved.

    Returns
    -------
    Dataset, dims (parameter, quantile)
        ``old`` and ``new`` (parameter, quantile), in the parameter's own unit; ``move``, ``band_ratio``,
        ``outside`` (parameter) as in :func:`cells_moved`.
    """
    wanted = [*PARAMETERS, "feature_effect", "set_feature_effect", "again_feature_effect"]
    held = [{str(name) for name in fit.posterior.data_vars} for fit in (old, new)]
    names = [name for name in wanted if name in held[0] & held[1]]
    values = [
        how_far_moved(fit, names)["value"].drop_vars(["variable", "label", "unit"]) for fit in (old, new)
    ]
    both = [
        name for name in values[1]["parameter"].to_numpy() if name in set(values[0]["parameter"].to_numpy())
    ]
    before, after = (value.sel(parameter=both) for value in values)
    return _move(before, after).assign(old=before, new=after)


def ranks_moved(old: Fit, new: Fit) -> xr.Dataset:
    """Return how ranks moved, among the anchors and in the seabeds that both fits have.

    Returns
    -------
    Dataset, dims (anchor, seabed, quantile)
        ``old_rank`` and ``new_rank`` (anchor, seabed, quantile), ``old_p_best`` and ``new_p_best`` (anchor,
        seabed), as from :func:`holdcast.answers.rank.rank.ranking` by capacity.  ``outside``: whether the new
        median rank lies outside the old 90% band.
    """
    anchors, seabeds = shared(old, new, "anchor"), shared(old, new, "seabed")
    before, after = (ranking(fit, seabeds, anchors=anchors) for fit in (old, new))
    middle = after["rank"].sel(quantile=0.5)
    outside = (middle < before["rank"].sel(quantile=0.05)) | (middle > before["rank"].sel(quantile=0.95))
    return xr.Dataset(
        {
            "old_rank": before["rank"],
            "new_rank": after["rank"],
            "old_p_best": before["p_best"],
            "new_p_best": after["p_best"],
            "outside": outside.drop_vars("quantile", errors="ignore"),
        }
    )


def _move(before: xr.DataArray, after: xr.DataArray) -> xr.Dataset:
    """Return the move of the median against half the old band, and the widths' ratio; last dim quantile."""
    low, middle, high = (before.sel(quantile=q, drop=True) for q in (0.05, 0.5, 0.95))
    moved = after.sel(quantile=0.5, drop=True)
    width = high - low
    shift = moved - middle
    ratio = (after.sel(quantile=0.95, drop=True) - after.sel(quantile=0.05, drop=True)) / width.where(
        width > 0
    )
    moves = xr.Dataset(
        {
            "shift": shift,
            "move": shift / (width / 2.0).where(width > 0),
            "band_ratio": ratio,
            "outside": (moved < low) | (moved > high),
        }
    )
    for name, words in (
        ("move", "change of the median over half the old 90% band"),
        ("band_ratio", "new band over old"),
    ):
        moves[name].attrs = {"units": "1", "long_name": words}
    return moves
