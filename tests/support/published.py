"""Every published row that the program carries or is checked against, typed here once more with its source.

A mark says how a number came here: *read* in the source named, *value from memory*, *computed* from others
or *choice* (ours).  Rows of `TABLES` stand beside the files in ``data/tables``, which are not read here.
"""

from dataclasses import dataclass

READ, MEMORY, COMPUTED, CHOICE = "read", "value from memory", "computed", "choice"


@dataclass(frozen=True)
class Published:
    """Columns of a table, its rows, and for each row or for all of them a mark."""

    source: str
    columns: tuple[str, ...]
    rows: tuple[tuple[object, ...], ...]
    marks: tuple[str, ...]


WIND_LOADS = Published(
    "ABYC H-40, a chandlery's reprint; lbf by length overall in ft; 60 kn: retailers' extension",
    ("length_ft", "kn_15", "kn_30", "kn_42", "kn_60"),
    (
        (10, 40, 160, 320, 640),
        (15, 60, 250, 500, 1000),
        (20, 90, 360, 720, 1440),
        (25, 125, 490, 980, 1960),
        (30, 175, 700, 1400, 2800),
        (35, 225, 900, 1800, 3600),
        (40, 300, 1200, 2400, 4800),
        (50, 400, 1600, 3200, 6400),
        (60, 500, 2000, 4000, 8000),
        (70, 675, 2700, 5400, 10800),
    ),
    (MEMORY, MEMORY, *[READ] * 8),
)

CHAIN_METRIC = Published(
    "a chain supplier's table, DIN 766 / ISO 4565; inside of a link: 1.2 bars (memory), outer width less 2",
    (
        "size_mm",
        "standard",
        "kg_per_m",
        "breaking_30_kn",
        "breaking_40_kn",
        "inside_least_mm",
        "inside_most_mm",
    ),
    (
        (6, "DIN and ISO", 0.80, 18, 20, 7.2, 21.6 - 12),
        (7, "DIN", 1.15, 25, 30, 8.4, 23.8 - 14),
        (8, "DIN and ISO", 1.40, 32, 40, 9.6, 28.8 - 16),
        (10, "ISO", 2.25, 50, 63, 12.0, 36 - 20),
        (10, "DIN", 2.20, "", 63, 12.0, 36 - 20),
        (12, "ISO", 3.25, 71, "", 14.4, 43.2 - 24),
        (13, "DIN", 3.90, 80, "", 15.6, 47 - 26),
        (14, "DIN", 4.25, 100, 121, 16.8, 50 - 28),
    ),
    (READ,),
)

CHAIN_US = Published(
    "a chain supplier's chart, NACM 2003 / ASTM A413: working loads in lbf; inside widths from memory",
    ("size_in", "working_30_lbf", "working_43_lbf", "working_70_lbf", "inside_in"),
    (
        ("1/4", 1300, 2600, 3150, 0.40),
        ("5/16", 1900, 3900, 4700, 0.50),
        ("3/8", 2650, 5400, 6600, 0.58),
        ("7/16", 3700, 7200, 8750, 0.67),
        ("1/2", 4500, 9200, 11300, 0.76),
    ),
    (READ,),
)

SHACKLES = Published(
    "forged carbon, grade A, lbf: 3/8 in a sailing magazine; 1/2 and up from ultimates in a city utility's "
    "standard over the design factor of 5; others RR-C-271; pins a sixteenth, above 7/16 an eighth thicker",
    ("size_in", "working_lbf", "pin_in", "mark"),
    (
        ("1/4", 1000, "5/16", MEMORY),
        ("5/16", 1500, "3/8", MEMORY),
        ("3/8", 2000, "7/16", READ),
        ("7/16", 3000, "1/2", MEMORY),
        ("1/2", 20_000 / 5, "5/8", READ),
        ("5/8", 32_500 / 5, "3/4", READ),
        ("3/4", 47_500 / 5, "7/8", READ),
    ),
    (MEMORY, MEMORY, READ, MEMORY, READ, READ, READ),
)

# Limits in kPa; an open end is closed by a choice: a quarter of the upper limit, twice the lower one.
_ISO = (("extremely_low", 10 / 4, 10), ("very_low", 10, 20), ("low", 20, 40), ("medium", 40, 75),
        ("high", 75, 150), ("very_high", 150, 300), ("extremely_high", 300, 600))  # fmt: skip
_BRITISH = (("very_soft", 20 / 4, 20), ("soft", 20, 40), ("firm", 40, 75), ("stiff", 75, 150),
            ("very_stiff", 150, 300))  # fmt: skip
_AMERICAN = (("very_soft", 12.5 / 4, 12.5), ("soft", 12.5, 25), ("medium", 25, 50), ("firm", 25, 50),
             ("stiff", 50, 100), ("very_stiff", 100, 200), ("hard", 200, 400))  # fmt: skip
# Relative density in %, friction angle in deg: EM 1110-2-2504 table 3-1 after Teng 1962 (read); ends 25 and
# 45 deg chosen.
_DENSITIES = (("very_loose", 0, 15, 25, 28), ("loose", 15, 35, 28, 30), ("medium_dense", 35, 65, 31, 36),
              ("dense", 65, 85, 37, 41), ("very_dense", 85, 100, 41, 45))  # fmt: skip


def _closed(place: int, rows: tuple[tuple[object, ...], ...], least_open: bool = True) -> str:
    ends = {0, len(rows) - 1} if least_open else {0}
    return "yes" if place in ends else "no"


def _soil_rows() -> tuple[tuple[object, ...], ...]:
    schemes = {"iso_14688_2": _ISO, "bs_5930": _BRITISH, "terzaghi_peck": _AMERICAN}
    cohesive = [
        (scheme, "cohesive", *row, "", "", _closed(place, rows))
        for scheme, rows in schemes.items()
        for place, row in enumerate(rows)
    ]
    granular = [
        (scheme, "granular", *row, _closed(place, _DENSITIES))
        for scheme in schemes
        for place, row in enumerate(_DENSITIES)
    ]
    return (*cohesive, *granular)


SOIL_CLASSES = Published(
    "EN ISO 14688-2 (limits from memory), BS 5930, Terzaghi & Peck and EM 1110-2-2504 table 3-1 (read)",
    ("scheme", "group", "class", "low", "high", "angle_low_deg", "angle_high_deg", "closed"),
    _soil_rows(),
    (*[MEMORY] * 7, *[READ] * 12, *[READ] * 15),
)

TABLES = {
    "wind_loads": WIND_LOADS,
    "chain_metric": CHAIN_METRIC,
    "chain_us": CHAIN_US,
    "shackles": SHACKLES,
    "soil_classes": SOIL_CLASSES,
}

# Drag-anchor power law H = H_R (W / 10 000 lbf)^b: UFC 4-159-03 (2005) eq. 26 (read), tables 5-3 and 5-4
# (values from memory).  Row: soft H_R in kips, soft b, hard H_R in kips, hard b.
DRAG_ANCHOR_LAW = {
    "lightweight twin-fluke, stock at the crown": (87, 0.92, 126, 0.80),
    "lightweight twin-fluke": (87, 0.92, 126, 0.80),
    "high-efficiency twin-fluke": (210, 0.94, 270, 0.94),
    "stockless, fixed flukes": (46, 0.92, 70, 0.80),
    "stockless, movable flukes": (24, 0.92, 70, 0.80),
}

# Share of the holding along the bottom that is left at an uplift angle in deg; the tables disagree.
UPLIFT = {
    # An anchor maker's scope table (read, unsourced there); angles asin(1 / scope), computed.
    "maker": ((30.000, 0.10), (19.471, 0.40), (14.478, 0.55), (9.594, 0.70), (7.181, 0.80), (5.739, 0.85),
              (2.866, 0.89)),
    # Ship-handling texts (value from memory).
    "ship handling": ((5.0, 0.75), (15.0, 0.50)),
    # A widely reprinted small-craft table by scope (value from memory); angles computed.
    "small craft": ((5.739, 1.00), (8.213, 0.91), (11.537, 0.77), (14.478, 0.67), (19.471, 0.53),
                    (30.000, 0.35)),
}  # fmt: skip

# Beaufort scale in whole knots: least and most of each force, WMO, meteorological tables (read).
BEAUFORT_KNOTS = ((0, 1), (1, 3), (4, 6), (7, 10), (11, 16), (17, 21), (22, 27), (28, 33), (34, 40), (41, 47),
                  (48, 55), (56, 63), (64, 120))  # fmt: skip
