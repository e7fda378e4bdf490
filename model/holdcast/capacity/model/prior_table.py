"""The rows of the table of priors: name, distribution, parameters, dims, unit, reason, source.

An effect on log capacity of 0.1 is about 10%; a log-normal prior is given by its median and the sd of its
log.
"""

from math import log

from holdcast.capacity.model.setting_priors import SETTING_ROWS
from holdcast.physics.ground.rate import RATE_PER_DECADE_PRIOR
from holdcast.physics.rode.uplift import STRENGTH_OF_FALL_90, STRENGTH_OF_FALL_MEDIAN

__all__ = ["ROWS", "Row"]

Row = tuple[str, str, tuple[float, ...], str, str, str, str]

_NO_SOURCE = "common practice, no source"
_CHOICE = "a choice, no source"
_NINETY = 2.0 * 1.6449
_FALL_LOG_SD = log(STRENGTH_OF_FALL_90[1] / STRENGTH_OF_FALL_90[0]) / _NINETY

_MODEL_ROWS: tuple[Row, ...] = (
    (
        "ground_typical",
        "normal",
        (log(1500.0), 0.7),
        "",
        "log N",
        "a 10 kg anchor in ground of 40 kPa holds 470 to 4,700 N, 90% (efficiency 5 to 48)",
        f"holding efficiencies of about 1 to 150 over all ground: {_NO_SOURCE}",
    ),
    (
        "ground_soil",
        "normal",
        (0.0, 0.3),
        "soil",
        "1",
        "soils of one strength differ by a third either way",
        _CHOICE,
    ),
    (
        "ground_strength_slope",
        "normal",
        (0.5, 0.3),
        "",
        "1",
        "capacity goes with strength at one depth, but an anchor digs less deep in strong ground",
        "bounds 0 and 1 from bearing capacity (identity); middle a choice",
    ),
    (
        "ground_spread",
        "log-normal",
        (0.35, 0.5),
        "",
        "1",
        "two seabeds of one class differ by a third; seven seabeds tell little of it",
        _CHOICE,
    ),
    (
        "size_exponent",
        "normal",
        (0.86, 0.08),
        "",
        "1",
        "theory 2/3 to 1; published 0.92 to 0.94 in mud, 0.80 to 0.94 in sand",
        "UFC 4-159-03 (2005) tables 5-3 and 5-4, value from memory",
    ),
    (
        "size_exponent_deviation",
        "normal",
        (0.0, 0.05),
        "seabed",
        "1",
        "published exponents differ by about 0.1 between soft and hard ground",
        "same, value from memory",
    ),
    (
        "area_exponent",
        "normal",
        (0.7, 0.25),
        "",
        "1",
        "bearing capacity goes with area; a larger fluke on one mass is thinner and digs less deep",
        "1 by Nc su A (identity); less by choice",
    ),
    (
        "resistance_typical",
        "normal",
        (log(0.5), 0.7),
        "",
        "log kg",
        "the tip of a 10 kg anchor breaks into ground of 40 kPa with 0.16 to 1.6 kg on it, 90%",
        _CHOICE,
    ),
    (
        "resistance_strength_slope",
        "normal",
        (1.0, 0.3),
        "",
        "1",
        "a tip's bearing resistance is proportional to strength",
        "bearing capacity (identity); spread a choice",
    ),
    (
        "resistance_soil",
        "normal",
        (0.0, 0.4),
        "soil",
        "1",
        "grains as coarse as the tip stop it beyond what strength says",
        _NO_SOURCE,
    ),
    (
        "cover_resistance",
        "normal",
        (0.4, 0.5),
        "cover",
        "1",
        "what lies on top is broken through first: a mat of roots over soft clay doubles what a tip meets, "
        "over firm ground it adds little; stones wider than the tip more",
        "two layers after Meyerhof & Hanna 1978 (value from memory); spread a choice",
    ),
    ("resistance_deviation", "normal", (0.0, 0.4), "seabed", "1", "a seabed's own resistance", _CHOICE),
    (
        "penetration_steepness",
        "log-normal",
        (1.5, 0.3),
        "",
        "1",
        "an anchor that cannot break in loses more than in proportion to its tip load",
        _CHOICE,
    ),
    (
        "tip_growth",
        "beta",
        (0.0, 2.0 / 3.0, 2.0, 2.0),
        "",
        "1",
        "a tip's section grows with mass to a power from 0 (same edge) to 2/3 (same shape)",
        "geometric similarity (identity)",
    ),
    (
        "form_spread",
        "log-normal",
        (0.3, 0.5),
        "",
        "1",
        "forms differ by a third, all ground together",
        _NO_SOURCE,
    ),
    (
        "form_seabed_spread",
        "log-normal",
        (0.2, 0.5),
        "",
        "1",
        "a form suits one ground better than another",
        _NO_SOURCE,
    ),
    (
        "feature_typical",
        "normal",
        (0.0, 0.25),
        "feature",
        "1",
        "a feature changes capacity by a quarter at most, as a rule, over all ground",
        _CHOICE,
    ),
    (
        "feature_seabed_spread",
        "log-normal",
        (0.15, 0.5),
        "",
        "1",
        "a feature may matter in one seabed and not in the next",
        _NO_SOURCE,
    ),
    (
        "fluke_angle_deviation",
        "normal",
        (0.0, 0.25),
        "angle_ground",
        "1",
        "what a fluke 15 degrees steeper does beyond what is expected (docs/formulas.md), by kind of ground",
        _CHOICE,
    ),
    (
        "design_spread",
        "log-normal",
        (0.45, 0.5),
        "",
        "1",
        "designs of one form, mass, area and tip load still differ by a third to a half in one seabed, and "
        "may change places in another",
        "efficiencies in one seabed run from about 4 to 60 over designs of one size class: "
        + _NO_SOURCE
        + "; spread and shares judged on invented logs (docs/two_grounds.md)",
    ),
    (
        "design_share",
        "dirichlet",
        (1.0, 1.0, 2.0, 0.5, 0.5, 1.0),
        "part",
        "1",
        "shares of it: the same in all seabeds, alike in like ones, one seabed's own; a configuration's, in "
        "all seabeds and by seabed; what hidden traits do",
        _CHOICE,
    ),
    (
        "visit_spread",
        "log-normal",
        (0.18, 0.5),
        "",
        "1",
        "spot, tide and rigging of one visit move all its pulls together",
        _NO_SOURCE,
    ),
    (
        "pull_scatter_typical",
        "log-normal",
        (0.25, 0.4),
        "",
        "1",
        "runs in soft mud scatter by half or more: the middle 90% of a visit's pulls span a factor of 2.9",
        "a test report, read",
    ),
    (
        "pull_scatter_deviation",
        "normal",
        (0.0, 0.25),
        "seabed",
        "1",
        "log of a seabed's scatter over the typical",
        _CHOICE,
    ),
    (
        "strength_of_fall",
        "log-normal",
        (STRENGTH_OF_FALL_MEDIAN, _FALL_LOG_SD),
        "",
        "1",
        "capacity left at an uplift of 15 degrees: 30 to 78%, 90%",
        "printed scope tables, which disagree: see docs/formulas.md",
    ),
)

_RATE_ROWS: tuple[Row, ...] = tuple(
    (
        f"rate_per_decade_{soil}",
        "log-normal",
        (median, log(high / low) / _NINETY),
        "",
        "1",
        f"gain per tenfold drag speed in {soil}, as a share of the load at 1 mm/s",
        "published rate effects and their marks: docs/formulas.md",
    )
    for soil, (median, (low, high)) in RATE_PER_DECADE_PRIOR.items()
)

ROWS: tuple[Row, ...] = (*_MODEL_ROWS, *SETTING_ROWS, *_RATE_ROWS)
