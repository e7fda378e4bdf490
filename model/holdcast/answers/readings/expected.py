"""What one reading of a new pull is expected to be, as read, before it is made.

One row of levels for each anchor in each seabed is all that is needed to judge a reading, here or on a page
that works without this program.  Each level is the reading that stays unreached with a certain probability;
the probabilities are the same in every cell (:func:`level_probabilities`).  They are found so:

1. The chance that the load at the anchor exceeds *x* is the exact mixture of
   :mod:`holdcast.answers.draws.new_pull`: a new visit, a new spot, the scatter of one pull, the fall with the
   uplift angle at that load, and the chance that the anchor does not dig in and slides.  No random number.
2. It is worked out on an even grid of log loads, for an even selection of at most `MOST_DRAWS` draws, and
   turned round by a monotone cubic between its logit and the log load: off by less than a hundredth of the
   probability (a test compares with the mixture itself).
3. Where loads are read at the bow, each level is carried up the rode: weight, angle and friction of what lies
   are added, by the same statics that take them off when a log is fitted.

How a probability is read back from the levels, and what `tail` means, stands in
:mod:`holdcast.answers.readings.tail`.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import xarray as xr
from scipy.interpolate import PchipInterpolator
from scipy.special import expit, logit

from holdcast.answers.draws.anchors import known_anchor
from holdcast.answers.draws.bands import BAND_90
from holdcast.answers.draws.draws import Draws, Floats
from holdcast.answers.draws.new_pull import NewPull, new_pull
from holdcast.answers.draws.provenance import about, provenance
from holdcast.answers.draws.rode import ALONG_THE_BOTTOM, Geometry
from holdcast.answers.draws.seabeds import known_seabed
from holdcast.physics.rode.loads import state_at_anchor_load

__all__ = [
    "MOST_DRAWS",
    "PulledFrom",
    "as_read_n",
    "draws_of_levels",
    "expected_readings",
    "level_probabilities",
    "levels_at",
    "levels_n",
    "levels_of_each",
]

MOST_DRAWS = 1000
"""Draws that levels are worked out from: each brings a whole distribution, so that more change little."""
_LEVELS, _OUTERMOST = 201, 2.5e-4
"""Of one cell, and the probability outside the first: half of a tail of 0.1%, and half of that again."""
_GRID, _COARSE, _FEW = 48, 49, 16
"""Loads of the grid; of the coarse one that finds where it belongs, from every so many-th draw."""
_LEAST_LOG_N, _MOST_LOG_N = 0.0, 16.0
"""Where loads are looked for [log N]: 1 N to 9 MN."""
_NEXT_TO_NOTHING = 1e-9


@dataclass(frozen=True)
class PulledFrom:
    """How a pull will be made: how the rode leads, and where its load is read.

    Attributes
    ----------
    geometry : the rode, scope and depth that will be used; along the bottom where they are not known, which
        is how a fit takes such a row.
    load_at : where the load cell sits.
    """

    geometry: Geometry = ALONG_THE_BOTTOM
    load_at: Literal["bow", "anchor"] = "bow"


def level_probabilities() -> Floats:
    """Return the probabilities of the levels, shape (level,): even steps of the logit, fine in the tails."""
    end = float(logit(_OUTERMOST))
    return np.asarray(expit(np.linspace(end, -end, _LEVELS)))


def expected_readings(
    draws: Draws,
    anchors: Sequence[str] | None = None,
    seabeds: Sequence[str] | None = None,
    pulled: PulledFrom | Sequence[PulledFrom] = PulledFrom(),
) -> xr.Dataset:
    """Return what one reading of a new pull on a new visit is expected to be, as read.

    Parameters
    ----------
    draws : Draws
        Of a fit.
    anchors, seabeds : sequence of str, optional
        Labels; all of the fit by default.
    pulled : PulledFrom or sequence of PulledFrom
        The rode that will be used, and where the load is read: everywhere, or in each of the seabeds.

    Returns
    -------
    Dataset, dims (anchor, seabed, level) and quantile
        ``reading_n`` [N], level: the reading that stays unreached with the probability ``level``;
        ``expected_n`` [N], quantile 0.05, 0.5, 0.95: the 90% range and the middle; ``sets`` [1]: chance that
        the anchor digs in.  The chance that it does not is counted in both.

    Raises
    ------
    KeyError
        When a label is not known.
    """
    labels = {"anchor": draws.labels("anchor", anchors), "seabed": draws.labels("seabed", seabeds)}
    members = [known_anchor(draws, label) for label in labels["anchor"]]
    ways = [pulled] * len(labels["seabed"]) if isinstance(pulled, PulledFrom) else list(pulled)
    pulls = [
        new_pull(draws, members, known_seabed(draws, label), way.geometry)
        for label, way in zip(labels["seabed"], ways, strict=True)
    ]
    probabilities = level_probabilities()
    levels = np.array(levels_of_each(pulls, ways))
    wanted = levels_at(levels, BAND_90)
    dims = ("seabed", "anchor")
    answer = xr.Dataset(
        {
            "reading_n": ((*dims, "level"), levels, about("N", "reading that stays unreached with a chance")),
            "expected_n": ((*dims, "quantile"), wanted, about("N", "one reading of a new pull, as read")),
            "sets": (
                dims,
                np.array([pull.sets.mean(axis=1) for pull in pulls]),
                about("1", "chance that the anchor digs in"),
            ),
        },
        {**labels, "level": probabilities, "quantile": list(BAND_90)},
        attrs=provenance(draws.fit, draws.seed),
    )
    return answer.transpose("anchor", "seabed", "level", "quantile")


def levels_of_each(
    pulls: Sequence[NewPull],
    pulled: Sequence[PulledFrom],
    loads: int = _GRID,
    places: Sequence[int] | slice = slice(None),
) -> list[Floats]:
    """Return :func:`levels_n` of each of some new pulls."""
    return [levels_n(pull, way, loads, places) for pull, way in zip(pulls, pulled, strict=True)]


def levels_n(
    pull: NewPull,
    pulled: PulledFrom,
    loads: int = _GRID,
    places: Sequence[int] | slice = slice(None),
) -> Floats:
    """Return the levels of one new pull of each anchor, as read [N], shape (anchor, level).

    Parameters
    ----------
    pull : NewPull
    pulled : PulledFrom
    loads : int
        How many loads of each anchor the chance is worked out for; curves lie between.
    places : sequence of int or slice
        Places of the levels that are wanted; all by default.
    """
    # The floor cuts the levels in the end: a curve bends round no corner.
    open_below = replace(pull, floor_n=np.zeros(len(pull.capacity)))
    some = open_below.of_draws(draws_of_levels(pull.capacity.shape[1]))
    few = some.of_draws(slice(None, None, _FEW))
    at_anchor = np.exp(_log_levels(some, few, loads))
    # Levels on the floor rise by next to nothing, so that lines between them can be drawn.
    rising = 1.0 + _NEXT_TO_NOTHING * np.arange(_LEVELS)
    on_floor = np.maximum(at_anchor, pull.floor_n[:, None] * rising)
    return as_read_n(on_floor[:, places], pulled)


def draws_of_levels(samples: int) -> slice:
    """Return which draws levels are worked out from: an even selection of at most `MOST_DRAWS`."""
    return slice(None, None, max(1, int(np.ceil(samples / MOST_DRAWS))))


def as_read_n(at_anchor_n: Floats, pulled: PulledFrom) -> Floats:
    """Return what a load cell reads when such loads are at the anchor [N]."""
    rode = pulled.geometry.rode
    if pulled.load_at == "anchor" or rode is None:
        return at_anchor_n
    return np.asarray(state_at_anchor_load(at_anchor_n, rode).load_at_bow_n)


def _log_levels(pull: NewPull, few: NewPull, loads: int) -> Floats:
    """Return the log loads of each anchor's levels, shape (anchor, level); `few` of the draws find where."""
    coarse = np.linspace(_LEAST_LOG_N, _MOST_LOG_N, _COARSE)
    above = few.chances(np.exp(coarse))
    first = np.where(above > 1.0 - 0.3 * _OUTERMOST, coarse, _LEAST_LOG_N).max(axis=1)
    last = np.where(above < 0.3 * _OUTERMOST, coarse, _MOST_LOG_N).min(axis=1)
    grids = np.linspace(first, last, loads, axis=1)
    odds = logit(np.clip(1.0 - pull.chances(np.exp(grids)), 1e-12, 1.0 - 1e-12))
    rising = np.diff(np.maximum.accumulate(odds, axis=1), axis=1, prepend=-np.inf) > 1e-9
    wanted = logit(level_probabilities())

    def turned_round(odd: Floats, grid: Floats) -> Floats:
        # Where the loads looked at end before the levels do, the last load stands for all beyond.
        return np.asarray(PchipInterpolator(odd, grid)(np.clip(wanted, odd[0], odd[-1])))

    each = zip(odds, grids, rising, strict=True)
    return np.array([turned_round(odd[keep], grid[keep]) for odd, grid, keep in each])


def levels_at(levels: Floats, wanted: Sequence[float]) -> Floats:
    """Return the readings that stay unreached with some probabilities [N], shape (…, probability).

    Parameters
    ----------
    levels : array, shape (…, level)
        As from :func:`levels_n`.
    wanted : sequence of float
        Probabilities; lines between logit and log reading lead there.
    """
    odds, at = logit(level_probabilities()), logit(np.asarray(wanted))
    return np.asarray(np.apply_along_axis(lambda row: np.exp(np.interp(at, odds, np.log(row))), -1, levels))
