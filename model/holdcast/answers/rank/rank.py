"""Which anchor holds, sets again or keeps more: ranks with bands, and what the draws cannot tell apart."""

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import NDArray

from holdcast.answers.draws.bands import BAND_90, band
from holdcast.answers.draws.counts import counts
from holdcast.answers.draws.draws import draws_of
from holdcast.answers.draws.provenance import about
from holdcast.answers.draws.setting import chances_of_setting
from holdcast.answers.rank.letter_groups import letter_groups
from holdcast.answers.rank.measures import KIND_OF, TESTED_BY, Measure, holds_tests, log_measure
from holdcast.capacity.fitting import Fit
from holdcast.capacity.inputs.labels import positions
from holdcast.physics.units import GRAVITY

__all__ = ["SURE", "Measure", "every_seabed", "log_measure", "ranking", "weighted_ranking"]

SURE = 0.95
"""One anchor surely beats another when it does so in this share of the draws: the two are told apart.  A
choice that goes with the 90% band: the two-sided rule leaves 5% at each end."""


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
    measure : {"capacity", "efficiency", "resets", "veers"}
        What is ranked, see :func:`log_measure`; capacity favours heavy anchors.

    Returns
    -------
    Dataset, dims (anchor, rival, seabed, quantile)
        ``rank`` (anchor, seabed, quantile): 1 plus the number of anchors that are ahead; quantiles 0.05, 0.5
        and 0.95.  ``p_best`` and ``p_best_three`` (anchor, seabed).  ``p_beats`` (anchor, rival, seabed):
        share of draws in which the anchor is ahead of the rival.  ``surely_beats`` and
        ``surely_beaten_by``: how many anchors it is told apart from, see `SURE`.  ``pairs_apart`` (seabed):
        how many pairs are told apart; ``pairs_wrong`` (seabed): how many of them are expected to be the wrong
        way round, the sum of the chances that they are.  ``groups``: letters, see
        :func:`holdcast.answers.rank.letter_groups.letter_groups`.  ``tested``: whether a test of that kind
        was used in the cell.

    Raises
    ------
    KeyError
        When a seabed or an anchor is not known.
    ValueError
        As in :func:`log_measure`.
    """
    draws = draws_of(fit)
    cells_ranked = {"anchor": draws.labels("anchor", anchors), "seabed": draws.labels("seabed", seabeds)}
    ranked = _ranked(log_measure(fit, measure).sel(cells_ranked), fit).assign_attrs(measure=measure)
    tested = counts(draws)[TESTED_BY[KIND_OF[measure]]] > 0
    return ranked.assign(tested=tested.sel(cells_ranked))


def weighted_ranking(
    fit: Fit,
    weights: Mapping[str, float],
    *,
    kinds: Mapping[str, float] | None = None,
    measure: Measure = "capacity",
) -> xr.Dataset:
    """Rank the anchors over several seabeds, and kinds of test, by the weighted mean of logarithms.

    The mean of logs makes ten percent count alike in soft and in hard ground, in a load and in a chance: ten
    percent less load, ten percent fewer resets that succeed, or ten percent less kept in a turn.  A seabed or
    a kind of test without a weight does not count.

    Parameters
    ----------
    fit : Fit
    weights : mapping of seabed to weight
        Above 0; scaled to a sum of one.  There are no default weights.
    kinds : mapping of "pull", "reset", "veer" to weight, optional
        0 or more, one above 0; scaled to a sum of one.  Without it `measure` alone counts.  A kind that the
        log holds no test of is left out.
    measure : {"capacity", "efficiency", "resets", "veers"}
        What is ranked; with `kinds`, what pulls count by.

    Returns
    -------
    Dataset
        As :func:`ranking`, without dim seabed and ``tested``; attributes ``weights``, ``kinds`` and
        ``left_out`` say what was used and which kinds were not.

    Raises
    ------
    KeyError
        When a seabed or a kind of test is not known.
    ValueError
        When there is no weight, one is not a number above 0, or the log holds no test that counts.
    """
    if not weights:
        raise ValueError(
            "a ranking over several seabeds needs weights, such as --weight 'silt=0.5'; none are given"
        )
    wrong = [f"{seabed}={weight}" for seabed, weight in weights.items() if not 0.0 < weight < np.inf]
    if wrong:
        raise ValueError(f"a weight must be a number above 0, got {', '.join(wrong)}")
    draws_of(fit).labels("seabed", list(weights))
    share = xr.DataArray(list(weights.values()), dims="seabed", coords={"seabed": list(weights)})
    share = share / share.sum()
    parts, left_out = _parts(fit, kinds or {}, measure)
    total = sum(parts.values())
    logs = [(weight / total) * log_measure(fit, each) for each, weight in parts.items()]
    mean = (xr.concat(logs, "part").sum("part").sel(seabed=list(weights)) * share).sum("seabed")
    ranked = _ranked(mean.expand_dims(seabed=["weighted"], axis=1), fit).isel(seabed=0, drop=True)
    shares = "; ".join(f"{KIND_OF[each]} {weight / total:.0%}" for each, weight in parts.items())
    return ranked.assign_attrs(
        measure=shares if kinds else measure,
        weights="; ".join(f"{seabed} {float(share.sel(seabed=seabed)):.0%}" for seabed in weights),
        kinds=shares if kinds else "",
        left_out="; ".join(left_out),
    )


def _parts(fit: Fit, kinds: Mapping[str, float], measure: Measure) -> tuple[dict[Measure, float], list[str]]:
    """Return the weight of each measure, and the kinds that have a weight and no test in the log."""
    if not kinds:
        return {measure: 1.0}, []
    by_kind: dict[str, Measure] = {
        "pull": "efficiency" if measure == "efficiency" else "capacity",
        "reset": "resets",
        "veer": "veers",
    }
    positions(list(kinds), list(by_kind), "kind of test")
    wrong = [f"{kind}={weight}" for kind, weight in kinds.items() if not 0.0 <= weight < np.inf]
    if wrong:
        raise ValueError(f"a weight of a kind of test must be a number, 0 or more, got {', '.join(wrong)}")
    weighed = {by_kind[kind]: weight for kind, weight in kinds.items() if weight > 0.0}
    held = {each: weight for each, weight in weighed.items() if holds_tests(fit, each)}
    if not held:
        raise ValueError("no kind of test with a weight stands in the log, so nothing can be ranked")
    return held, [KIND_OF[each] for each in weighed if each not in held]


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
    left_out = draws.labels("seabed", without)
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
        attrs={"units": "1", "long_name": "probability that the anchor is ahead of the rival"},
    ).transpose("anchor", "rival", "seabed")
    median = ranks.median("sample")
    groups = [
        letter_groups(wins.isel(seabed=i).to_numpy(), median.isel(seabed=i).to_numpy(), SURE)
        for i in range(values.sizes["seabed"])
    ]
    cell = ("anchor", "seabed")
    answer = xr.Dataset(
        {
            "rank": band(ranks, BAND_90).assign_attrs(units="1", long_name="rank, 1 is the best"),
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
    """Return 1 plus the number of anchors strictly ahead, in each draw; ties share the better rank."""
    order = values.transpose("seabed", "sample", "anchor")
    by_draw = pd.DataFrame(order.to_numpy().reshape(-1, order.sizes["anchor"]))
    ranks = by_draw.rank(axis="columns", method="min", ascending=False)
    return order.copy(data=ranks.to_numpy().reshape(order.shape)).transpose("anchor", "seabed", "sample")


def _share_of_wins(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return (seabed, anchor, rival): share of draws in which the anchor is strictly ahead.

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
