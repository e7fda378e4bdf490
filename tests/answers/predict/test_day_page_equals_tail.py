"""The day page over a fit's draws, typed on in Chromium, says what Python's ``tail_probability`` says."""

import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from invented_day import InventedTest

from holdcast.answers.draws.draws import draws_of
from holdcast.answers.draws.new_pull import least_load_n
from holdcast.answers.draws.rode import Geometry, boat_bow_height_m, log_needed
from holdcast.answers.page.day_readings import _geometry, day_readings, usual_rode
from holdcast.answers.readings.expected import PulledFrom, expected_readings
from holdcast.answers.readings.reset_counts import count_tail, reset_groups
from holdcast.answers.readings.surprise import surprise
from holdcast.answers.readings.tail import REPEAT_BELOW, tail_probability
from holdcast.capacity.inputs.new_tests import lay_out_with
from holdcast.capacity.log_tables import log_table
from holdcast.commands.published.day_file import write_day
from holdcast.physics.rode.loads import load_at_anchor
from holdcast.physics.rode.make_up import make_rode

NAN = float("nan")
READ = [(0.4, 0.4), (1.0, 1.3), (2.2, 2.2), (0.0, 0.8), (3.0, np.inf), (9.0, 9.5)]


RIGS = [  # rode, chain [kg/m], scope, rode length [m], depth [m], load_at
    ("light", NAN, 5.0, NAN, 4.0, "bow"),
    ("usual", NAN, NAN, 7.0, 4.0, "bow"),  # its length: so many times depth and bow height
    ("usual", NAN, 7.0, NAN, 6.0, "bow"),
    ("light", NAN, 5.0, NAN, 4.0, "bow"),
    ("usual", NAN, 7.0, NAN, 8.0, "anchor"),
    ("usual", NAN, 7.0, NAN, 8.0, "bow"),
    ("usual", NAN, 5.0, NAN, NAN, "bow"),
]


@pytest.fixture(scope="module")
def draws(world_fit):
    """A fit drawn close together, as if its pulls had been made on rodes: the usual one the most often."""
    groups = {name: group.to_dataset() for name, group in world_fit.tree.children.items()}
    middle = groups["posterior"].mean(("chain", "draw"))
    groups["posterior"] = (middle + 0.2 * (groups["posterior"] - middle)).transpose("chain", "draw", ...)
    pulls = groups["trials"].sizes["trial"]
    rigs = [RIGS[i % len(RIGS)] for i in range(pulls)]
    names = ("rode", "chain_kg_per_m", "scope", "rode_length_m", "depth_m", "load_at")
    columns = dict(zip(names, map(list, zip(*rigs, strict=True)), strict=True))
    bow = boat_bow_height_m(world_fit)
    columns["rode_length_m"] = [
        length * (depth + bow)
        for length, depth in zip(columns["rode_length_m"], columns["depth_m"], strict=True)
    ]
    columns |= {name: [NAN] * pulls for name in ("chain_length_m", "bow_height_m")}
    columns["instrument"] = ["cell 1"] * pulls
    written = {name: ("trial", values) for name, values in columns.items()}
    groups["trials"] = groups["trials"].drop_vars(written, errors="ignore").assign(written)
    groups["rodes"] = xr.Dataset(
        {"chain_kg_per_m": ("rode", [0.8, 1.4]), "chain_length_m": ("rode", [6.0, 10.0])},
        coords={"rode": ["light", "usual"]},
    )
    tree = xr.DataTree.from_dict(groups)
    tree.attrs = dict(world_fit.tree.attrs)
    return draws_of(replace(world_fit, tree=tree))


@pytest.fixture(scope="module")
def tests_of_day(draws):
    anchors, seabeds = draws.labels("anchor"), draws.labels("seabed")
    return [
        InventedTest(i + 1, seabeds[i % len(seabeds)], anchors[i], 2, 1.0, "Untested here.") for i in range(3)
    ]


@pytest.fixture(scope="module")
def day_file(draws, tests_of_day, tmp_path_factory):
    path = tmp_path_factory.mktemp("day") / "day.html"
    write_day(draws, tests_of_day, path)
    return path


def test_tails_equal_python(chromium, draws, tests_of_day, day_file):
    expected = day_readings(draws, usual_rode(draws))
    page = chromium.new_page(viewport={"width": 390, "height": 844})
    page.goto(day_file.as_uri())
    for card, test in enumerate(tests_of_day):
        page.locator(".test").nth(card).locator(".write").click()
        cell = expected["reading_n"].sel(anchor=test.anchor, seabed=test.seabed)
        for held, released in READ:
            page.fill("#f-held", f"{held}" if held else "")
            page.fill("#f-released", "" if np.isinf(released) else f"{released}")
            tail = float(tail_probability(held * 1000, released * 1000, cell, expected["level"]))
            got = float(page.get_attribute("#verdict", "data-tail"))
            assert got == pytest.approx(tail, abs=3e-4)
            assert ("repeat the pull" in page.text_content("#verdict")) == (tail < REPEAT_BELOW)
        page.get_by_role("button", name="Cancel").click()
    page.close()


def test_counts_equal_python(chromium, draws, tests_of_day, day_file):
    """Of reversals, judged by sight; and with a load that each had to hold, roughly."""
    groups = reset_groups(draws)
    page = chromium.new_page(viewport={"width": 390, "height": 844})
    page.goto(day_file.as_uri())
    test = tests_of_day[0]
    own = groups.sel(anchor=test.anchor, seabed=test.seabed)
    page.locator(".test").first.locator(".write").click()
    page.get_by_label("reset", exact=True).check()
    for attempts, successes in ((4, 4), (5, 2), (10, 0), (1, 1)):
        page.fill("#f-attempts", str(attempts))
        page.fill("#f-successes", str(successes))
        tail = count_tail(attempts, successes, own["reset_chance"], own["reset_concentration"])
        assert float(page.get_attribute("#verdict", "data-tail")) == pytest.approx(tail, abs=3e-4)
        assert ("try again on fresh ground" in page.text_content("#verdict")) == (tail < REPEAT_BELOW)
    # None of so many held a load that hardly any pull holds: nothing unusual in that.
    page.fill("#f-attempts", "10")
    page.fill("#f-successes", "0")
    page.fill("#f-held", "60")
    assert float(page.get_attribute("#verdict", "data-tail")) == 1.0
    # Half a turn tells less than a reversal, and more successes than attempts tell nothing.
    page.fill("#f-held", "")
    page.locator("details summary", has_text="Depth, scope").click()
    page.fill("#f-reversal", "90")
    assert page.text_content("#verdict") == ""
    page.fill("#f-reversal", "180")
    assert page.text_content("#verdict") != ""
    page.fill("#f-successes", "11")
    assert page.text_content("#verdict") == ""
    page.close()


TURNS = [  # held, released [kN], asked, reached [deg]
    (1.0, np.inf, 90.0, NAN),
    (0.3, np.inf, 180.0, 30.0),
    (0.1, np.inf, 120.0, 110.0),
    (1.5, 2.5, 60.0, NAN),
    (8.0, np.inf, 45.0, NAN),
    (0.2, 0.25, 180.0, NAN),
    (2.0, 2.0, 135.0, NAN),
]


def veers(draws, test):
    """Rows of the new log, each made as the page takes them to be made."""
    rows = log_table(draws.fit.tree, "trials").iloc[[0] * len(TURNS)].copy()
    rows.index = pd.Index([f"N{at}" for at in range(len(TURNS))], name="trial")
    held, released, asked, reached = np.transpose(TURNS)
    return rows.assign(
        anchor=test.anchor, seabed=test.seabed, test="veer", visit="new", status="used", load_at="bow",
        held_n=1000 * held, released_n=1000 * released, veer_deg=asked, veer_held_deg=reached,
        speed_mps=NAN, instrument="", set="",
    )  # fmt: skip


def share_of_simulated_turns(draws, pulled, test, reading_kn, degrees):
    """Share of 80,000 turns, as made up from the model's own words, that let go below a reading."""
    random = np.random.default_rng(11)
    anchor, seabed = (draws.place(dim, getattr(test, dim)) for dim in ("anchor", "seabed"))
    shape = (80_000 // draws.samples, draws.samples)
    load = draws["log_capacity"][:, anchor, seabed] - degrees / 90 * draws["turn"][:, anchor, seabed]
    load = load + draws["visit_spread"] * random.standard_normal(shape)
    load = load + draws["spot_spread"] * random.standard_normal(shape)
    load = load + draws["pull_scatter"][:, seabed] * random.standard_t(4, shape)
    at_anchor = load_at_anchor(np.array([1000 * reading_kn]), pulled.geometry.rode)
    below = load <= log_needed(np.log(at_anchor), draws["strength_of_fall"], pulled.geometry)
    floor = least_load_n(draws, float(draws.anchors["mass_kg"].iloc[anchor]), pulled.geometry)
    return float(below.mean()) if at_anchor[0] > floor else 0.0


def test_turns_equal_python_and_a_simulation(chromium, draws, tests_of_day, day_file):
    usual = usual_rode(draws)
    page = chromium.new_page(viewport={"width": 390, "height": 844})
    page.goto(day_file.as_uri())
    for card, test in enumerate(tests_of_day):
        pulled = PulledFrom(_geometry(draws.fit, usual, test.seabed), "bow")
        rows = veers(draws, test)
        rodes = dict.fromkeys(rows.index, pulled.geometry.rode)
        judged = surprise(draws, lay_out_with(draws.fit.tree, rows), rows, rodes)
        page.locator(".test").nth(card).locator(".write").click()
        page.get_by_label("veer", exact=True).check()
        for (held, released, asked, reached), row in zip(TURNS, judged.itertuples(), strict=True):
            for name, number in (("veer", asked), ("held", held)):
                page.fill(f"#f-{name}", f"{number:g}")
            page.fill("#f-released", "" if np.isinf(released) else f"{released:g}")
            page.fill("#f-veer_held", "" if np.isnan(reached) else f"{reached:g}")
            tail = float(page.get_attribute("#verdict", "data-tail"))
            assert tail == pytest.approx(row.tail, abs=0.01 if row.tail < 0.1 else 0.03)
            on_the_way = reached < asked
            above = 1 - share_of_simulated_turns(draws, pulled, test, held, reached if on_the_way else asked)
            end = (held, min(reached + 15, asked)) if on_the_way else (released, asked)
            below = share_of_simulated_turns(draws, pulled, test, *end)
            assert tail == pytest.approx(max(2 * min(above, below, 0.5), 5e-4), abs=0.03)
            words = page.text_content("#verdict")
            assert ("repeat the turn" in words and "look at the anchor" in words) == (tail < REPEAT_BELOW)
            expected = re.findall(r"[0-9.]+", page.text_content("#turn-words").split("expect")[1])
            low, middle, high = (float(getattr(row, f"expected_n_q{at}")) for at in ("05", "50", "95"))
            np.testing.assert_allclose(
                [float(text.rstrip(".")) for text in expected], np.array([low, high, middle]) / 1000,
                rtol=0.04, atol=0.006,
            )  # fmt: skip
        page.get_by_role("button", name="Cancel").click()
    page.close()


def test_the_usual_rode_is_the_commonest(draws):
    """At scope 7 on the usual rode, read at the bow; some of these by the rode's length over the depth."""
    usual = usual_rode(draws)
    assert (usual.rode, usual.scope, usual.load_at) == ("usual", 7.0, "bow")
    assert np.isnan(usual.chain_kg_per_m)
    pulls = draws.used_pulls
    assert usual.depth_m.to_dict() == pulls.groupby("seabed")["depth_m"].median().to_dict()


def test_the_page_s_facts_are_the_log_s(draws, day_file):
    html, ids = day_file.read_text(encoding="utf-8"), draws.table("trials").index
    assert "on usual at scope 7" in html and "cell 1" in html
    assert f'"{ids[0]}","{ids[1]}"' in html


def test_expected_on_the_rode_with_the_depth_of_its_seabed(draws):
    seabeds, bow = draws.labels("seabed"), boat_bow_height_m(draws.fit)
    depths = pd.Series({seabeds[0]: 4.0, seabeds[1]: 8.0})
    usual = replace(usual_rode(draws), depth_m=depths)
    got = day_readings(draws, usual)
    assert got["seabed"].to_numpy().tolist() == seabeds
    for place, depth in enumerate((4.0, 8.0, 6.0)):  # without a depth: the middle one
        rode = make_rode(depth, 7.0 * (depth + bow), 1.4, 10.0, bow_height_m=bow)
        alone = expected_readings(draws, None, [seabeds[place]], PulledFrom(Geometry(7.0, rode, "")))
        np.testing.assert_allclose(got["reading_n"].isel(seabed=place), alone["reading_n"].isel(seabed=0))
