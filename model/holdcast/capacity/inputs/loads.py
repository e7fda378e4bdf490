"""From readings to loads at the anchor, with the uplift angle and drag speed of each end of an interval."""

from dataclasses import replace

import numpy as np
import pandas as pd

from holdcast.campaign.records import Campaign, used_rows
from holdcast.campaign.rode_geometry import rode_geometry
from holdcast.physics.rode.loads import fall_shape_log_slope, load_at_anchor, uplift_angle_deg
from holdcast.physics.rode.make_up import make_rode
from holdcast.physics.rode.uplift import fall_shape

__all__ = ["LEAST_LOAD_N", "MOST_LOST_TO_FRICTION", "loads_at_anchor", "used_pulls", "used_tests"]

LEAST_LOAD_N = 1.0
"""A load below this counts as nothing [N]; far below what any load cell of this size reads (a choice)."""
MOST_LOST_TO_FRICTION = 0.5
"""Share of a load that friction on the bottom may take before it counts as unknown [1] (a choice): known
to a third at best, so that beyond this what is left may be several times as much, or nothing."""


def used_pulls(campaign: Campaign) -> pd.DataFrame:
    """Return the pulls of the log that count, in file order."""
    return used_tests(campaign, "pull")


def used_tests(campaign: Campaign, test: str | None = None) -> pd.DataFrame:
    """Return the rows of the log that count, in file order: of one kind of test, or all of them."""
    if test is not None:
        return used_rows(campaign.trials, test)
    return campaign.trials[campaign.trials["status"] == "used"]


def loads_at_anchor(campaign: Campaign, tests: pd.DataFrame | None = None) -> pd.DataFrame:
    """Return what each test says of the load at the anchor.

    Parameters
    ----------
    campaign : Campaign
        Tells of rodes and of the boat.
    tests : DataFrame, index trial, optional
        Rows of its log; the used pulls by default.

    Returns
    -------
    DataFrame, index trial
        ``lower_n``, ``upper_n``: ends of the load at the anchor [N] (0 and infinity where open);
        ``fall_lower``, ``fall_upper``: shape of the fall with uplift at each end [1], see
        :mod:`holdcast.physics.rode.uplift`; ``fall_slope``: its derivative by log load at the upper end [1];
        ``speed``: drag speed at the upper end [m/s], 0 at rest or not given; ``rode_known``, ``speed_known``:
        whether a correction could be made.

    Notes
    -----
    A pull whose depth, rode length or chain is not given counts as read, along the bottom.  Each end is
    turned at its own load, since a higher load lifts more of the rode.  Where friction on the bottom takes
    more than `MOST_LOST_TO_FRICTION`, the upper end is the load without friction: no more can have arrived.
    """
    tests = used_pulls(campaign) if tests is None else tests
    made = pd.DataFrame(
        {"lower_n": tests["held_n"], "upper_n": tests["released_n"]}, index=tests.index, dtype=float
    )
    for column in ("fall_lower", "fall_upper", "fall_slope"):
        made[column] = 0.0
    geometry = rode_geometry(campaign, tests)
    made["rode_known"] = geometry["known"]
    if made["rode_known"].any():
        _turn(made, tests, geometry)
    made["speed"] = tests["speed_mps"].fillna(0.0)
    made["speed_known"] = tests["speed_mps"].notna()
    return made


def _turn(made: pd.DataFrame, pulls: pd.DataFrame, geometry: pd.DataFrame) -> None:
    known = made.index[made["rode_known"]]
    rows = geometry.loc[known]
    rode = make_rode(
        rows["depth_m"],
        rows["length_m"],
        rows["chain_kg_per_m"],
        rows["chain_length_m"],
        bow_height_m=rows["bow_m"],
    )
    slippery = replace(rode, friction=np.zeros_like(rode.friction))
    at_anchor = (pulls.loc[known, "load_at"] == "anchor").to_numpy()
    for end in ("lower", "upper"):
        read = made.loc[known, f"{end}_n"].to_numpy()
        moved = np.where(at_anchor, read, load_at_anchor(read, rode, below_weight="zero"))
        if end == "upper":
            most = np.where(at_anchor, read, load_at_anchor(read, slippery, below_weight="zero"))
            told = moved >= (1.0 - MOST_LOST_TO_FRICTION) * most
            moved = np.maximum(np.where(told, moved, most), LEAST_LOAD_N)
        made.loc[known, f"{end}_n"] = moved
        made.loc[known, f"fall_{end}"] = fall_shape(uplift_angle_deg(moved, rode))
    upper = made.loc[known, "upper_n"].to_numpy()
    finite = np.where(np.isinf(upper), LEAST_LOAD_N, upper)
    # Only exact rows use the slope, so an open end may hold any number.
    made.loc[known, "fall_slope"] = np.where(np.isinf(upper), 0.0, fall_shape_log_slope(finite, rode))
