"""Which tests that the class rule prescribes a campaign has, and which it still lacks."""

import numpy as np
import pandas as pd
import xarray as xr

from holdcast.answers.classtest.classtest import bottom_of_seabeds, stockless_designs
from holdcast.answers.draws.draws import draws_of
from holdcast.answers.draws.provenance import about
from holdcast.answers.draws.rode import boat_bow_height_m
from holdcast.capacity import Fit
from holdcast.physics.tackle.class_comparison import HOLDING_RATIO, ClassTest, requirements

__all__ = ["class_requirements"]


def class_requirements(fit: Fit) -> xr.Dataset:
    """Return what the rule asks of each design's tests, what the campaign has, and whether that is enough.

    Returns
    -------
    Dataset, dims (design, kind, requirement)
        ``asked`` (kind, requirement), ``found`` (design, kind, requirement): plain words; ``met`` (design,
        kind, requirement): true where the campaign has it.  Stockless designs are what others are compared
        with, so they have no row.

    Notes
    -----
    Only pulls that the fit used count.  A pull's scope is the one noted, else its rode's length over depth
    and bow height; an anchor whose pulls do not all tell their scope counts as not noted.
    """
    pulls = _counted_pulls(fit)
    ordinary = stockless_designs(fit)
    anchors = fit.tree["anchors"].to_dataset().to_dataframe()
    designs = [str(name) for name in anchors["design"].drop_duplicates() if name not in ordinary]
    reference = _tests(pulls[pulls["design"].isin(ordinary)])
    rows = {
        (design, kind): requirements(kind, _tests(pulls[pulls["design"] == design]), reference)
        for design in designs
        for kind in HOLDING_RATIO
    }
    kinds = list(HOLDING_RATIO)
    rule = [[row.asked for row in requirements(kind, (), ())] for kind in kinds]
    shape = (len(designs), len(kinds), len(rule[0]))
    flat = [row for design in designs for kind in kinds for row in rows[design, kind]]
    dims = ("design", "kind", "requirement")
    return xr.Dataset(
        {
            "asked": (dims[1:], np.array(rule, dtype=str), about("1", "what the rule asks for")),
            "found": (
                dims,
                np.array([row.found for row in flat], dtype=str).reshape(shape),
                about("1", "has"),
            ),
            "met": (
                dims,
                np.array([row.met for row in flat], dtype=bool).reshape(shape),
                about("1", "enough"),
            ),
        },
        coords={"design": designs, "kind": kinds},
    )


def _counted_pulls(fit: Fit) -> pd.DataFrame:
    """Return the pulls of the fit on bottoms of the rule, with design, mass_kg, bottom and scope."""
    draws = draws_of(fit)
    bottom = dict(zip(draws.labels("seabed"), bottom_of_seabeds(draws), strict=True))
    pulls = draws.used_pulls
    bow = pulls["bow_height_m"].fillna(boat_bow_height_m(fit))
    counted = pulls[["anchor"]].assign(
        bottom=pulls["seabed"].map(bottom),
        scope=pulls["scope"].fillna(pulls["rode_length_m"] / (pulls["depth_m"] + bow)),
        **{name: pulls["anchor"].map(draws.anchors[name]) for name in ("design", "mass_kg")},
    )
    return counted[counted["bottom"] != ""]


def _tests(pulls: pd.DataFrame) -> list[ClassTest]:
    return [
        ClassTest(
            str(anchor),
            float(group["mass_kg"].iloc[0]),
            str(bottom),
            len(group),
            float(group["scope"].min(skipna=False)),
        )
        for (anchor, bottom), group in pulls.groupby(["anchor", "bottom"], sort=False)
    ]
