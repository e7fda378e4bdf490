"""The invented test days: which anchors were pulled where and when, and what the testers wrote down."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from demo_rode import RODES, Geometry, bow_load_at_break_out
from demo_world import ANCHORS, SEABEDS, Anchor, Seabed, tip_entry

Row = dict[str, str]

BOW_HEIGHT_M = 1.2
# Loads at which the crew stops to hold, in N, as read at the bow.
STEPS_N = (
    250, 350, 450, 600, 750, 900, 1100, 1300, 1500, 1750, 2000, 2300, 2600,
    3000, 3400, 3800, 4200, 4700, 5200, 5800, 6400,
)  # fmt: skip
# Configurations and sizes worth comparing on the same day are pulled on the same day.
GROUPS = (
    ("A-06", "A-16"), ("B-10", "B-10-bar"), ("C-11", "C-11-bar"), ("D-10",), ("E-09", "E-09-tip"), ("E-15",),
    ("F-10", "F-10-tip"), ("G-08", "G-08-palms"), ("H-05",), ("I-12",), ("J-08",), ("K-12", "K-12-edge"),
    ("L-14",),
)  # fmt: skip
SET_WRITTEN_FROM = "2025"
REFERENCE_ANCHOR = "A-10"  # pulled on every visit
# How many of the groups each seabed saw: a far beach costs a day.
GROUPS_TESTED = {
    "inner basin mud": 11, "creek silt": 7, "weedy shelf clay": 7, "shell patch": 6, "north bar sand": 11,
    "outer beach sand": 7, "stony spit": 6,
}  # fmt: skip
FOULED = (
    ("fouled: a ball of weed on the fluke", 0.45),
    ("fouled: chain round the shank", 0.35),
    ("fouled: hooked an old mooring chain", 1.8),
    ("load cell not zeroed before the pull", 1.0),
)


@dataclass(frozen=True)
class Visit:
    """One visit to one seabed; the label is blank where the date says it all."""

    date: str
    seabed: str
    label: str = ""
    rode: int = 0
    scope: float = 5.0
    depth_m: float = 4.0
    boat_limit_n: float = 4600.0
    instrument: str = "cell 1"
    geometry_written: bool = True


VISITS = (
    Visit("2024-04-13", "inner basin mud", scope=7.0, depth_m=2.8),
    Visit("2024-04-28", "north bar sand", rode=1, depth_m=3.5, boat_limit_n=5600.0),
    Visit("2024-05-18", "creek silt", scope=6.0, depth_m=2.4),
    Visit("2024-06-09", "weedy shelf clay", scope=5.0, depth_m=4.1),
    Visit("2024-06-23", "north bar sand", scope=8.0, depth_m=3.1, boat_limit_n=4400.0),
    Visit("2024-07-14", "outer beach sand", rode=1, depth_m=5.2, boat_limit_n=5600.0),
    Visit("2024-08-04", "stony spit", scope=4.5, depth_m=4.6),
    Visit("2024-09-07", "shell patch", scope=5.0, depth_m=3.9, instrument="cell 2"),
    Visit(
        "2024-09-22", "inner basin mud", scope=5.0, depth_m=3.0, instrument="cell 2", geometry_written=False
    ),
    Visit("2025-04-06", "inner basin mud", rode=2, scope=4.0, depth_m=3.2, instrument="cell 2"),
    Visit("2025-05-11", "creek silt", rode=1, scope=5.0, depth_m=2.6, instrument="cell 2"),
    Visit("2025-06-01", "north bar sand", "east end", scope=5.0, depth_m=3.3, instrument="cell 2"),
    Visit("2025-06-01", "north bar sand", "west end", scope=3.5, depth_m=4.4, instrument="cell 2"),
    Visit("2025-07-05", "weedy shelf clay", rode=2, scope=6.0, depth_m=3.8, instrument="cell 2"),
    Visit("2025-07-27", "outer beach sand", rode=0, scope=7.0, depth_m=4.0, instrument="cell 2"),
    Visit("2025-08-17", "stony spit", scope=5.0, depth_m=4.2, boat_limit_n=3600.0, instrument="cell 2"),
)


def find_anchor(name: str) -> Anchor:
    """Return the anchor of this name."""
    return next(anchor for anchor in ANCHORS if anchor.name == name)


def find_seabed(name: str) -> Seabed:
    """Return the seabed of this name."""
    return next(seabed for seabed in SEABEDS if seabed.name == name)


def geometry(visit: Visit) -> Geometry:
    """Rode paid out on a visit."""
    return Geometry(RODES[visit.rode], visit.depth_m + BOW_HEIGHT_M, visit.scope)


def read_cell(load_n: float) -> int:
    """Round a load to what the load cell shows, steps of 10 N."""
    return round(load_n / 10.0) * 10


def plan(generator: np.random.Generator) -> list[tuple[Visit, str, int]]:
    """Share the groups out over the visits: (visit, anchor, pulls) in the order they were pulled."""
    planned: list[tuple[Visit, str, int]] = []
    for seabed in SEABEDS:
        visits = [visit for visit in VISITS if visit.seabed == seabed.name]
        groups = generator.permutation(len(GROUPS))[: GROUPS_TESTED[seabed.name]]
        planned += [(visit, REFERENCE_ANCHOR, 2 if len(visits) < 3 else 1) for visit in visits]
        for place, number in enumerate(groups):
            first = place % len(visits)
            pulls = int(generator.integers(2, 4))
            planned += [(visits[first], name, pulls) for name in GROUPS[number]]
            if generator.random() < 0.35 and len(visits) > 1:
                again = visits[(first + 1) % len(visits)]
                planned += [(again, name, 2) for name in GROUPS[number]]
    return sorted(planned, key=lambda item: (VISITS.index(item[0]), item[1]))


def chance_to_skate(anchor: Anchor, seabed: Seabed) -> float:
    """Chance that a straight pull never digs in: only where the tip hardly enters."""
    return 0.12 * (1.0 - tip_entry(anchor, seabed))


def break_out_load(
    generator: np.random.Generator, anchor: Anchor, capacity_n: float, visit: Visit, visit_effect: float
) -> tuple[float, bool]:
    """Bow load (N) at which one pull lets go, log-t about the level of the visit; and whether it dug in."""
    seabed = find_seabed(visit.seabed)
    scatter = seabed.scatter * generator.standard_t(5)
    skated = bool(generator.random() < chance_to_skate(anchor, seabed))
    level = visit_effect + scatter - (1.8 if skated else 0.0)
    return bow_load_at_break_out(capacity_n * float(np.exp(level)), geometry(visit)), not skated


def set_column(visit: Visit, dug_in: bool, outcome: Row) -> Row:
    """Say whether it set, as the group wrote it from its second year on; a slide that held is left open."""
    if visit.date < SET_WRITTEN_FROM or (not dug_in and outcome["held_n"]):
        return {}
    if dug_in and not outcome["held_n"]:
        return {}
    return {"set": "yes" if dug_in else "no"}


def raise_load(generator: np.random.Generator, break_out_n: float, visit: Visit) -> Row:
    """Raise the load in steps until the anchor moves or the boat can no more; write down what was read."""
    if break_out_n > visit.boat_limit_n:
        held = read_cell(visit.boat_limit_n * generator.uniform(0.96, 1.0))
        return {"held_n": str(held), "released_n": "", "stopped_by": "boat_limit"}
    if generator.random() < 0.10:  # the cell kept the peak: known exactly
        peak = str(read_cell(break_out_n))
        return {"held_n": peak, "released_n": peak, "stopped_by": ""}
    readings = [0, *(read_cell(step * generator.uniform(0.97, 1.03)) for step in STEPS_N)]
    held = max(reading for reading in readings if reading <= break_out_n)
    above = min(reading for reading in readings if reading > break_out_n)
    if held > 1000 and generator.random() < 0.025:
        reason = str(generator.choice(["gear", "safety", "time"]))
        return {"held_n": str(held), "released_n": "", "stopped_by": reason}
    row = {"held_n": str(held) if held else "", "released_n": str(above), "stopped_by": ""}
    if held and generator.random() < 0.12:  # read while it was already moving
        speed = float(generator.choice([0.005, 0.01, 0.02]))
        faster = 1.0 + find_seabed(visit.seabed).rate_per_decade * np.log10(speed / 0.001)
        row |= {"released_n": str(read_cell(above * faster)), "speed_mps": f"{speed:g}"}
    return row


def visit_columns(visit: Visit) -> Row:
    """Columns that every row of a visit shares."""
    columns = {
        "seabed": visit.seabed,
        "date": visit.date,
        "visit": visit.label,
        "instrument": visit.instrument,
    }
    if visit.geometry_written:
        columns |= {
            "load_at": "bow",
            "scope": f"{visit.scope:g}",
            "depth_m": f"{visit.depth_m:g}",
            "rode": RODES[visit.rode].name,
        }
    return columns


def pulls(
    generator: np.random.Generator, capacity_n: NDArray[np.float64], effects: dict[Visit, float]
) -> list[Row]:
    """All straight pulls, fouled ones (each repeated) included."""
    rows = []
    for visit, name, count in plan(generator):
        anchor = find_anchor(name)
        cell = float(capacity_n[ANCHORS.index(anchor), SEABEDS.index(find_seabed(visit.seabed))])
        shared = {"anchor": name, "test": "pull", **visit_columns(visit)}
        for _ in range(count):
            load, dug_in = break_out_load(generator, anchor, cell, visit, effects[visit])
            if generator.random() < 0.035:
                reason, factor = FOULED[int(generator.integers(len(FOULED)))]
                rows.append(shared | raise_load(generator, load * factor, visit) | {"exclude": reason})
                load, dug_in = break_out_load(generator, anchor, cell, visit, effects[visit])
            extra = {
                "drag_m": f"{generator.gamma(2.0, 1.2):.1f}",
                "hold_s": str(generator.choice([20, 30, 60])),
            }
            outcome = raise_load(generator, load, visit)
            rows.append(shared | extra | outcome | set_column(visit, dug_in, outcome))
    return rows


def visit_effects(generator: np.random.Generator) -> dict[Visit, float]:
    """Log effect of each visit's spot and tide; one visit in ten met a bad spot."""
    return {
        visit: float(
            generator.normal(0.0, find_seabed(visit.seabed).visit_scatter) - 0.30 * (generator.random() < 0.1)
        )
        for visit in VISITS
    }
