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
    loads = pd.DataFrame(
        {"lower_n": tests["held_n"], "upper_n": tests["released_n"]}, index=tests.index, dtype=float
    )
    for column in ("fall_lower", "fall_upper", "fall_slope"):
        loads[column] = 0.0
    geometry = rode_geometry(campaign, tests)
    loads["rode_known"] = geometry["known"]
    if loads["rode_known"].any():
        _turn(loads, tests, geometry)
    loads["speed"] = tests["speed_mps"].fillna(0.0)
    loads["speed_known"] = tests["speed_mps"].notna()
    return loads


def _turn(loads: pd.DataFrame, pulls: pd.DataFrame, geometry: pd.DataFrame) -> None:
    rows_with_rode = loads.index[loads["rode_known"]]
    rows = geometry.loc[rows_with_rode]
    rode = make_rode(
        rows["depth_m"],
        rows["length_m"],
        rows["chain_kg_per_m"],
        rows["chain_length_m"],
        bow_height_m=rows["bow_m"],
    )
    slippery = replace(rode, friction=np.zeros_like(rode.friction))
    at_anchor = (pulls.loc[rows_with_rode, "load_at"] == "anchor").to_numpy()
    for end in ("lower", "upper"):
        reading_n = loads.loc[rows_with_rode, f"{end}_n"].to_numpy()
        at_anchor_n = np.where(at_anchor, reading_n, load_at_anchor(reading_n, rode, below_weight="zero"))
        if end == "upper":
            without_friction_n = np.where(
                at_anchor, reading_n, load_at_anchor(reading_n, slippery, below_weight="zero")
            )
            enough_arrives = at_anchor_n >= (1.0 - MOST_LOST_TO_FRICTION) * without_friction_n
            at_anchor_n = np.maximum(np.where(enough_arrives, at_anchor_n, without_friction_n), LEAST_LOAD_N)
        loads.loc[rows_with_rode, f"{end}_n"] = at_anchor_n
        loads.loc[rows_with_rode, f"fall_{end}"] = fall_shape(uplift_angle_deg(at_anchor_n, rode))
    upper = loads.loc[rows_with_rode, "upper_n"].to_numpy()
    finite = np.where(np.isinf(upper), LEAST_LOAD_N, upper)
    # Only exact rows use the slope, so an open end may hold any number.
    loads.loc[rows_with_rode, "fall_slope"] = np.where(
        np.isinf(upper), 0.0, fall_shape_log_slope(finite, rode)
    )
