"""The day page: from a plan and a table of expected readings to one HTML file that needs nothing else."""

import os
from collections.abc import Sequence
from pathlib import Path

import xarray as xr

from holdcast.show.day.page_data import (
    FORCES,
    LENGTHS,
    DayFacts,
    PlannedTest,
    check_day,
    day_data,
    load_text,
    readings_at,
)
from holdcast.show.day.safety import SAFETY, SAFETY_IN_ONE_LINE
from holdcast.show.report.offline import file_text, render, safe_json, source_hash, trusted
from holdcast.show.text.cautions import CAUTIONS
from holdcast.show.text.name_order import name_order
from holdcast.show.text.numbers import format_share

__all__ = ["day_html", "write_day_page"]

_PACKAGE = "holdcast.show.day"
_SCRIPTS = ("reading.js", "turns.js", "log.js", "joining.js", "keeping.js", "screen.js")
_EXPECTED_LEVELS = (0.05, 0.5, 0.95)
_REPEAT_LEVELS = (0.025, 0.975)
"""Beyond these a reading is repeated: fewer than 1 in 20 come out as far, both sides together."""
_BLANK_ROWS = 6
_MOST_ROWS = 30
"""Rows of the paper log: what fits one sheet."""


def write_day_page(
    path: str | Path, planned: Sequence[PlannedTest], expected: xr.Dataset, facts: DayFacts
) -> int:
    """Write the day page, whole or not at all.

    Parameters
    ----------
    path : str or Path
        Replaced when it is there.
    planned : sequence of PlannedTest
    expected : Dataset
        As from ``holdcast.answers.readings.expected_readings``, of every anchor in every seabed of the
        campaign, pulled as ``facts`` say.
    facts : DayFacts

    Returns
    -------
    int
        Size of the page [bytes].

    Raises
    ------
    ValueError, KeyError
        As :func:`holdcast.show.day.page_data.check_day`; nothing is written.
    OSError
        When the machine does not let the page be written; an older page stays as it was.
    """
    content = day_html(planned, expected, facts).encode("utf-8")
    target = Path(path)
    beside = target.with_name(f"{target.name}.{os.getpid()}.part")
    try:
        beside.write_bytes(content)
        beside.replace(target)
    finally:
        beside.unlink(missing_ok=True)
    return len(content)


def day_html(planned: Sequence[PlannedTest], expected: xr.Dataset, facts: DayFacts) -> str:
    """Return the day page as one HTML document: nothing is fetched, one script and one style of our own.

    Its policy lets these two through by their hashes, and nothing else.  See :func:`write_day_page`.

    Raises
    ------
    ValueError, KeyError
        As :func:`holdcast.show.day.page_data.check_day`.
    """
    check_day(planned, expected, facts)
    in_order = sorted(planned, key=lambda test: test.order)
    style = file_text(_PACKAGE, "day.css")
    script = '"use strict";\n(() => {\n' + "".join(file_text(_PACKAGE, name) for name in _SCRIPTS) + "})();\n"
    tests = _tests(in_order, expected, facts)
    content = {
        "title": facts.title or "Test campaign",
        "notices": facts.notices,
        "provenance": facts.provenance,
        "safety": SAFETY,
        "safety_line": SAFETY_IN_ONE_LINE,
        "cautions": CAUTIONS,
        "rode_words": _rode_words(facts),
        "read_at": f"at the {facts.load_at}",
        "force": FORCES[facts.force_unit][0],
        "length": LENGTHS[facts.length_unit][0],
        "tests": tests,
        "hours": f"{sum(test.hours for test in in_order):.3g}",
        "paper_rows": _paper_rows(in_order),
        "anchors": sorted(
            enumerate(map(str, expected["anchor"].to_numpy())), key=lambda pair: name_order(pair[1])
        ),
        "seabeds": [str(name) for name in expected["seabed"].to_numpy()],
        "rodes": facts.rodes,
        "instruments": facts.instruments,
        "style": trusted(style),
        "style_source": trusted(source_hash(style)),
        "script": trusted(script),
        "script_source": trusted(source_hash(script)),
        "data": trusted(safe_json(day_data(in_order, expected, facts))),
    }
    return render(_PACKAGE, "day.html.jinja", content)


def _tests(planned: Sequence[PlannedTest], expected: xr.Dataset, facts: DayFacts) -> list[dict[str, object]]:
    """Return the planned tests as text."""

    def loads(test: PlannedTest, levels: Sequence[float]) -> list[str]:
        readings = readings_at(expected, test.anchor, test.seabed, levels)
        return [load_text(reading, facts.force_unit) for reading in readings]

    return [
        {
            "number": number,
            "anchor": test.anchor,
            "seabed": test.seabed,
            "pulls": test.pulls,
            "hours": f"{test.hours:.3g}",
            "because": _sentence(test.because),
            "expected": loads(test, _EXPECTED_LEVELS),
            "sets": format_share(float(expected["sets"].sel(anchor=test.anchor, seabed=test.seabed))),
            "repeat": loads(test, _REPEAT_LEVELS),
        }
        for number, test in enumerate(planned, start=1)
    ]


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:].rstrip('.')}." if text else ""


def _rode_words(facts: DayFacts) -> str:
    if facts.scope is None:
        return "pulled along the bottom"
    chain = "" if facts.chain is None else "{:.3g} kg/m of chain, {:.3g} m".format(*facts.chain)
    rode = facts.rode or chain
    return f"{f'on {rode}' if rode else 'pulled'} at scope {facts.scope:.3g}"


def _paper_rows(planned: Sequence[PlannedTest]) -> list[tuple[str, str]]:
    """Return seabed and anchor of each row of the paper log, blank rows last, one sheet of them at most."""
    rows = [(test.seabed, test.anchor) for test in planned for _ in range(test.pulls)]
    return [*rows[: _MOST_ROWS - _BLANK_ROWS], *[("", "")] * _BLANK_ROWS]
