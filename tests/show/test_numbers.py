"""Numbers and sentences for the reader."""

import re
from pathlib import Path

import pytest

from holdcast.plain_numbers import significant
from holdcast.show.text import cells_csv
from holdcast.show.text.cells_csv import as_csv
from holdcast.show.text.numbers import (
    align_decimals,
    format_efficiency,
    format_load,
    format_share,
    load_unit,
    on_screen,
    to_screen_load,
)
from holdcast.show.text.sentences import accounting_sentence, provenance_sentence, verdict_sentences


def test_pound_force():
    # 1 lbf = 4.4482216152605 N exactly: NIST Special Publication 811 (2008), appendix B.8.
    assert to_screen_load(4.4482216152605, "us") == pytest.approx(1, rel=1e-15)
    assert to_screen_load(2500, "si") == 2.5
    assert (load_unit("si"), load_unit("us")) == ("kN", "lbf")


@pytest.mark.parametrize(
    ("unit", "shown", "size"),
    # NIST Special Publication 811 (2008), appendix B.8 (values from memory): exact but for the last.
    [("kg", "lb", 0.45359237), ("m", "ft", 0.3048), ("mm", "in", 25.4), ("m²", "in²", 6.4516e-4),
     ("m/s", "kt", 1852 / 3600), ("N", "lbf", 4.4482216152605), ("kPa", "psf", 0.04788026),
     ("days", "days", 1.0)],
)  # fmt: skip
def test_quantities_in_us_units_and_in_their_own(unit, shown, size):
    assert on_screen(unit, "us") == (shown, pytest.approx(size, rel=1e-6))
    assert on_screen(unit, "si") == (("kN", 1000.0) if unit == "N" else (unit, 1.0))
    with pytest.raises(ValueError, match="units must be 'si' or 'us', got 'metric'"):
        on_screen(unit, "metric")


@pytest.mark.parametrize(
    ("newtons", "text"),
    [
        (0, "0.00"),
        (4.321, "0.0043"),
        (99.6, "0.10"),
        (452, "0.45"),
        (1234, "1.23"),
        (9994, "9.99"),
        (9996, "10.0"),
        (12345, "12.3"),
        (99960, "100"),
        (123456, "123"),
    ],
)
def test_loads_in_kilonewtons(newtons, text):
    assert format_load(newtons, "si") == text


@pytest.mark.parametrize(
    ("pounds", "text"), [(4.24, "4.2"), (9.996, "10"), (98.6, "99"), (1243, "1240"), (12349, "12300")]
)
def test_loads_in_pounds(pounds, text):
    assert format_load(pounds * 4.4482216152605, "us") == text


def test_efficiency_and_share():
    assert [format_efficiency(x) for x in (0.44, 7.44, 9.96, 23.4, 101.2)] == [
        "0.4",
        "7.4",
        "10",
        "23",
        "101",
    ]
    assert [format_share(x) for x in (0, 0.001, 0.345, 0.999, 1)] == ["0%", "<1%", "34%", ">99%", "100%"]


def test_what_is_no_number_is_refused():
    with pytest.raises(ValueError, match=r"a load \[N\] must be a finite number, 0 or more, got nan"):
        format_load(float("nan"))
    with pytest.raises(ValueError, match="an efficiency must be a finite number, 0 or more, got -1"):
        format_efficiency(-1)
    with pytest.raises(ValueError, match=r"between 0 and 1, got 1\.5"):
        format_share(1.5)
    with pytest.raises(ValueError, match="units must be 'si' or 'us', got 'kN'"):
        format_load(1, "kN")


def test_decimal_points_stand_below_each_other():
    assert align_decimals(["1.23", "12.3", "123"]) == ["1.23", "12.3 ", "123   "]
    assert align_decimals(["12", "3"]) == ["12", "3"]
    assert align_decimals([]) == []


def test_significant_digits_never_come_with_an_exponent():
    texts = [significant(value) for value in (4460.2, 1.2345e7, 12.04, 3.0, 0.00678, 0.0, -1500.0)]
    assert texts == ["4,460", "12,300,000", "12", "3", "0.00678", "0", "-1,500"]
    assert (significant(0.09996, 2), significant(99.96, 2), significant(float("inf"))) == (
        "0.1",
        "100",
        "inf",
    )


def test_a_zero_has_no_sign():
    assert [significant(value) for value in (-0.0, 0.0)] == ["0", "0"]
    assert as_csv(["x"], [[-0.0], [0.0], [-1e-3]]) == "x\n0\n0\n-0.001\n"
    signed = re.compile(r":\+[.,0-9]*[efg%]\}")  # a sign asked for, without the z that keeps it off a zero
    sources = sorted(Path(cells_csv.__file__).parents[2].rglob("*.py"))
    assert len(sources) > 100
    assert [path.name for path in sources if signed.search(path.read_text(encoding="utf-8"))] == []


def test_accounting_adds_up():
    text = accounting_sentence(63, {"pull": 52, "reset": 3, "veer": 2}, 6)
    assert text == "63 rows in = 57 used (52 pulls, 3 resets, 2 veers) + 6 excluded."
    assert accounting_sentence(1, {"pull": 1}, 0) == "1 row in = 1 used (1 pull) + 0 excluded."
    assert accounting_sentence(1, {"pull": 0}, 1) == "1 row in = 0 used + 1 excluded."
    with pytest.raises(ValueError, match=r"63 rows in, but 55 used \+ 6 excluded"):
        accounting_sentence(63, {"pull": 52, "reset": 3}, 6)


def test_verdict_says_first_whether_to_trust_it():
    good = verdict_sentences({"ok": True, "sentences": ["No divergences."]})
    assert good == ("The sampler's checks passed.", "No divergences.")
    assert verdict_sentences({"ok": False, "sentences": []})[0].startswith("UNRELIABLE: ")
    with pytest.raises(KeyError, match="the verdict has no 'sentences'"):
        verdict_sentences({"ok": True})
    with pytest.raises(TypeError, match="'ok' must be true or false, got 'no'"):
        verdict_sentences({"ok": "no", "sentences": []})
    with pytest.raises(TypeError, match="must be a list of texts"):
        verdict_sentences({"ok": True, "sentences": "fine"})


def test_provenance_leaves_out_what_is_not_known():
    assert (
        provenance_sentence({"title": "T\x1b", "version": "0.1.0", "author": ""}) == "T\\x1b; holdcast 0.1.0"
    )
