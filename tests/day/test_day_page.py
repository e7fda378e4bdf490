"""The day page as a document: its policy, its names, its size, and what it refuses."""

import base64
import hashlib
import json
import re
import string

import numpy as np
import pytest
from invented_day import TEST_DAY, planned_tests

from holdcast.campaign.columns.known_columns import TRIALS
from holdcast.show.day import write_day_page
from holdcast.show.day.packing import packed_levels
from holdcast.show.day.page_data import load_text, readings_at


def data_of(html):
    return re.search(r'id="day-data">(.*?)</script>', html, re.DOTALL).group(1)


def test_policy_lets_only_our_own_script_and_style_through(readings, make_day):
    html = make_day(readings)
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', html).group(1)
    assert "default-src 'none'" in policy and "unsafe" not in policy
    for tag in ("script", "style"):
        text = re.search(rf"<{tag}>(.*?)</{tag}>", html, re.DOTALL).group(1)
        digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
        assert f"{tag}-src 'sha256-{digest}'" in policy
        assert not re.search(r"\beval\b|new Function|innerHTML|fetch\(|import\(|XMLHttp", text)
    assert html.count("<script") == 2 and " style=" not in html and not re.search(r"\son[a-z]+=\"", html)


def test_names_are_text(readings, make_day):
    html = make_day(readings)
    data = data_of(html)
    assert "<" not in data and "&" not in data
    assert json.loads(data)["seabeds"] == readings["seabed"].to_numpy().tolist()
    assert "<img" not in html and "<b>bold" not in html and "<i>are" not in html


def test_expected_loads_are_those_of_the_table(readings, make_day):
    html = make_day(readings)
    for test in planned_tests(readings):
        low, middle, high = (
            load_text(float(load), "kn")
            for load in readings["expected_n"].sel(anchor=test.anchor, seabed=test.seabed)
        )
        assert f"Expect {low} to {high} kN</strong>; half of all pulls above {middle}." in html


@pytest.mark.parametrize(
    ("newtons", "unit", "text"),
    [(2346.0, "kn", "2.35"), (23456.0, "kn", "23.5"), (2346.0, "n", "2350"), (444.8, "lbf", "100"),
     (61.0, "n", "61.0"), (9999.0, "kn", "10.0"), (980.665, "kgf", "100")],
)  # fmt: skip
def test_loads_in_the_log_s_unit(newtons, unit, text):
    assert load_text(newtons, unit) == text


@pytest.mark.parametrize("gap", [0.02, 3.0])
def test_packed_levels_come_back(gap):
    """Unpacked here by the format's own words; a large gap makes all steps larger."""
    levels = np.sort(np.random.default_rng(3).normal(7.0, 1.0, (40, 5, 3)), axis=0)
    levels[20:] += gap
    packed = packed_levels(levels)
    whole = np.frombuffer(base64.b64decode(packed["first"]), "<u2").astype(int)
    digits = string.ascii_uppercase + string.ascii_lowercase + string.digits + "+/"
    pairs = re.findall("..", packed["rises"])
    rises = np.array([64 * digits.index(high) + digits.index(low) for high, low in pairs])
    rises = np.vstack([whole, rises.reshape(39, 15)]).cumsum(axis=0)
    restored = packed["low"] + packed["step"] * rises.reshape(levels.shape)
    assert abs(restored - levels).max() <= 0.5001 * packed["step"] < 5e-4
    with pytest.raises(ValueError, match="must rise"):
        packed_levels(levels[::-1])


def test_between_levels_by_odds(readings):
    wanted = readings["expected_n"].isel(anchor=2, seabed=1).to_numpy()
    anchor, seabed = (str(readings[name].to_numpy()[i]) for name, i in (("anchor", 2), ("seabed", 1)))
    np.testing.assert_allclose(readings_at(readings, anchor, seabed, (0.05, 0.5, 0.95)), wanted, rtol=1e-3)


def test_script_s_words_are_the_reader_s(readings, make_day):
    html = make_day(readings)
    columns = {column.name: column for column in TRIALS.columns}
    for name, choices in (("stopped_by", columns["stopped_by"].words), ("set", columns["set"].words)):
        tags = {
            "stopped_by": r'<select id="f-stopped_by".*?</select>',
            "set": r"<legend>Did it.*?</fieldset>",
        }
        part = re.search(tags[name], html, re.DOTALL).group(0)
        assert set(re.findall(r'value="([a-z_]+)"', part)) == set(choices)
    kinds = re.findall(r'name="test" value="([a-z]+)"', html)
    assert tuple(kinds) == columns["test"].words
    limits = json.loads(data_of(html))["limits"]
    assert limits["held"]["most"] == pytest.approx(columns["held"].most / 1000)
    assert limits["veer"] == {"whole": False, "above": 0.0, "least": None, "most": 360.0}
    assert limits["successes"]["whole"] and set(limits) <= set(columns)


def refused(readings, message, error=ValueError, planned=None, **changes):
    with pytest.raises(error, match=message):
        write_day_page(
            "never.html",
            planned_tests(readings) if planned is None else planned,
            readings,
            TEST_DAY._replace(**changes),
        )


def test_unfit_input_is_refused(readings, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    refused(readings, "no test", planned=[])
    refused(readings, "unit of force 'tons'; known: n, kn, kgf, lbf", force_unit="tons")
    refused(readings, "unit of length 'mm'", length_unit="mm")
    lost = [test._replace(anchor="moon") for test in planned_tests(readings)]
    refused(readings, "unknown anchor moon", KeyError, planned=lost)
    lost = [test._replace(seabed="dust") for test in planned_tests(readings)]
    refused(readings, "unknown seabed dust", KeyError, planned=lost)
    refused(readings.assign(reading_n=-readings["reading_n"]), "finite numbers above 0")
    refused(readings.assign(sets=readings["sets"] + 1), "between 0 and 1")
    refused(readings.isel(level=slice(None, None, -1)), "levels must rise")
    assert list(tmp_path.iterdir()) == []


def test_written_whole_and_told_how_large(readings, make_day, tmp_path):
    path = tmp_path / "day.html"
    path.write_text("older", encoding="utf-8")
    size = write_day_page(path, planned_tests(readings), readings, TEST_DAY)
    assert path.stat().st_size == size and path.read_text(encoding="utf-8") == make_day(readings)
    assert list(tmp_path.iterdir()) == [path]
    (tmp_path / "folder.html").mkdir()
    with pytest.raises(OSError, match=r"folder\.html"):
        write_day_page(tmp_path / "folder.html", planned_tests(readings), readings, TEST_DAY)
    assert sorted(file.name for file in tmp_path.iterdir()) == ["day.html", "folder.html"]


def test_safety_comes_first(readings, make_day):
    text = re.sub(r"<[^>]+>", " ", make_day(readings).split("<body>")[1])
    first = [
        text.index(words) for words in ("Stand clear of a loaded rode", "Nobody in the bight", "Expect ")
    ]
    assert first == sorted(first) and "no guarantee, no safety factor" in text
