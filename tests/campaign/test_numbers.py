"""Numbers are read or refused, never guessed."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from holdcast.campaign.columns.cell_values import parse_dates, parse_numbers, why_no_number


@pytest.mark.parametrize(
    ("text", "fix"),
    [
        ("nan", "Leave the cell blank"),
        ("N/A", "Leave the cell blank"),
        ("-", "Leave the cell blank"),
        ("inf", "Write the number read"),
        ("1,200", "Write 1200 or 1.200, whichever is meant"),
        ("1,200.5", "Write 1200.5 without thousands separators"),
        ("1'200", "Write 1200 without"),
        ("1 200", "Write 1200 without"),
        ("1 200,5", "Write 1200.5 without"),
        ("1,200,300", "Write 1200300 without"),
        ("1,5", "Write 1.5 with a point, or separate the file's cells with ;"),
        ("12 kg", "the unit is the last part of the column's name"),
        ("12kN", "the unit is the last part of the column's name"),
        ("40%", "the unit is the last part of the column's name"),
        ("7:1", "Write a number such as 12.5"),
        ("=500 N", "Write the number alone; what was held"),
        ("=B2*9.81", "a formula of a spreadsheet"),
        ("+B2*2", "a formula of a spreadsheet"),
        ("=3*4", "a formula of a spreadsheet"),
        ("=SUM(A1:A3)", "a formula of a spreadsheet"),
        (">500", "Write the number alone; note has room for the rest"),
        ("heavy", "Write a number such as 12.5"),
        ("1_000", "Write a number such as 12.5"),
        ("0x10", "the unit is the last part"),
        ("１２", "Write a number such as 12.5"),
        ("1e999", "too long or too large"),
        ("9" * 400, "too long or too large"),
        ("=1+1", "a formula of a spreadsheet"),
        ("3/8", "Write a number such as 12.5"),
    ],
)
def test_refused_in_a_comma_file(text, fix):
    values, bad, _ = parse_numbers([text, "1"], decimal_commas=False)
    assert bad == [0]
    assert values[1] == 1.0
    assert fix in why_no_number(text, decimal_commas=False)


@pytest.mark.parametrize(
    ("text", "fix"),
    [
        ("1.200,5", "Write 1200.5 without"),
        ("1,200.5", "Write 1200.5 without"),
        ("1.200.300", "Write 1200300 without"),
    ],
)
def test_thousands_refused_in_a_semicolon_file(text, fix):
    assert parse_numbers([text], decimal_commas=True)[1] == [0]
    assert why_no_number(text, decimal_commas=True).startswith(fix)


@pytest.mark.parametrize(
    ("text", "column", "fix"),
    [
        ("2%", "error_pct", "Write 2 without the sign"),
        ("27,5 %", "tip_fraction", "Write 0.275, the share of one"),
        ("30%", "mass_kg", "the unit is the last part of the column's name"),
        ("7:1", "scope", "Write 7 alone"),
        ("7,5 to 1", "scope", "Write 7,5 alone"),
        ("3:1", "held_n", "Write a number such as 12.5"),
    ],
)
def test_a_percentage_and_a_ratio_are_told_by_their_column(text, column, fix):
    assert fix in why_no_number(text, decimal_commas=True, column=column)


def test_three_decimals_after_a_comma_are_ambiguous():
    values, bad, ambiguous = parse_numbers(["1,200", "0,200", "1,20", "12,5"], decimal_commas=True)
    assert values.tolist() == [1.2, 0.2, 1.2, 12.5]
    assert bad == []
    assert ambiguous == [0]


def test_inch_fractions():
    values, bad, _ = parse_numbers(["3/8", "1 1/4", "1-1/4", "1/0"], decimal_commas=False, fractions=True)
    assert values.tolist()[:3] == [0.375, 1.25, 1.25]
    assert bad == [3]


@given(st.floats(allow_nan=False, allow_infinity=False), st.booleans())
def test_every_finite_number_comes_back(number, comma):
    text = repr(number).replace(".", ",") if comma else repr(number)
    values, bad, _ = parse_numbers([text], decimal_commas=comma)
    assert bad == []
    assert values[0] == number


@given(st.text(min_size=1, max_size=30), st.booleans())
def test_any_text_is_a_finite_number_or_refused_with_a_reason(text, comma):
    cell = text.strip()
    values, bad, _ = parse_numbers([cell], decimal_commas=comma)
    if bad:
        assert why_no_number(cell, decimal_commas=comma).endswith(".")
    else:
        assert cell == "" or abs(values[0]) < float("inf")


@pytest.mark.parametrize(
    "text", ["31.5.2024", "2024-5-1", "20240501", "2024-02-30", "0024-05-01", "2024-W01-1", "May"]
)
def test_dates_are_iso_or_refused(text):
    days, bad = parse_dates(["2024-02-29", text, ""])
    assert bad == [1]
    assert str(days[0])[:10] == "2024-02-29"
