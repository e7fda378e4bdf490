"""The committed demo campaign is what its script makes, and holds what it says it holds."""

import csv
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from holdcast.campaign import read_campaign

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "data" / "demo"
SCRIPT = ROOT / "scripts" / "demo" / "make_demo_campaign.py"
MADE = (
    "demo/campaign.toml", "demo/anchors.csv", "demo/seabeds.csv", "demo/trials.csv", "demo/rodes.csv",
    "demo/instruments.csv", "demo_truth.csv",
)  # fmt: skip


def table(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def make(out: Path, *arguments: str) -> None:
    subprocess.run([sys.executable, SCRIPT, "--out", out, *arguments], check=True, capture_output=True)


@pytest.fixture(scope="module")
def used_pulls() -> list[dict[str, str]]:
    return [t for t in table(DEMO / "trials.csv") if t["test"] == "pull" and not t["exclude"]]


def test_committed_files_are_what_the_script_makes(tmp_path: Path) -> None:
    make(tmp_path)
    for name in MADE:
        assert (tmp_path / name).read_bytes() == (ROOT / "data" / name).read_bytes(), name


def test_another_seed_makes_another_campaign(tmp_path: Path) -> None:
    make(tmp_path, "--seed", "3")
    assert (tmp_path / "demo/trials.csv").read_bytes() != (DEMO / "trials.csv").read_bytes()


def test_counts(used_pulls: list[dict[str, str]]) -> None:
    anchors, seabeds, trials = (table(DEMO / f"{name}.csv") for name in ("anchors", "seabeds", "trials"))
    assert len(seabeds) == 7
    assert len(anchors) == 21
    assert len({anchor["design"] for anchor in anchors}) == 12
    assert 250 <= len(trials) <= 400
    tested = {(pull["anchor"], pull["seabed"]) for pull in used_pulls}
    assert 0.55 <= len(tested) / (len(anchors) * len(seabeds)) <= 0.70
    assert all(
        sum(p["anchor"] == a and p["seabed"] == s for p in used_pulls) in range(2, 6) for a, s in tested
    )


def test_every_kind_of_reading_occurs(used_pulls: list[dict[str, str]]) -> None:
    exact = [p for p in used_pulls if p["held_n"] and p["held_n"] == p["released_n"]]
    never = [p for p in used_pulls if not p["held_n"]]
    at_limit = [p for p in used_pulls if p["stopped_by"] == "boat_limit"]
    between = [p for p in used_pulls if p["held_n"] and p["released_n"] and p not in exact]
    assert all(p["released_n"] == "" for p in at_limit)
    assert min(len(exact), len(never), len(at_limit)) >= 10
    assert len(between) > 0.6 * len(used_pulls)
    trials = table(DEMO / "trials.csv")
    assert sum(bool(t["exclude"]) for t in trials) >= 5
    assert {t["test"] for t in trials} == {"pull", "reset", "veer"}


def test_resets_and_turns_are_logged_with_holes_and_tell_the_edge_apart() -> None:
    """The edge leaves straight pulls in shell as they are and ruins setting again there."""
    trials = table(DEMO / "trials.csv")
    resets = {(t["anchor"], t["seabed"]): int(t["successes"]) for t in trials if t["test"] == "reset"}
    assert len(resets) == sum(t["test"] == "reset" for t in trials) >= 25
    assert len({seabed for _, seabed in resets}) == 4
    assert resets["K-12-edge", "shell patch"] <= 1 < 4 <= resets["K-12", "shell patch"]
    veers = [t for t in trials if t["test"] == "veer"]
    assert len(veers) >= 12
    assert 2 <= sum(bool(t["veer_held_deg"]) for t in veers) < len(veers) - 2
    assert {t["set"] for t in trials if t["test"] == "pull"} == {"", "yes", "no"}


def test_loads_read_as_a_load_cell_shows_them() -> None:
    readings = [
        t[column] for t in table(DEMO / "trials.csv") for column in ("held_n", "released_n") if t[column]
    ]
    assert all(int(reading) % 10 == 0 for reading in readings)


def test_some_pulls_go_above_the_light_shackle(used_pulls: list[dict[str, str]]) -> None:
    """Working load of a 1/4 in shackle 1000 lbf = 4448 N (value from memory)."""
    light = [int(p["released_n"] or p["held_n"]) for p in used_pulls if p["rode"] == "light rode"]
    assert 1 <= sum(load > 4448 for load in light) <= 15


def test_each_date_visits_one_seabed_and_some_seabeds_have_several_dates() -> None:
    visited = {(t["date"], t["seabed"]) for t in table(DEMO / "trials.csv")}
    assert len({date for date, _ in visited}) == len(visited)
    assert sum([s for _, s in visited].count(seabed) > 1 for seabed in {s for _, s in visited}) >= 4


def test_bolt_on_pairs_are_pulled_on_the_same_visits(used_pulls: list[dict[str, str]]) -> None:
    for part, plain in [("B-10-bar", "B-10"), ("E-09-tip", "E-09"), ("K-12-edge", "K-12")]:
        visits = [
            {(p["date"], p["visit"]) for p in used_pulls if p["anchor"] == name} for name in (part, plain)
        ]
        assert visits[0] == visits[1] != set()


def test_measurements_are_missing_here_and_there() -> None:
    anchors = table(DEMO / "anchors.csv")
    assert sum(not a["tip_load_kg"] for a in anchors) == 3
    assert sum(not a["fluke_area_cm2"] for a in anchors) == 3


def test_truth_covers_the_span_the_trade_talks_about() -> None:
    """Efficiencies in one seabed about 4 to 60, tip fractions 0.12 to 0.50: common practice, no source."""
    anchors = {a["anchor"]: float(a["mass_kg"]) for a in table(DEMO / "anchors.csv")}
    truth = table(ROOT / "data" / "demo_truth.csv")
    assert len(truth) == 21 * 7
    class_of_ten = [t for t in truth if 8 <= anchors[t["anchor"]] <= 13]
    sand = [t for t in class_of_ten if t["seabed"] == "outer beach sand"]
    efficiency = [float(t["capacity_n"]) / (9.80665 * anchors[t["anchor"]]) for t in sand]
    assert 3 <= min(efficiency) <= 5
    assert 50 <= max(efficiency) <= 70
    fractions = [
        float(a["tip_load_kg"]) / float(a["mass_kg"]) for a in table(DEMO / "anchors.csv") if a["tip_load_kg"]
    ]
    assert min(fractions) == pytest.approx(0.12, abs=0.01)
    assert max(fractions) == pytest.approx(0.50, abs=0.01)


def test_logged_pulls_agree_with_the_truth(used_pulls: list[dict[str, str]]) -> None:
    """Mid-intervals of each cell lie round the load that the group would read; a mixed-up cell would not."""
    truth = {
        (t["anchor"], t["seabed"]): float(t["as_read_n"]) for t in table(ROOT / "data" / "demo_truth.csv")
    }
    gaps = [
        np.log(0.5 * (float(p["held_n"]) + float(p["released_n"])) / truth[p["anchor"], p["seabed"]])
        for p in used_pulls
        if p["held_n"] and p["released_n"]
    ]
    assert abs(np.median(gaps)) < 0.15
    assert np.quantile(np.abs(gaps), 0.9) < 0.8


def test_campaign_reads_without_faults() -> None:
    campaign = read_campaign(DEMO)
    assert campaign.trials["status"].value_counts().to_dict() == {
        "used": 345,
        "excluded": 13,
    }
    assert len(campaign.anchors) == 21


def test_page_says_plainly_that_it_is_invented() -> None:
    page = (DEMO / "README.md").read_text(encoding="utf-8")
    assert "Nothing in this folder was measured" in page
    assert "invented" in (DEMO / "campaign.toml").read_text(encoding="utf-8")
