"""From a world's truth to the log a tester would write, as the files of a campaign."""

import csv
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from invented.setting import HELD_N, SLIDING_SCATTER, in_runs
from invented.truth import (
    ANCHORS,
    CLASSES,
    COVERS,
    DESIGN_OF,
    FEATURES,
    FORMS,
    SEABEDS,
    SOILS,
    TAIL_FREEDOM,
    VISIT_SPREAD,
    WRONG_CLASSES,
    Truth,
    World,
)

PULLS = 250
HIDDEN_A_SEABED = 6  # of 20 anchors: 30% of cells
VISITS = (3, 2, 2, 2, 3, 2, 2)  # visits to each seabed
MISSING_TIP_LOADS = (8, 17)  # anchors whose tip load nobody weighed
MISSING_ANGLE = 10  # the third anchor of design 4, whose angle nobody measured
STEPS_N = 200.0 * 1.13 ** np.arange(40)
FOULED_LOG = np.log(1.0 / 3.0)
ATTEMPTS = 10
WRONG_LABELS = 0.10
LABELS = ("blank", "given", "wrong")  # what the column `set` holds; "wrong": in one row of ten

Rows = list[dict[str, object]]


@dataclass(frozen=True)
class Log:
    """The pulls of one campaign, shape (pull,), with what nobody but the world knows of them."""

    anchor_of: NDArray[np.int64]
    seabed_of: NDArray[np.int64]
    visit_of: NDArray[np.int64]
    held_n: NDArray[np.float64]
    released_n: NDArray[np.float64]  # infinite where it was not seen to move
    log_load: NDArray[np.float64]  # break-out load before any reading
    visit_effect: NDArray[np.float64]  # of the pull's visit
    fouled: NDArray[np.bool_]
    did_set: NDArray[np.bool_]


@dataclass(frozen=True)
class Resets:
    """Resets of some cells, shape (reset,)."""

    anchor_of: NDArray[np.int64]
    seabed_of: NDArray[np.int64]
    visit_of: NDArray[np.int64]
    successes: NDArray[np.int64]


def draw_hidden(generator: np.random.Generator) -> NDArray[np.bool_]:
    """Return the hidden cells, shape (anchor, seabed): as many in each seabed, at most four of one anchor."""
    while True:
        hidden = np.zeros((len(ANCHORS), len(SEABEDS)), dtype=bool)
        for seabed in range(len(SEABEDS)):
            hidden[generator.permutation(len(ANCHORS))[:HIDDEN_A_SEABED], seabed] = True
        if hidden.sum(axis=1).max() <= 4:
            return hidden


def draw_log(world: World, truth: Truth, hidden: NDArray[np.bool_], generator: np.random.Generator) -> Log:
    """Pull every cell that is not hidden twice, some a third time on the next visit."""
    anchors, seabeds = np.nonzero(~hidden)
    again = generator.permutation(len(anchors))[: PULLS - 2 * len(anchors)]
    anchor_of = np.concatenate([np.repeat(anchors, 2), anchors[again]])
    seabed_of = np.concatenate([np.repeat(seabeds, 2), seabeds[again]])
    place = np.empty(len(anchors), dtype=int)  # of a cell among its seabed's cells
    for seabed in range(len(SEABEDS)):
        mine = generator.permutation(np.flatnonzero(seabeds == seabed))
        place[mine] = np.arange(len(mine))
    later = np.repeat([0, int(world.visits != "one a cell")], [2 * len(anchors), len(again)])
    turn = np.concatenate([np.repeat(place, 2), place[again]]) + later
    counts = np.array(VISITS)
    first = np.concatenate([[0], np.cumsum(counts)[:-1]])
    visit_of = first[seabed_of] + turn % counts[seabed_of]
    if world.visits == "one anchor a day":
        visit_of = 2 * (len(SEABEDS) * anchor_of + seabed_of) + later
    visit_effect = generator.normal(0.0, VISIT_SPREAD, max(counts.sum(), visit_of.max() + 1))[visit_of]
    spot_of = len(ANCHORS) * visit_of + anchor_of
    if world.spot_spread:
        visit_effect = visit_effect + generator.normal(0.0, world.spot_spread, spot_of.max() + 1)[spot_of]
    scatter = truth.scatter[seabed_of] * generator.standard_t(TAIL_FREEDOM, PULLS)
    fouled = np.isin(np.arange(PULLS), generator.permutation(PULLS)[: round(world.fouled * PULLS)])
    load = truth.log_capacity[anchor_of, seabed_of] + visit_effect + scatter + fouled * FOULED_LOG
    did_set = np.ones(PULLS, dtype=bool)
    if truth.setting is not None:
        did_set = in_runs(truth.setting.sets[anchor_of, seabed_of], spot_of, generator)
        slides = truth.setting.sliding[anchor_of, seabed_of] + generator.normal(0.0, SLIDING_SCATTER, PULLS)
        load = np.where(did_set, load, slides)
    held, released = draw_readings(np.exp(load), world.boat_limit_n, generator)
    return Log(anchor_of, seabed_of, visit_of, held, released, load, visit_effect, fouled, did_set)


def draw_resets(truth: Truth, log: Log, generator: np.random.Generator) -> Resets:
    """Set again ten times in a third of the cells that were pulled, on the first visit there."""
    if truth.setting is None:
        raise ValueError("this world does not say how often an anchor sets again")
    cells, at = np.unique(log.anchor_of * len(SEABEDS) + log.seabed_of, return_index=True)
    tested = np.sort(generator.permutation(len(cells))[: len(cells) // 3])
    anchor, seabed = np.divmod(cells[tested], len(SEABEDS))
    row = np.repeat(np.arange(len(tested)), ATTEMPTS)
    digs_in = in_runs(truth.setting.resets[anchor, seabed][row], row, generator)
    load = (truth.log_capacity[anchor, seabed] + log.visit_effect[at[tested]])[row]
    load = load + truth.scatter[seabed][row] * generator.standard_t(TAIL_FREEDOM, len(row))
    holds = digs_in & (load > np.log(HELD_N))
    return Resets(anchor, seabed, log.visit_of[at[tested]], np.bincount(row, holds).astype(np.int64))


def draw_readings(
    load: NDArray[np.float64], limit: float, generator: np.random.Generator
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Raise each load in steps until the anchor moves or the boat can no more; one in ten is read exactly."""
    held, released = np.zeros_like(load), np.full_like(load, np.inf)
    for pull, broke_out in enumerate(load):
        exact = generator.random() < 0.10
        steps = np.sort(STEPS_N * generator.uniform(0.97, 1.03, len(STEPS_N)))
        steps = np.append(steps[steps < limit], limit * generator.uniform(0.96, 1.0))
        below, above = steps[steps <= broke_out], steps[steps > broke_out]
        held[pull] = below.max(initial=0.0)
        if len(above):
            released[pull] = above.min()
            if exact:
                held[pull] = released[pull] = broke_out
    return np.round(held, 1), np.round(released, 1)


def write_campaign(
    folder: Path,
    world: World,
    truth: Truth,
    log: Log,
    generator: np.random.Generator,
    labels: str = "blank",
    resets: Resets | None = None,
) -> None:
    """Write anchors.csv, seabeds.csv and trials.csv as the tester would."""
    _write(folder / "anchors.csv", _anchors(world, truth, generator))
    wrong = int(generator.integers(len(SEABEDS))) if world.wrong_class else -1
    classes = [WRONG_CLASSES[s] if s == wrong else CLASSES[s] for s in range(len(SEABEDS))]
    _write(
        folder / "seabeds.csv",
        [
            {
                "seabed": seabed,
                "soil": soil,
                "strength": strength,
                **({"cover": cover} if world.covers else {}),
            }
            for seabed, soil, strength, cover in zip(SEABEDS, SOILS, classes, COVERS, strict=True)
        ],
    )
    _write(folder / "trials.csv", _pulls(log, _labels(log, labels, generator), resets) + _resets(resets))


def _labels(log: Log, labels: str, generator: np.random.Generator) -> list[str]:
    """Return what the tester writes of each pull's setting; nobody errs where the boat could do no more."""
    if labels == "blank":
        return [""] * len(log.did_set)
    flipped = generator.random(len(log.did_set)) < (WRONG_LABELS if labels == "wrong" else 0.0)
    written = log.did_set ^ (flipped & np.isfinite(log.released_n))
    return ["yes" if each else "no" for each in written]


def _pulls(log: Log, labels: list[str], resets: Resets | None) -> Rows:
    more = {} if resets is None else {"attempts": "", "successes": "", "reversal_deg": ""}
    return [
        {
            "trial": f"t{pull:03d}",
            "anchor": ANCHORS[log.anchor_of[pull]],
            "seabed": SEABEDS[log.seabed_of[pull]],
            "test": "pull",
            "visit": f"v{log.visit_of[pull]:02d}",
            "held_n": log.held_n[pull],
            "released_n": "" if np.isinf(log.released_n[pull]) else log.released_n[pull],
            "stopped_by": "boat_limit" if np.isinf(log.released_n[pull]) else "",
            "set": labels[pull],
            **more,
        }
        for pull in np.argsort(log.visit_of, kind="stable")
    ]


def _resets(resets: Resets | None) -> Rows:
    if resets is None:
        return []
    return [
        {
            "trial": f"r{row:03d}",
            "anchor": ANCHORS[resets.anchor_of[row]],
            "seabed": SEABEDS[resets.seabed_of[row]],
            "test": "reset",
            "visit": f"v{resets.visit_of[row]:02d}",
            "held_n": HELD_N,
            "released_n": "",
            "stopped_by": "",
            "set": "",
            "attempts": ATTEMPTS,
            "successes": resets.successes[row],
            "reversal_deg": 180,
        }
        for row in range(len(resets.successes))
    ]


def _anchors(world: World, truth: Truth, generator: np.random.Generator) -> Rows:
    written = truth.tip_load * np.exp(world.tip_error * generator.normal(size=len(ANCHORS)))
    written = np.minimum(written, 0.9 * truth.mass)
    return [
        {
            "anchor": name,
            "design": f"d{DESIGN_OF[a]:02d}",
            "form": FORMS[DESIGN_OF[a]],
            "mass_kg": truth.mass[a],
            "tip_load_kg": "" if a in MISSING_TIP_LOADS else round(written[a], 2),
            "fluke_area_m2": round(truth.area[a], 4),
            **({} if truth.fluke_angle is None else {"fluke_angle_deg": _angle(truth.fluke_angle, a)}),
            **{
                f"flag_{feature}": "yes" if truth.has_feature[a, column] else ""
                for column, feature in enumerate(FEATURES)
            },
        }
        for a, name in enumerate(ANCHORS)
    ]


def _angle(angle_deg: NDArray[np.float64], anchor: int) -> object:
    return "" if anchor == MISSING_ANGLE else angle_deg[anchor]


def _write(path: Path, rows: Rows) -> None:
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
