"""Sizes against closed forms, the published exponents, and counting over draws."""

import re

import numpy as np
import pandas as pd
import pytest

from holdcast.answers.draws.bands import BANDS
from holdcast.answers.draws.capacity import log_capacity
from holdcast.answers.draws.draws import draws_of
from holdcast.answers.draws.seabeds import known_seabed
from holdcast.answers.sizes.one_shape import (
    any_size_of_design,
    log_capacity_at,
    mass_reaching,
    typical_configuration,
)
from holdcast.answers.sizes.sizes import equal_mass, mass_for_load, sizes
from holdcast.commands.sizes import sizes as sizes_command
from holdcast.show.figures import sizes as sizes_figure
from holdcast.show.text.numbers import format_load
from holdcast.show.views.sizes import size_lines, sizes_table


def test_the_law_of_a_design_passes_through_its_only_size(world_fit) -> None:
    """Witness: the posterior's own cell, less that anchor's own configuration effect."""
    facts = draws_of(world_fit)
    shape, seabed = any_size_of_design(facts, "B"), known_seabed(facts, "clay")
    anchor, place = facts.labels("anchor").index("B-12"), facts.labels("seabed").index("clay")
    at_12 = log_capacity_at(facts, shape, seabed, np.array([12.0]))[0]
    at_12 = at_12 - shape.configuration.values[:, place]
    stored = facts["log_capacity"][:, anchor, place]
    stored = stored - facts["configuration_effect"][:, anchor, place]
    np.testing.assert_allclose(at_12, stored, rtol=1e-6)  # draws are kept to seven digits


def test_a_shape_that_was_not_pulled_in_a_seabed_is_told(world_fit) -> None:
    answer = sizes(world_fit, designs=["A", "B"], forms=["plough"], mass_kg=[12.5])
    told = answer["tested"].to_series()
    assert set(told.index[~told]) == {("B", "sand"), ("any plough", "sand")}
    table = sizes_table(answer)
    assert set(table.loc[table["evidence"] == "untested", "seabed"]) == {"sand"}
    # 12.5 over 12 kg would read as "1 times" with two digits.
    lines = [line for line in size_lines(table, "si") if "1.04 times the largest *, none here" in line]
    assert len(lines) == 2 and all("sand" in line for line in lines)
    inside = sizes_table(sizes(world_fit, designs=["B"], seabeds=["sand"], mass_kg=[12.0]))
    assert size_lines(inside, "si")[-1].endswith("none here")


def test_exponent_is_the_derivative_of_the_model_equation(world_fit) -> None:
    """Witness: b + k (1 - q) / (1 + exp(margin)), the derivative by hand."""
    facts = draws_of(world_fit)
    shape, seabed = any_size_of_design(facts, "A"), known_seabed(facts, "clay")
    answer = sizes(world_fit, designs=["A"], seabeds=["clay"], mass_kg=[8.0])
    steepness, growth = facts["penetration_steepness"], facts["tip_growth"]
    tip = shape.log_tip_load + np.log(8.0)
    margin = steepness * (tip - growth * np.log(0.8) - seabed.log_resistance)
    exponent = facts["size_exponent"] + seabed.exponent_deviation
    exponent = exponent + steepness * (1.0 - growth) / (1.0 + np.exp(margin))
    np.testing.assert_allclose(answer["exponent"].squeeze(), np.quantile(exponent, BANDS), atol=1e-4)


def test_heavy_anchors_follow_the_published_exponents(world_fit) -> None:
    """UFC 4-159-03: 0.80 to 0.94 for anchors at full penetration; the model's prior is built on them."""
    answer = sizes(world_fit, designs=["A"], seabeds=["mud"], mass_kg=[1e5])
    assert 0.78 < float(answer["exponent"].sel(quantile=0.5).squeeze()) < 0.96


def test_bands_widen_away_from_the_tested_and_say_how_far(world_fit) -> None:
    answer = sizes(world_fit, designs=["A"], seabeds=["mud"], mass_kg=[10.0, 40.0])
    assert answer["range"].to_numpy().tolist() == [["inside", "outside"]]
    assert float(answer["times_largest"].sel(mass_kg=40.0).squeeze()) == pytest.approx(4.0)
    facts = draws_of(world_fit)
    shape, seabed = any_size_of_design(facts, "A"), known_seabed(facts, "mud")
    tested = facts["log_capacity"][:, facts.labels("anchor").index("A-10"), 0]
    assert facts.labels("seabed")[0] == "mud"
    spread = (log_capacity_at(facts, shape, seabed, np.array([10.0, 40.0, 400.0])) - tested).std(axis=1)
    assert (np.diff(spread) > 0.01).all()


def test_mass_for_a_load_holds_it_with_the_chance_asked(world_fit) -> None:
    """Witness: counting over draws at the mass given; capacity alone has the same draws at every mass."""
    facts = draws_of(world_fit)
    answer = mass_for_load(world_fit, 3000.0, designs=["A"], seabeds=["sand"], chances=(0.5, 0.8))
    shape, seabed = any_size_of_design(facts, "A"), known_seabed(facts, "sand")
    for chance in (0.5, 0.8):
        mass = float(answer["mass_capacity_kg"].sel(chance=chance).squeeze())
        holds = log_capacity_at(facts, shape, seabed, np.array([mass]))[0] >= np.log(3000.0) - 1e-9
        assert holds.mean() == pytest.approx(chance, abs=2 / facts.samples)
    assert (answer["mass_new_pull_kg"].diff("chance") > 0).all()


def test_no_mass_is_infinite_and_a_scope_asks_for_more(world_fit) -> None:
    facts = draws_of(world_fit)
    shape, seabed = any_size_of_design(facts, "A"), known_seabed(facts, "mud")
    assert np.isinf(mass_reaching(facts, shape, seabed, 80.0)).all()
    assert np.isinf(mass_for_load(world_fit, 1e30, designs=["A"])["mass_new_pull_kg"]).all()
    along, turned = (
        mass_for_load(world_fit, 2000.0, designs=["A"], seabeds=["mud"], chances=(0.5,), scope=scope)
        for scope in (None, 4.0)
    )
    assert (turned["mass_new_pull_kg"] > along["mass_new_pull_kg"]).all()


def test_equal_mass_of_two_designs_has_equal_capacity(world_fit) -> None:
    facts = draws_of(world_fit)
    answer = equal_mass(world_fit, "A", 10.0, others=["B"], seabeds=["silt"])
    seabed = known_seabed(facts, "silt")
    mine = log_capacity_at(facts, any_size_of_design(facts, "A"), seabed, np.array([10.0]))[0]
    median = float(answer["mass_kg"].sel(quantile=0.5).squeeze())
    other = log_capacity_at(facts, any_size_of_design(facts, "B"), seabed, np.array([median]))[0]
    assert (other >= mine).mean() == pytest.approx(0.5, abs=2 / facts.samples)


def test_a_form_is_a_new_design_and_wider_than_a_known_one(world_fit) -> None:
    facts = draws_of(world_fit)
    answer = sizes(world_fit, designs=["A"], forms=["scoop"], seabeds=["mud"], mass_kg=[10.0])
    assert answer["shape"].to_numpy().tolist() == ["A", "any scoop"]
    assert list(typical_configuration(facts, "A").index) == ["A-06", "A-10"]
    assert log_capacity(facts, any_size_of_design(facts, "A"), known_seabed(facts, "mud")).shape == (2000,)


@pytest.mark.parametrize(
    ("asked", "kind", "match"),
    [
        ({"designs": ["Z"]}, KeyError, "unknown design: 'Z'"),
        ({"forms": ["scoup"]}, KeyError, "unknown form: 'scoup'; the nearest known one"),
        ({"seabeds": ["mudd"]}, KeyError, "unknown seabed: 'mudd'"),
        ({"mass_kg": [0.0]}, ValueError, r"masses must be above 0 kg, got 0\.0"),
    ],
)
def test_what_is_not_known_raises(world_fit, asked, kind, match) -> None:
    with pytest.raises(kind, match=match):
        sizes(world_fit, **asked)


def test_wrong_loads_and_chances_raise(world_fit) -> None:
    with pytest.raises(ValueError, match="the load must be above 0 N, got -1"):
        mass_for_load(world_fit, -1.0)
    with pytest.raises(ValueError, match=r"a chance must be between 0 and 1, got 1\.5"):
        mass_for_load(world_fit, 1.0, chances=(1.5,))
    with pytest.raises(ValueError, match="the mass must be above 0 kg, got 0"):
        equal_mass(world_fit, "A", 0.0)


def test_everything_shown_follows_the_units(results, capsys, monkeypatch) -> None:
    drawn = []
    head_lines = sizes_figure.head_lines

    def noted(form, title, reading, **marks):
        drawn.extend(reading)
        return head_lines(form, title, reading, **marks)

    monkeypatch.setattr(sizes_figure, "head_lines", noted)
    sizes_command(
        results,
        design=["A"],
        seabed=["mud"],
        mass_kg=[10.0],
        load_kn=1.0,
        equal_to=("A", 10.0),
        picture=True,
        units="us",
    )
    said = capsys.readouterr().out
    assert "22.0 lb" in said and "for A in mud at 22.0 lb." in " ".join(said.split())
    assert "mass in lb (across)" in " ".join(drawn)
    for words in (said, *drawn):
        assert not re.search(r"\b(kg|kN)\b", words)
    assert pd.read_csv(results / "sizes.csv")["mass_kg"].tolist() == [10.0]  # files stay in SI


def test_axes_of_the_figure_are_in_pounds(world_fit) -> None:
    answer = sizes(world_fit, designs=["A"], seabeds=["mud"], mass_kg=[10.0, 20.0])
    ends = [sizes_figure.sizes_figure(answer, units).axes[0].get_xlim() for units in ("si", "us")]
    # 1 lb = 0.45359237 kg exactly (international pound, NIST SP 811).
    np.testing.assert_allclose(ends[0], [10.0, 20.0])
    np.testing.assert_allclose(ends[1], np.array([10.0, 20.0]) / 0.45359237)


@pytest.mark.parametrize(
    ("design", "seabed", "mass", "filled"),
    [("A", "mud", 8.0, True), ("A", "mud", 30.0, False), ("B", "sand", 12.0, False)],
)
def test_the_dot_of_one_mass_is_hollow_where_nobody_pulled(world_fit, design, seabed, mass, filled) -> None:
    answer = sizes(world_fit, designs=[design], seabeds=[seabed], mass_kg=[mass])
    (axes,) = sizes_figure.sizes_figure(answer).axes
    (dot,) = [line for line in axes.lines if line.get_marker() == "o"]
    assert (dot.get_markerfacecolor() != "white") == filled


def test_one_size_is_told_once_and_drawn_without_a_word(results, capsys) -> None:
    """Warnings are errors here, also those of the drawing library about equal ends of an axis."""
    sizes_command(results, design=["A"], seabed=["mud"], mass_kg=[20.0, 20.0], picture=True)
    said = " ".join(capsys.readouterr().out.split())
    assert said.count("(90% band") == 1 and "It is " in said and "for A in mud at 20.0 kg." in said
    assert "lowest" not in said and len(pd.read_csv(results / "sizes.csv")) == 1
    sizes_command(results, design=["A"], seabed=["mud"], mass_kg=[20.0, 5.0])
    said = " ".join(capsys.readouterr().out.split())
    assert "The lowest exponent is" in said and "The highest is" in said
    assert pd.read_csv(results / "sizes.csv")["mass_kg"].tolist() == [5.0, 20.0]


def test_command_writes_table_and_figure_with_bands_and_cautions(results, capsys) -> None:
    sizes_command(results, design=["A", "B"], seabed=["mud"], load_kn=1.0, equal_to=("A", 10.0), picture=True)
    table = pd.read_csv(results / "sizes.csv")
    assert {"shape", "seabed", "mass_kg", "capacity_n_q05", "capacity_n_q95", "exponent_q50"} <= set(table)
    said = capsys.readouterr().out
    for words in ("not a guarantee", "one new pull holds 1.00 kN", "with the capacity of 10.0 kg of A"):
        assert words in said.replace("\n", " ")
    assert (results / "figures" / "sizes.svg").is_file()


def test_the_short_screen_has_the_masses_asked_for_with_bands(opened, capsys) -> None:
    sizes_command(opened, design=["A"], mass_kg=[7.0, 9.0], load_kn=1.0, equal_to=("A", 10.0))
    said = capsys.readouterr().out
    table = pd.read_csv(opened / "sizes.csv")
    for _, row in table.iterrows():
        low, middle, high = (format_load(row[f"capacity_n_{q}"]) for q in ("q05", "q50", "q95"))
        cell = rf"{middle}\*? {low}-{high}"
        assert re.search(cell, said), cell
    assert "one new pull holds 1.00 kN" in said and "capacity of 10.0 kg of A" in said
    assert len(said.splitlines()) <= 40 and (opened / "sizes_load.csv").is_file()
    sizes_command(opened, design=["A"])
    masses = {line.split()[1] for line in capsys.readouterr().out.splitlines() if re.match(r"A +[0-9]", line)}
    assert len(masses) == 2  # the grid's nearest to the smallest and the largest tested mass
    sizes_command(opened, design=["A"], everything=True)
    assert "tested masses" in capsys.readouterr().out
