"""Resets, veers, and the spots that all tests share, as labelled arrays."""

from collections.abc import Sequence

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import NDArray

from holdcast.campaign.records import Campaign
from holdcast.capacity.inputs.labels import positions
from holdcast.capacity.inputs.loads import LEAST_LOAD_N, loads_at_anchor, used_tests
from holdcast.capacity.likelihood.kinds import ABOVE, BETWEEN, DID_NOT_SET, EXACT, NOT_SAID, SET
from holdcast.physics.units import GRAVITY

__all__ = ["READ_TO_DEG", "reset_inputs", "setting_of", "spot_inputs", "spots_of", "veer_inputs", "visits_of"]

READ_TO_DEG = 15.0
"""How finely the angle of a veer is read [deg]: one that let go at an angle may have done so up to this much
later (a compass or an eye on a boat that swings; common practice, no source)."""
_QUARTER_DEG, _HALF_DEG = 90.0, 180.0


def visits_of(tests: pd.DataFrame) -> pd.Series:
    """Return the label of each test's visit: one seabed, one day."""
    return tests["seabed"].astype(str) + " / " + tests["visit"].astype(str)


def spots_of(tests: pd.DataFrame) -> pd.Series:
    """Return the label of each test's spot: one anchor on one visit."""
    return tests["anchor"].astype(str) + " / " + visits_of(tests)


def setting_of(pulls: pd.DataFrame) -> NDArray[np.int64]:
    """Return whether each pull's anchor set, shape (pull,).

    An anchor that held until the boat, the gear or the clock stopped the pull has set, whether it was written
    down or not.
    """
    written = pulls["set"].to_numpy(dtype=str)
    stopped = np.isinf(pulls["released_n"].to_numpy(dtype=float)) & (
        pulls["held_n"].to_numpy() >= LEAST_LOAD_N
    )
    return np.select([written == "no", (written == "yes") | stopped], [DID_NOT_SET, SET], NOT_SAID)


def spot_inputs(campaign: Campaign, visits: Sequence[str], spot_of_pull: Sequence[str]) -> xr.Dataset:
    """Return where each spot is and which pulls were made there.

    Parameters
    ----------
    campaign : Campaign
    visits : sequence of str
        Labels of all visits.
    spot_of_pull : sequence of str
        Label of each pull's spot, shape (trial,).

    Returns
    -------
    Dataset, dims (spot, trial, anchor, seabed)
        ``spot_anchor``, ``spot_seabed``, ``spot_visit``: positions; ``spot_first`` and ``spot_pulls``: where
        a spot's pulls begin in ``pull_order`` (trial) and how many they are; ``log_weight`` (anchor): log of
        the anchor's weight in air [log N].
    """
    tests = used_tests(campaign)
    labels = spots_of(tests)
    first_of = tests.groupby(labels.to_numpy(), sort=False).head(1)
    spots = list(spots_of(first_of))
    number = np.bincount(positions(list(spot_of_pull), spots, "spot"), minlength=len(spots))
    order = np.argsort(positions(list(spot_of_pull), spots, "spot"), kind="stable")
    mass = campaign.anchors["mass_kg"].to_numpy(dtype=float)
    return xr.Dataset(
        {
            "spot_anchor": ("spot", positions(first_of["anchor"], list(campaign.anchors.index), "anchor")),
            "spot_seabed": ("spot", positions(first_of["seabed"], list(campaign.seabeds.index), "seabed")),
            "spot_visit": ("spot", positions(visits_of(first_of), list(visits), "visit")),
            "spot_first": ("spot", np.concatenate([[0], np.cumsum(number)])[:-1].astype(np.int64)),
            "spot_pulls": ("spot", number.astype(np.int64)),
            "pull_order": ("trial", order.astype(np.int64)),
            "log_weight": ("anchor", np.log(mass * GRAVITY)),
        },
        coords={"spot": spots},
    )


def _places(tests: pd.DataFrame, inputs: xr.Dataset, kind: str) -> dict[str, tuple[str, NDArray[np.int64]]]:
    """Return positions of spot, anchor, seabed and visit of each test; names begin with its kind."""
    labels = {
        "spot": spots_of(tests),
        "anchor": tests["anchor"],
        "seabed": tests["seabed"],
        "visit": visits_of(tests),
    }
    return {
        f"{kind}_{dim}": (kind, positions(list(column), list(inputs[dim].to_numpy()), dim))
        for dim, column in labels.items()
    }


def reset_inputs(campaign: Campaign, inputs: xr.Dataset) -> xr.Dataset:
    """Return the counts of each reset and the load by which an attempt was judged.

    Parameters
    ----------
    campaign : Campaign
    inputs : Dataset
        With the labels of spots, anchors, seabeds and visits.

    Returns
    -------
    Dataset, dim reset
        See :data:`holdcast.capacity.likelihood.reset_loop.RESET_COLUMNS`.
    """
    tests = used_tests(campaign, "reset")
    loads = loads_at_anchor(campaign, tests)
    held = loads["lower_n"].to_numpy(dtype=float)
    judged = held >= LEAST_LOAD_N
    return xr.Dataset(
        {
            **_places(tests, inputs, "reset"),
            "attempts": ("reset", tests["attempts"].to_numpy(dtype=np.int64)),
            "successes": ("reset", tests["successes"].to_numpy(dtype=np.int64)),
            "reset_judged": ("reset", judged.astype(np.int64)),
            "reset_held": ("reset", np.log(np.where(judged, held, LEAST_LOAD_N))),
            "reset_fall": ("reset", np.where(judged, loads["fall_lower"].to_numpy(dtype=float), 0.0)),
            "reversal": ("reset", tests["reversal_deg"].to_numpy(dtype=float) / _HALF_DEG),
        },
        coords={"reset": list(tests.index)},
    )


def veer_inputs(campaign: Campaign, inputs: xr.Dataset) -> xr.Dataset:
    """Return what each veer says of the load at which a straight pull would break out.

    Parameters
    ----------
    campaign : Campaign
    inputs : Dataset
        With the labels of spots, anchors, seabeds and visits.

    Returns
    -------
    Dataset, dim veer
        See :data:`holdcast.capacity.likelihood.veer_loop.VEER_COLUMNS`.

    Notes
    -----
    Held through the whole turn: above the load held, at the whole angle; and below the load at which it let
    go when it was pulled harder afterwards, at the whole angle too.  Let go on the way: above the load held
    at the angle reached, below it at the angle up to `READ_TO_DEG` further on, but not beyond the whole turn.
    A veer under no load tells nothing and is left out.
    """
    tests = used_tests(campaign, "veer")
    tests = tests[tests["held_n"] >= LEAST_LOAD_N]
    loads = loads_at_anchor(campaign, tests)
    whole = tests["veer_deg"].to_numpy(dtype=float)
    reached = tests["veer_held_deg"].to_numpy(dtype=float)
    let_go = reached < whole  # False where blank: it held all the way
    lower, after = loads["lower_n"].to_numpy(dtype=float), loads["upper_n"].to_numpy(dtype=float)
    upper = np.where(let_go, lower, after)
    open_above = np.isinf(upper)
    upper = np.where(open_above, lower, upper)
    kind = np.select([let_go, open_above, lower == upper], [BETWEEN, ABOVE, EXACT], BETWEEN)
    beyond = np.minimum(np.where(let_go, reached, whole) + READ_TO_DEG, whole)
    fall_lower, fall_after = (loads[f"fall_{end}"].to_numpy(dtype=float) for end in ("lower", "upper"))
    turned = {
        "turn_lower": np.where(let_go, reached, whole) / _QUARTER_DEG,
        "turn_upper": np.where(let_go, beyond, whole) / _QUARTER_DEG,
        "veer_lower": np.log(np.maximum(lower, LEAST_LOAD_N)),
        "veer_upper": np.log(np.maximum(upper, LEAST_LOAD_N)),
        "veer_fall_lower": fall_lower,
        "veer_fall_upper": np.where(let_go | open_above, fall_lower, fall_after),
        "veer_fall_slope": np.where(kind == EXACT, loads["fall_slope"].to_numpy(dtype=float), 0.0),
        "veer_speed": np.where(let_go, 0.0, loads["speed"].to_numpy(dtype=float)),
    }
    return xr.Dataset(
        {
            **_places(tests, inputs, "veer"),
            "veer_kind": ("veer", kind.astype(np.int64)),
            **{name: ("veer", values) for name, values in turned.items()},
        },
        coords={"veer": list(tests.index)},
    )
