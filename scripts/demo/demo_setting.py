"""The invented tests of setting again (reversals) and of turns under load, and the truth behind them.

Everything here is of our own choosing. The chances follow other rules than the model of the program: products
of the tip's entry, clutter and form, and a kept share that falls in a straight line with the angle.
"""

import numpy as np
from numpy.typing import NDArray

from demo_log import VISITS, Row, Visit, find_anchor, find_seabed, geometry, read_cell, visit_columns
from demo_rode import bow_load_at_break_out
from demo_world import ANCHORS, SEABEDS, Anchor, Seabed, tip_entry

# Reversals cost an hour an anchor, so few anchors got them, and not everywhere; pairs went together.
RESETS = {
    0: ("A-10", "C-11", "C-11-bar", "D-10", "F-10", "H-05", "K-12", "K-12-edge"),
    1: ("A-10", "D-10", "E-09", "F-10", "G-08", "H-05", "K-12", "K-12-edge"),
    3: ("A-10", "D-10", "E-09", "F-10", "H-05", "K-12"),
    7: ("A-10", "B-10", "B-10-bar", "K-12", "K-12-edge"),
}
VEERS = {
    4: ("A-10", "C-11", "E-09", "H-05", "K-12"),
    5: ("A-10", "C-11", "E-09", "H-05"),
    8: ("A-10", "D-10", "F-10", "G-08", "H-05"),
}
RESET_ATTEMPTS = 5
BURST_N = 600.0  # bow load that counted as holding again
VEER_LOAD_N = 1200.0
VEER_DEG = 90
# Share of the straight-pull capacity that a turn of 180 degrees takes away.
LOST_IN_TURN = {
    "scoop": 0.15, "plough": 0.25, "claw": 0.30, "twin_fluke": 0.60, "stock": 0.35, "grapnel": 0.30,
    "stockless": 0.40,
}  # fmt: skip


def chance_to_dig_in_again(anchor: Anchor, seabed: Seabed) -> float:
    """Chance that the anchor digs in again after a reversal of 180 degrees."""
    chance = 0.25 + 0.72 * tip_entry(anchor, seabed) * (1.0 - 0.35 * seabed.clutter)
    if anchor.form == "twin_fluke" and seabed.stiffness < -0.5:
        chance *= 0.2  # the flukes pack with mud
    if "upturned_edge" in anchor.flags and seabed.soil == "sand":
        chance *= 0.15  # straight pulls in shell and loose sand are as they were
    return chance


def kept_share(anchor: Anchor, angle_deg: float) -> float:
    """Share of the straight-pull capacity left after a turn under load."""
    return 1.0 - LOST_IN_TURN[anchor.form] * angle_deg / 180.0


def one_load(
    generator: np.random.Generator, capacity_n: float, visit: Visit, visit_effect: float, share: float = 1.0
) -> float:
    """Bow load (N) at which one test lets go, of an anchor that dug in."""
    scatter = find_seabed(visit.seabed).scatter * generator.standard_t(5)
    return bow_load_at_break_out(capacity_n * share * float(np.exp(visit_effect + scatter)), geometry(visit))


def cell_capacity(capacity_n: NDArray[np.float64], name: str, seabed_name: str) -> float:
    """Return the true capacity of one cell in N."""
    return float(capacity_n[ANCHORS.index(find_anchor(name)), SEABEDS.index(find_seabed(seabed_name))])


def reset_rows(
    generator: np.random.Generator, capacity_n: NDArray[np.float64], effects: dict[Visit, float]
) -> list[Row]:
    """Reversals: how often the anchor dug in again and then held the burst it was judged by."""
    rows = []
    for number, names in RESETS.items():
        visit = VISITS[number]
        for name in names:
            chance = chance_to_dig_in_again(find_anchor(name), find_seabed(visit.seabed))
            capacity = cell_capacity(capacity_n, name, visit.seabed)
            successes = sum(
                generator.random() < chance and one_load(generator, capacity, visit, effects[visit]) > BURST_N
                for _ in range(RESET_ATTEMPTS)
            )
            outcome = {
                "attempts": str(RESET_ATTEMPTS), "successes": str(successes), "reversal_deg": "180",
                "held_n": f"{BURST_N:g}", "stopped_by": "time",
            }  # fmt: skip
            rows.append({"anchor": name, "test": "reset", **visit_columns(visit), **outcome})
    return rows


def veer_rows(
    generator: np.random.Generator, capacity_n: NDArray[np.float64], effects: dict[Visit, float]
) -> list[Row]:
    """List loads held while their direction swung, and what was pulled off after the turn."""
    rows = []
    for number, names in VEERS.items():
        visit = VISITS[number]
        for name in names:
            anchor = find_anchor(name)
            straight = one_load(
                generator, cell_capacity(capacity_n, name, visit.seabed), visit, effects[visit]
            )
            held = read_cell(min(VEER_LOAD_N, 0.75 * straight))
            lost_at = next(
                (a for a in range(0, VEER_DEG + 1, 10) if straight * kept_share(anchor, a) < held), None
            )
            outcome = {"veer_deg": str(VEER_DEG), "held_n": str(held), "stopped_by": "time"}
            if lost_at is not None:
                outcome |= {"veer_held_deg": str(max(lost_at - 10, 0)), "stopped_by": "anchor"}
            elif generator.random() < 0.5:
                released = read_cell(min(straight * kept_share(anchor, VEER_DEG), visit.boat_limit_n))
                if released < visit.boat_limit_n - 10:
                    outcome |= {"released_n": str(max(released, held)), "stopped_by": ""}
            rows.append({"anchor": name, "test": "veer", **visit_columns(visit), **outcome})
    return rows
