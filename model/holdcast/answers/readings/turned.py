"""At which load an anchor lets go after a turn under load, in a form that a page can carry.

An anchor that set is turned through an angle under load and then pulled until it lets go; what the turn
takes is the fit's own draw, see :mod:`holdcast.capacity.likelihood.veer_loop`.  The levels of that load
(:mod:`holdcast.answers.readings.expected`) stand for a few turns only; between these they follow the
polynomial through all of them, and between two levels the line between the logit of the probability and the
log of the reading.  A tail told so differs from :mod:`holdcast.answers.readings.surprise` by less than
0.01 where it is near 0.05 and the turn is no more than 180 degrees, by less than 0.03 for any reading, and
beyond 180 degrees by less than 0.05 (computed on the demo: each anchor in each seabed, nine turns up to 180
degrees and four beyond).
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import xarray as xr

from holdcast.answers.draws.anchors import known_anchor
from holdcast.answers.draws.draws import Draws, Floats
from holdcast.answers.draws.new_pull import NewPull, new_pull
from holdcast.answers.draws.provenance import about
from holdcast.answers.draws.seabeds import known_seabed
from holdcast.answers.readings.expected import (
    PulledFrom,
    as_read_n,
    draws_of_levels,
    level_probabilities,
    levels_of_each,
)
from holdcast.capacity.inputs.setting_tests import READ_TO_DEG

__all__ = ["TURNS_DEG", "turned", "turned_readings"]

TURNS_DEG = (0.0, 90.0, 180.0, 360.0)
"""Turns whose levels stand for all."""
_LOADS = 24
"""Of the grid that the levels of a turn are worked out on: there are fewer of them than of a pull."""
_LOWER_LEVELS = (0, 25, 45, 55, 65, 85)
"""Places among the levels of a pull, closest about a tail of 0.05; as many above the middle one."""
_QUARTER_DEG = 90.0


def turned(pull: NewPull, turn: Floats, degrees: float) -> NewPull:
    """Return the pull that an anchor which set still bears after a turn.

    Parameters
    ----------
    pull : NewPull
        Straight.
    turn : array, shape (anchor, sample)
        What a quarter turn takes of the log capacity [log N].
    degrees : float
        Of the turn.
    """
    capacity = pull.capacity - degrees / _QUARTER_DEG * turn
    return replace(pull, capacity=capacity, sets=np.ones_like(pull.sets))


def turned_readings(draws: Draws, seabeds: Sequence[str], pulled: Sequence[PulledFrom]) -> xr.Dataset:
    """Return at which load every anchor is expected to let go after a turn, as read.

    Parameters
    ----------
    draws : Draws
        Of a fit whose log holds a veer.
    seabeds : sequence of str
        Labels.
    pulled : sequence of PulledFrom
        How the pulls in each are made.

    Returns
    -------
    Dataset, dims (anchor, seabed, turn, turn_level)
        ``turned_n`` [N]: the reading that stays unreached with the probability ``turn_level`` after a turn of
        ``turn`` [deg]; ``turned_least_n`` [N]: what the anchor's weight bears in any case, so that a reading
        up to it has the first level's probability; ``read_to_deg`` [deg]: how finely a turn is read.

    Raises
    ------
    KeyError
        When a label is not known, or the fit's log holds no veer.
    """
    members = [known_anchor(draws, label) for label in draws.labels("anchor")]
    straight = [
        new_pull(draws, members, known_seabed(draws, seabed), way.geometry)
        for seabed, way in zip(seabeds, pulled, strict=True)
    ]
    every = [_every_turn(draws, seabed, pull) for seabed, pull in zip(seabeds, straight, strict=True)]
    places = _level_places(len(level_probabilities()) // 2)
    shape = len(TURNS_DEG), len(members), len(places)
    levels = [each.reshape(shape) for each in levels_of_each(every, pulled, _LOADS, places)]
    least = [as_read_n(pull.floor_n, way) for pull, way in zip(straight, pulled, strict=True)]
    return xr.Dataset(
        {
            "turned_n": (
                ("seabed", "turn", "anchor", "turn_level"),
                np.stack(levels),
                about("N", "reading after a turn that stays unreached with a chance"),
            ),
            "turned_least_n": (
                ("seabed", "anchor"),
                np.stack(least),
                about("N", "reading that every anchor's weight bears"),
            ),
            "read_to_deg": ((), READ_TO_DEG, about("deg", "how finely a turn is read")),
        },
        {
            "anchor": draws.labels("anchor"),
            "seabed": list(seabeds),
            "turn": list(TURNS_DEG),
            "turn_level": level_probabilities()[places],
        },
    ).transpose("anchor", "seabed", "turn", "turn_level")


def _level_places(middle: int) -> list[int]:
    return [*_LOWER_LEVELS, middle, *(2 * middle - place for place in reversed(_LOWER_LEVELS))]


def _every_turn(draws: Draws, seabed: str, straight: NewPull) -> NewPull:
    """Return what every anchor still bears after each turn, turn by turn."""
    # Only of the draws that count, since there are several turns of all anchors.
    which = draws_of_levels(draws.samples)
    # A table of few levels bends round no corner, so the least reading stands beside it.
    open_below = replace(straight.of_draws(which), floor_n=np.zeros_like(straight.floor_n))
    turn = draws["turn"][which, :, draws.place("seabed", seabed)].T
    return _beside_each_other([turned(open_below, turn, degrees) for degrees in TURNS_DEG])


def _beside_each_other(pulls: Sequence[NewPull]) -> NewPull:
    """Return pulls of one rode as one: how it leads is then found once."""
    return replace(
        pulls[0],
        capacity=np.concatenate([pull.capacity for pull in pulls]),
        sets=np.concatenate([pull.sets for pull in pulls]),
        sliding=np.concatenate([pull.sliding for pull in pulls]),
        floor_n=np.concatenate([pull.floor_n for pull in pulls]),
    )
