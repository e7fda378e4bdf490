"""Which anchor holds more: ranks with bands, and which anchors the draws cannot tell apart."""

from collections.abc import Mapping, Sequence
from typing import Literal

import numpy as np
import xarray as xr
from numpy.typing import NDArray
from scipy.stats import rankdata

from holdcast.answers.draws.bands import BAND_90, band
from holdcast.answers.draws.counts import counts
from holdcast.answers.draws.draws import draws_of
from holdcast.answers.draws.provenance import about
from holdcast.answers.draws.setting import chances_of_setting
from holdcast.answers.rank.letter_groups import letter_groups
from holdcast.capacity.fitting import Fit
from holdcast.physics.units import GRAVITY

__all__ = ["SURE", "Measure", "every_seabed", "log_measure", "ranking", "weighted_ranking"]

SURE = 0.95
"""One anchor surely beats another when it does so in this share of the draws: the two are told apart.  A
choice that goes with the 90% band: the two-sided rule leaves 5% at each end."""
Measure = Literal["capacity", "efficiency"]


def log_measure(fit: Fit, measure: Measure) -> xr.DataArray:
    """Return draws of the log load of a typical new pull [log N], or that over the anchor's weight [log 1].

    Dims (anchor, seabed, sample).  The mean of the log load: capacity where the anchor sets, the load at
    which it slides where it does not, each by its chance; weight in air is mass times standard gravity.

    Raises
    ------
    ValueError
        When the measure is neither ``capacity`` nor ``efficiency``.
    """
    if measure not in ("capacity", "efficiency"):
        raise ValueError(f"the measure must be 'capacity' or 'efficiency', got {measure!r}")
    draws = draws_of(fit)
    sets = chances_of_setting(draws)
    weight = fit.tree["anchors"]["mass_kg"].sel(anchor=sets["anchor"]) * GRAVITY
    sliding = np.log(weight) + np.log(draws.posterior["sliding_efficiency"])
    typical = sets * draws.posterior["log_capacity"] + (1.0 - sets) * sliding
    typical = typical.transpose("anchor", "seabed", "sample")
    if measure == "capacity":
        return typical.assign_attrs(units="log N")
    return (typical - np.log(weight)).assign_attrs(units="log 1")


def ranking(
    fit: Fit,
    seabeds: Sequence[str] | None = None,
    *,
    anchors: Sequence[str] | None = None,
    measure: Measure = "capacity",
) -> xr.Dataset:
    """Rank the anchors in each seabed, draw by draw.

    Parameters
    ----------
    fit : Fit
        Untested cells count with their own, wider draws.
    seabeds : sequence of str, optional
        Seabeds to rank in; all by default.
    anchors : sequence of str, optional
        Anchors to rank among each other; all by default.
    measure : {"capacity", "efficiency"}
        What is ranked; capacity favours heavy anchors.

    Returns
    -------
    Dataset, dims (anchor, rival, seabed, quantile)
        ``rank`` (anchor, seabed, quantile): 1 plus the number of anchors that hold more; quantiles 0.05, 0.5
        and 0.95.  ``p_best`` and ``p_best_three`` (anchor, seabed).  ``p_beats`` (anchor, rival, seabed):
        share of draws in which the anchor holds more than the rival.  ``surely_beats`` and
        ``surely_beaten_by``: how many anchors it is told apart from, see `SURE`.  ``pairs_apart`` (seabed):
        how many pairs are told apart; ``pairs_wrong`` (seabed): how many of them are expected to be the wrong
        way round, the sum of the chances that they are.  ``groups``: letters, see
        :func:`holdcast.answers.rank.letter_groups.letter_groups`.  ``tested``: whether a pull of the cell was
        used.

    Raises
    ------
    KeyError
        When a seabed or an anchor is not known.
    """
    draws = draws_of(fit)
    chosen = {"anchor": draws.known("anchor", anchors), "seabed": draws.known("seabed", seabeds)}
    ranked = _ranked(log_measure(fit, measure).sel(chosen), fit).assign_attrs(measure=measure)
    return ranked.assign(tested=counts(draws)["tested"].sel(chosen))


def weighted_ranking(fit: Fit, weights: Mapping[str, float], *, measure: Measure = "capacity") -> xr.Dataset:
    """Rank the anchors over several seabeds by the weighted mean of the log measure.

    The mean of logs makes ten percent count alike in soft and in hard ground; a seabed without a weight does
    not count.

    Parameters
    ----------
    fit : Fit
    weights : mapping of seabed to weight
        Above 0; scaled to a sum of one.  There are no default weights.
    measure : {"capacity", "efficiency"}

    Returns
    -------
    Dataset
        As :func:`ranking`, without dim seabed and ``tested``; attribute ``weights`` says what was used.

    Raises
    ------
    KeyError
        When a seabed is not known.
    ValueError
        When there is no weight, or one is not a number above 0.
    """
    if not weights:
        raise ValueError(
            "a ranking over several seabeds needs weights, such as --weight 'silt=0.5'; none are given"
        )
    wrong = [f"{seabed}={weight}" for seabed, weight in weights.items() if not 0.0 < weight < np.inf]
    if wrong:
        raise ValueError(f"a weight must be a number above 0, got {', '.join(wrong)}")
    draws_of(fit).known("seabed", list(weights))
    share = xr.DataArray(list(weights.values()), dims="seabed", coords={"seabed": list(weights)})
    share = share / share.sum()
    mean = (log_measure(fit, measure).sel(seabed=list(weights)) * share).sum("seabed")
    ranked = _ranked(mean.expand_dims(seabed=["weighted"], axis=1), fit).isel(seabed=0, drop=True)
    said = "; ".join(f"{seabed} {float(share.sel(seabed=seabed)):.0%}" for seabed in weights)
    return ranked.assign_attrs(measure=measure, weights=said)


def every_seabed(fit: Fit, efficiency: float, *, without: Sequence[str] = ()) -> xr.Dataset:
    """Return the probability that an anchor's efficiency exceeds a chosen one in every seabed at once.

    Parameters
    ----------
    fit : Fit
    efficiency : float
        Holding efficiency [1], above 0; the user's own, there is no default.
    without : sequence of str
        Seabeds left out.

    Returns
    -------
    Dataset, dims (anchor, seabed)
        ``p_every`` (anchor): share of draws that exceed it in all seabeds together.  ``p_here`` (anchor,
        seabed): in each.  Attributes ``efficiency``, ``seabeds`` and ``left_out``.

    Raises
    ------
    KeyError
        When a seabed left out is not known.
    ValueError
        When the efficiency is not above 0 or no seabed is left.
    """
    if not 0.0 < efficiency < np.inf:
        raise ValueError(f"the efficiency must be a number above 0, got {efficiency}")
    draws = draws_of(fit)
    left_out = draws.known("seabed", without)
    seabeds = [name for name in draws.labels("seabed") if name not in left_out]
    if not seabeds:
        raise ValueError("every seabed is left out, so nothing is left to ask about")
    weight = fit.tree["anchors"]["mass_kg"] * GRAVITY
    reached = draws.posterior["log_capacity"] - np.log(weight) > np.log(efficiency)
    chance = (chances_of_setting(draws) * reached).sel(seabed=seabeds)
    answer = xr.Dataset(
        {"p_every": chance.prod("seabed").mean("sample"), "p_here": chance.mean("sample")},
        attrs={"efficiency": efficiency, "seabeds": "; ".join(seabeds), "left_out": "; ".join(left_out)},
    )
    for name in answer.data_vars:
        answer[name].attrs = {"units": "1", "long_name": f"probability of an efficiency above {efficiency:g}"}
    return answer.assign_coords(_anchor_coords(fit, answer["anchor"]))


def _ranked(values: xr.DataArray, fit: Fit) -> xr.Dataset:
    anchors = values["anchor"].to_numpy()
    p_beats = _share_of_wins(values.transpose("seabed", "anchor", "sample").to_numpy())
    ranks = _ranks(values)
    wins = xr.DataArray(
        p_beats,
        dims=("seabed", "anchor", "rival"),
        coords={"seabed": values["seabed"], "anchor": anchors, "rival": anchors},
        attrs={"units": "1", "long_name": "probability that the anchor holds more than the rival"},
    ).transpose("anchor", "rival", "seabed")
    median = ranks.median("sample")
    groups = [
        letter_groups(wins.isel(seabed=i).to_numpy(), median.isel(seabed=i).to_numpy(), SURE)
        for i in range(values.sizes["seabed"])
    ]
    cell = ("anchor", "seabed")
    answer = xr.Dataset(
        {
            "rank": band(ranks, BAND_90).assign_attrs(units="1", long_name="rank, 1 holds most"),
            "p_best": (ranks == 1)
            .mean("sample")
            .assign_attrs(units="1", long_name="probability of being best"),
            "p_best_three": (ranks <= 3)
            .mean("sample")
            .assign_attrs(units="1", long_name="probability of being among the best three"),
            "p_beats": wins,
            "surely_beats": (wins >= SURE)
            .sum("rival")
            .assign_attrs(units="1", long_name="anchors surely beaten"),
            **_pairs(p_beats),
            "surely_beaten_by": (cell, (wins >= SURE).sum("anchor").transpose("rival", "seabed").to_numpy()),
            "groups": (cell, np.array(groups, dtype=str).T),
        }
    )
    answer["surely_beaten_by"].attrs = {"units": "1", "long_name": "anchors that surely beat it"}
    answer["groups"].attrs = {"long_name": "letters of the groups that cannot be told apart"}
    return answer.assign_coords(_anchor_coords(fit, answer["anchor"]))


def _pairs(p_beats: NDArray[np.float64]) -> dict[str, xr.Variable]:
    """Return how many pairs are told apart in each seabed, and how many of them are expected to be wrong.

    Of two told apart, the one that holds more in most draws holds less in the rest.
    """
    apart = p_beats >= SURE
    wrong = np.where(apart, 1.0 - p_beats, 0.0)
    return {
        "pairs_apart": xr.Variable("seabed", apart.sum(axis=(1, 2)), about("1", "pairs told apart")),
        "pairs_wrong": xr.Variable("seabed", wrong.sum(axis=(1, 2)), about("1", "of them expected wrong")),
    }


def _ranks(values: xr.DataArray) -> xr.DataArray:
    """Return 1 plus the number of anchors that hold strictly more, in each draw; ties share the better."""
    order = values.transpose("seabed", "sample", "anchor")
    ranks = rankdata(-order.to_numpy(), method="min", axis=-1)
    return order.copy(data=ranks).transpose("anchor", "seabed", "sample")


def _share_of_wins(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return (seabed, anchor, rival): share of draws in which the anchor holds strictly more.

    One anchor at a time, so that memory grows with anchors × draws only.
    """
    shares = [
        np.stack([(one[i] > one).mean(axis=-1) for i in range(one.shape[0])])  # anchor i against all rivals
        for one in values
    ]
    return np.stack(shares)


def _anchor_coords(fit: Fit, anchors: xr.DataArray) -> dict[str, xr.DataArray]:
    table = fit.tree["anchors"].to_dataset().sel(anchor=anchors)
    return {name: table[name].drop_attrs() for name in ("design", "form")}
