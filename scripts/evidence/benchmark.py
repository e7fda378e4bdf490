"""Time the main job on invented campaigns of three sizes, with an empty and a warm compile cache.

Run as ``python scripts/evidence/benchmark.py [--sizes 450 3500] [--out docs/speed.json]``: each fit is a
process of its own; wall time, peak memory and the verdict's figures are printed and, with --out, kept.
"""

import argparse
import csv
import json
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

SIZES = {450: (30, 7), 3500: (150, 7), 35000: (300, 7)}
"""Pulls to (anchors, seabeds)."""
FORMS = ("scoop", "plough", "claw", "twin_fluke", "stockless")
SEABEDS = (
    ("clay", "very_low", -1.2),
    ("clay", "medium", 0.3),
    ("silt", "low", -0.5),
    ("sand", "loose", -0.6),
    ("sand", "medium_dense", 0.1),
    ("sand", "dense", 0.6),
    ("gravel", "dense", 1.2),
)


def write_campaign(folder: Path, pulls: int, seed: int = 1) -> None:
    """Write an invented campaign; the truth is a plain sum of effects and a penetration limit."""
    anchors, seabeds = SIZES[pulls]
    chance = np.random.default_rng(seed)
    designs = chance.integers(0, max(1, int(0.6 * anchors)), anchors)
    forms = designs % len(FORMS)
    mass = chance.choice([5.0, 7.5, 10.0, 12.0, 16.0, 20.0, 25.0], anchors)
    tip = mass * np.exp(chance.normal(np.log(0.28), 0.3, anchors))
    area = 0.017 * mass ** (2 / 3) * np.exp(chance.normal(0.0, 0.2, anchors))
    strength = np.array([row[2] for row in SEABEDS[:seabeds]])
    limit = -np.log1p(np.exp(-1.5 * (np.log(tip)[:, None] - 1.2 * strength + 0.3)))
    size = 7.4 + 0.86 * np.log(mass / 10.0) + chance.normal(0.0, 0.3, len(FORMS))[forms]
    own = chance.normal(0.0, 0.3, (designs.max() + 1, seabeds))[designs]
    truth = size[:, None] + 0.4 * strength + limit + own
    folder.mkdir(parents=True)
    _write(
        folder / "anchors.csv",
        ("anchor", "design", "form", "mass_kg", "tip_load_kg", "fluke_area_m2", "flag_roll_bar"),
        [
            (
                f"a{i}",
                f"d{designs[i]}",
                FORMS[forms[i]],
                mass[i],
                f"{tip[i]:.2f}",
                f"{area[i]:.4f}",
                ("no", "yes")[i % 2],
            )
            for i in range(anchors)
        ],
    )
    _write(
        folder / "seabeds.csv",
        ("seabed", "soil", "strength"),
        [(f"s{i}", *row[:2]) for i, row in enumerate(SEABEDS)],
    )
    _write(
        folder / "trials.csv",
        ("trial", "anchor", "seabed", "test", "visit", "held_n", "released_n"),
        _trials(truth, pulls, chance),
    )


def _trials(truth: np.ndarray, pulls: int, chance: np.random.Generator) -> list[tuple[object, ...]]:
    seabeds = truth.shape[1]
    tested = np.argwhere(chance.random(truth.shape) < 0.7)
    visits = max(6, pulls // 75)
    visit_effect = chance.normal(0.0, 0.15, (visits, seabeds))
    rows = []
    for number in range(pulls):
        anchor, seabed = tested[number % len(tested)]
        visit = int(chance.integers(visits))
        load = np.exp(truth[anchor, seabed] + visit_effect[visit, seabed] + 0.25 * chance.standard_t(4))
        held = np.exp(np.floor(np.log(load) / 0.1) * 0.1)
        released: object = f"{held * np.exp(0.1):.1f}"
        if held > 6000.0:
            held, released = 6000.0, ""
        rows.append((f"t{number}", f"a{anchor}", f"s{seabed}", "pull", f"v{visit}", f"{held:.1f}", released))
    return rows


def _write(path: Path, header: tuple[str, ...], rows: list[tuple[object, ...]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as stream:
        csv.writer(stream).writerows([header, *rows])


def timed_fit(campaign: Path, cache: Path) -> dict[str, object]:
    """Fit in a process of its own; return wall time [s], peak memory [GB] and the verdict's figures."""
    program = Path(sys.executable).with_name("holdcast")
    # As on a fresh machine, where libraries keep their compiled bytes: some harnesses forbid that.
    variables = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    environment = {
        **variables,
        "NUMBA_CACHE_DIR": str(cache / "numba"),
        "PYTENSOR_FLAGS": f"base_compiledir={cache / 'pytensor'}",
    }
    start = time.perf_counter()
    with tempfile.TemporaryFile() as screen:
        fitting = subprocess.Popen(
            [program, "fit", campaign, "--json"], env=environment, stdout=screen, stderr=subprocess.DEVNULL
        )
        # This child's own peak: that of all children would be the largest of the fits so far.
        _, status, usage = os.wait4(fitting.pid, 0)
        fitting.returncode = os.waitstatus_to_exitcode(status)
        wall, peak = time.perf_counter() - start, usage.ru_maxrss / 1e6
        screen.seek(0)
        printed = screen.read()
    verdict = json.loads(printed)["verdict"] if printed.strip() else {}
    fields = (
        "ok",
        "attempts",
        "seconds_compile",
        "seconds_sample",
        "ess_bulk_min",
        "ess_tail_min",
        "divergences",
    )
    figures = {name: verdict.get(name) for name in fields}
    return {"status": fitting.returncode, "wall_s": round(wall, 1), "peak_gb": round(peak, 2), **figures}


def main() -> None:
    """Run every size with an empty cache, then a warm one."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sizes", type=int, nargs="+", default=[450, 3500], choices=sorted(SIZES))
    parser.add_argument("--warm-runs", type=int, default=1)
    parser.add_argument("--out", type=Path, default=None)
    options = parser.parse_args()
    rows = []
    with tempfile.TemporaryDirectory() as scratch:
        for pulls in sorted(options.sizes):
            campaign = Path(scratch) / f"campaign-{pulls}"
            write_campaign(campaign, pulls)
            for cache in ("empty", *["warm"] * options.warm_runs):
                row = {
                    "pulls": pulls,
                    "cache": cache,
                    **timed_fit(campaign, Path(scratch) / f"cache-{pulls}"),
                }
                print(json.dumps(row), flush=True)
                rows.append(row)
    if options.out:
        options.out.write_text(json.dumps(rows, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
