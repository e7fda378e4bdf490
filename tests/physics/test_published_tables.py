"""Published rows, as typed in `published.py`, against the files that the program carries and its answers."""

import math
from fractions import Fraction

import numpy as np
import published
import pytest

from holdcast import package_data
from holdcast.physics.ground.soils import SCHEMES, SOILS, class_names, strength_class
from holdcast.physics.ground.strength_index import strength_index
from holdcast.physics.tables import read_table
from holdcast.physics.tackle.chain_mass import chain_mass_kg_per_m
from holdcast.physics.tackle.strength import chain_strength, pin_fit, shackle_strength
from holdcast.physics.tackle.wind import beyond_load_table, mooring_load_n

# International foot, inch and pound-force, nautical mile: exact by definition (value from memory).
FOOT, INCH_MM, KNOT, POUND_FORCE = 0.3048, 25.4, 1852 / 3600, 4.4482216152605


@pytest.mark.parametrize("name", published.TABLES)
def test_the_file_holds_the_published_rows_and_no_other(name):
    typed = published.TABLES[name]
    rows = read_table(name)
    assert [tuple(row) for row in rows] == [typed.columns] * len(typed.rows)
    for row, numbers in zip(rows, typed.rows, strict=True):
        for written, number in zip(row.values(), numbers, strict=True):
            if isinstance(number, str):
                assert written == number
            else:
                assert float(written) == pytest.approx(number, rel=1e-9)


def test_every_file_of_tables_is_typed_and_every_row_marked():
    assert {file.stem for file in package_data.path("tables").glob("*.csv")} == set(published.TABLES)
    for table in published.TABLES.values():
        assert len(table.marks) in (1, len(table.rows))
        assert set(table.marks) <= {published.READ, published.MEMORY, published.COMPUTED, published.CHOICE}


def test_wind_loads_come_back():
    table = np.array(published.WIND_LOADS.rows, dtype=float)
    winds = np.array([15, 30, 42, 60]) * KNOT
    lengths = table[:, :1] * FOOT
    np.testing.assert_allclose(mooring_load_n(lengths, winds), table[:, 1:] * POUND_FORCE, rtol=1e-12)
    assert not beyond_load_table(lengths, winds).any()


def test_chain_comes_back_in_each_size_and_grade():
    for size, standard, mass, *breaking_kn, _, _ in published.CHAIN_METRIC.rows:
        if (size, standard) == (10, "DIN"):
            continue  # the ISO row speaks for 10 mm
        assert chain_mass_kg_per_m(size) == pytest.approx(mass)
        for grade, breaking in zip((30, 40), breaking_kn, strict=True):
            if breaking != "":
                link = chain_strength(grade, size)
                # Breaking over working 4 (value from memory: DIN 766).
                assert (link.breaking_n, link.working_n) == (1000 * breaking, 250 * breaking)
                assert link.name == f"{size} mm chain grade {grade}"
    for size, *working_lbf, _ in published.CHAIN_US.rows:
        # Breaking over working: 4 for grade 30, 3 for 43 (read), 4 for 70 (value from memory).
        for grade, working, times in zip((30, 43, 70), working_lbf, (4, 3, 4), strict=True):
            link = chain_strength(grade, float(Fraction(size)) * INCH_MM)
            assert link.name == f"{size} in chain grade {grade}"
            assert link.working_n == pytest.approx(working * POUND_FORCE)
            assert link.breaking_n == pytest.approx(times * working * POUND_FORCE)


def test_breaking_loads_as_printed_in_the_same_chart():
    # Grade 30: 5200, 7600, 10 600 lbf (read); grade 43: 7800, 11 700, 16 200 lbf (read and computed).
    for grade, printed in ((30, (5200, 7600, 10_600)), (43, (7800, 11_700, 16_200))):
        for size, pounds in zip((6.35, 7.9375, 9.525), printed, strict=True):
            assert chain_strength(grade, size).breaking_n == pytest.approx(pounds * POUND_FORCE)


@pytest.mark.parametrize(("size", "kilonewtons"), [(9, 50.89), (16, 160.85), (10, 67.54)])
def test_chain_that_no_table_has_goes_by_its_grades_rule(size, kilonewtons):
    # 2 (π/4) d² grade x 10 N/mm²: a chain supplier's page on grades (read); numbers computed.
    grade = 43 if size == 10 else 40
    link = chain_strength(grade, size)
    assert link.breaking_n == pytest.approx(1000 * kilonewtons, rel=1e-3)
    assert link.name == f"{size} mm chain grade {grade}"
    assert chain_strength(30, 5 / 8 * INCH_MM).name == "5/8 in chain grade 30"
    # Breaking over working: 3 for grade 43 (read), 4 for metric chain (value from memory).
    assert link.breaking_n / link.working_n == pytest.approx(3 if grade == 43 else 4)


def test_the_grades_rule_is_near_the_tables_and_near_the_page_it_is_from():
    # Same page (read): 10 mm of grade 80 has 157.08 mm² and 125.66 kN; grade 40 gives 22.6, 40.2, 62.8 kN.
    for size, kilonewtons, printed in ((6, 22.6, 20), (8, 40.2, 40), (10, 62.8, 63)):
        rule = chain_strength(43, size).breaking_n * 40 / 43
        assert rule == pytest.approx(1000 * kilonewtons, rel=2e-3)
        assert rule == pytest.approx(1000 * printed, rel=0.14)
        assert chain_strength(40, size).breaking_n == 1000 * printed


def test_shackles_come_back_and_metric_ones_are_the_nearest():
    for size, working, _, _ in published.SHACKLES.rows:
        link = shackle_strength(float(Fraction(size)))
        assert link.name == f"{size} in shackle"
        assert link.working_n == pytest.approx(working * POUND_FORCE)
        # Ultimate of 1/2, 5/8, 3/4 in: 20 000, 32 500, 47 500 lbf (read in a utility's standard).
        assert link.breaking_n == pytest.approx(5 * working * POUND_FORCE)
    for millimetres, size in ((6, "1/4"), (8, "5/16"), (10, "3/8"), (12, "1/2"), (16, "5/8")):
        # Common practice, no source.
        assert shackle_strength(millimetres / INCH_MM).name == f"{size} in shackle"


def test_pins_pass_the_links_that_their_widths_say():
    for shackle, _, pin, _ in published.SHACKLES.rows:
        thick = float(Fraction(pin)) * INCH_MM
        body = float(Fraction(shackle))
        for size, *_, inside in published.CHAIN_US.rows:
            answer = "fits" if thick <= inside * INCH_MM else "does not fit"
            assert pin_fit(body, float(Fraction(size)) * INCH_MM) == answer
        for size, *_, least, most in published.CHAIN_METRIC.rows:
            answer = "fits" if thick <= least else "try it" if thick <= most else "does not fit"
            assert pin_fit(body, size) == answer
    assert pin_fit(3 / 8, 9.0) == "try it"


def test_soil_classes_come_back():
    for scheme, group, word, low, high, angle_low, angle_high, _ in published.SOIL_CLASSES.rows:
        for soil in [soil for soil, kind in SOILS.items() if kind == group]:
            entry = strength_class(soil, word, scheme)
            assert (entry.low, entry.high) == (low, high)
            if group == "granular":
                assert (entry.friction_angle_low_deg, entry.friction_angle_high_deg) == (
                    angle_low,
                    angle_high,
                )
            else:
                middle, spread = strength_index(soil, word, scheme)
                # Even on the log scale between the limits: middle, and width over √12 (computed).
                assert middle == pytest.approx(0.5 * math.log(low * high) - math.log(40.0))
                assert spread == pytest.approx(math.log(high / low) / math.sqrt(12.0))
                assert math.isnan(entry.friction_angle_low_deg)


def test_words_of_a_scheme_are_in_order_of_strength():
    assert SCHEMES == ("iso_14688_2", "bs_5930", "terzaghi_peck")
    for scheme in SCHEMES:
        rows = [row for row in published.SOIL_CLASSES.rows if row[0] == scheme]
        assert class_names("silt", scheme) == tuple(row[2] for row in rows if row[1] == "cohesive")
        assert class_names("cobble", scheme) == tuple(row[2] for row in rows if row[1] == "granular")
