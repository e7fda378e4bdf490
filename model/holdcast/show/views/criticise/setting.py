"""What is seen of setting, resets and veers: sentences, tables, rows for the files."""

from typing import NamedTuple

import numpy as np
import xarray as xr

from holdcast.show.text.numbers import format_share
from holdcast.show.text.plain_table import TextTable

__all__ = [
    "SCATTER_NOTES",
    "SettingCriticism",
    "chance_rows",
    "chance_sentences",
    "ratio_text",
    "reset_veer_rows",
    "reset_veer_sentences",
    "setting_tables",
]

EVENT_WORDS = {
    "sets": (
        "a pull's anchor sets",
        "pull that says whether the anchor set",
        "pulls that say whether the anchor set",
    ),
    "sets again": ("an attempt to set again succeeds", "attempt to set again", "attempts to set again"),
}
"""What has a chance, and what one test of it and several are called."""
SCATTER_NOTES = {
    "spread": ("ratio", "value: standard deviation of residuals; 1 expected"),
    "tails": ("outside", "value: share beyond the 90% band; low and high: usual when the model is right"),
}


class SettingCriticism(NamedTuple):
    """What is seen of setting, setting again and veers, each as ``holdcast.answers.criticise`` gives it."""

    resets: xr.Dataset
    veers: xr.Dataset
    scatter: xr.Dataset
    chances: xr.Dataset


def chance_sentences(chances: xr.Dataset) -> list[str]:
    """Say of each kind of chance how it came true, or that too few tests tell."""
    sentences = []
    for event in chances["event"].to_numpy():
        here = chances.sel(event=event)
        total, number = here.sel(part="all"), int(here["tests"].sel(part="all"))
        if not number:
            continue
        tests = f"{number} {EVENT_WORDS[str(event)][1 if number == 1 else 2]}"
        if not bool(here["enough"]):
            sentences.append(f"The log has only {tests}: too few to tell whether such chances come true.")
            continue
        seen, low, high, predicted = (
            float(total[each]) for each in ("seen", "seen_low", "seen_high", "predicted")
        )
        side = (
            "more often than" if predicted < low else "less often than" if predicted > high else "as often as"
        )
        sentences.append(
            f"Of {tests}, {format_share(seen)} succeeded (90% interval {format_share(low)} to "
            f"{format_share(high)}), {side} the {format_share(predicted)} expected{_tenths_beyond(here)}."
        )
    return sentences


def _tenths_beyond(here: xr.Dataset) -> str:
    """Say in how many tenths of the predicted chance the share seen does not fit what was predicted."""
    tenths = here.isel(part=np.flatnonzero(((here["tests"] > 0) & (here["part"] != "all")).to_numpy()))
    outside = (tenths["predicted"] < tenths["seen_low"]) | (tenths["predicted"] > tenths["seen_high"])
    number = int(outside.sum())
    if not number:
        return ""
    return f"; in {number} of {tenths.sizes['part']} tenths of the chance it lies outside the interval"


def reset_veer_sentences(scatter: xr.Dataset) -> list[str]:
    """Say whether the counts of resets and the loads of veers scatter as the model says."""
    sentences = []
    for test in scatter["test"].to_numpy():
        here = scatter.sel(test=test)
        what = "counts" if test == "resets" else "loads"
        number = int(here["tests"])
        if not np.isfinite(float(here["ratio"])):
            count = f"{number} {test}" if number > 1 else f"1 {str(test).removesuffix('s')}"
            sentences.append(f"The log has only {count}: too few to tell how far their {what} scatter.")
            continue
        low, high = float(here["ratio_low"]), float(here["ratio_high"])
        width = "wider than" if low > 1.0 else "less widely than" if high < 1.0 else "as widely as"
        share, least, most = (format_share(float(here[f"outside{end}"])) for end in ("", "_low", "_high"))
        sentences.append(
            f"The {what} of {number} {test} scatter {width} the model says: {ratio_text(here)} times; "
            f"{share} lie beyond their 90% range, where {least} to {most} would be usual."
        )
    return sentences


def ratio_text(here: xr.Dataset) -> str:
    """Return how widely residuals scatter, with the interval."""
    ratio, low, high = (float(here[f"ratio{end}"]) for end in ("", "_low", "_high"))
    return f"{ratio:.2f} (90% interval {low:.2f} to {high:.2f})"


def setting_tables(setting: SettingCriticism | None) -> list[TextTable]:
    """Return the tables of chances and of resets and veers, each only where the log can tell."""
    if setting is None:
        return []
    chances = TextTable("Chances: predicted and seen", _CHANCE_HEADER, _chance_cells(setting.chances))
    tests = TextTable("Resets and veers", _TEST_HEADER, _test_cells(setting.scatter))
    return [table for table in (chances, tests) if table.rows]


def chance_rows(chances: xr.Dataset) -> list[dict[str, object]]:
    """Return one row a tenth of each chance, and one for all, for ``criticism.csv``."""
    rows = []
    for event in chances["event"].to_numpy():
        for part in chances["part"].to_numpy():
            here = chances.sel(event=event, part=part)
            if not int(here["tests"]):
                continue
            rows.append(
                {
                    "check": "chance",
                    "about": str(event),
                    "prediction": "left out",
                    "pulls": int(here["tests"]),
                    **{f"value{end}": float(here[f"seen{end}"]) for end in ("", "_low", "_high")},
                    "expected": float(here["predicted"]),
                    "note": f"value: share seen; predicted chances: {_tenth(str(part))}",
                }
            )
    return rows


def reset_veer_rows(scatter: xr.Dataset) -> list[dict[str, object]]:
    """Return two rows for resets and two for veers, for ``criticism.csv``."""
    return [
        {
            "check": look,
            "about": str(test),
            "prediction": "left out",
            "pulls": int(here["tests"]),
            **{f"value{end}": float(here[f"{variable}{end}"]) for end in ("", "_low", "_high")},
            "note": SCATTER_NOTES[look][1] if np.isfinite(float(here["ratio"])) else "too few tests",
        }
        for test in scatter["test"].to_numpy()
        for here in (scatter.sel(test=test),)
        for look, (variable, _) in SCATTER_NOTES.items()
    ]


_CHANCE_HEADER = ["chance that", "predicted", "mean", "seen (90% interval)", "tests"]
_TEST_HEADER = ["tests", "number", "residuals' spread (1)", "beyond 90% range (usual)"]


def _chance_cells(chances: xr.Dataset) -> list[list[str]]:
    rows = []
    for event in chances["event"].to_numpy()[chances["enough"].to_numpy()]:
        name = EVENT_WORDS[str(event)][0]
        for part in chances["part"].to_numpy():
            here = chances.sel(event=event, part=part)
            if not int(here["tests"]):
                continue
            mean, seen, low, high = (
                format_share(float(here[each])) for each in ("predicted", "seen", "seen_low", "seen_high")
            )
            rows.append([name, _tenth(str(part)), mean, f"{seen} ({low} to {high})", str(int(here["tests"]))])
            name = ""
    return rows


def _tenth(part: str) -> str:
    if part == "all":
        return "all"
    return f"{100 * float(part):.0f} to {100 * float(part) + 10:.0f}%"


def _test_cells(scatter: xr.Dataset) -> list[list[str]]:
    rows = []
    for test in scatter["test"].to_numpy():
        here = scatter.sel(test=test)
        if np.isfinite(float(here["ratio"])):
            ratio, low, high = (float(here[f"ratio{end}"]) for end in ("", "_low", "_high"))
            share, least, most = (format_share(float(here[f"outside{end}"])) for end in ("", "_low", "_high"))
            spread = f"{ratio:.2f} ({low:.2f} to {high:.2f})"
            rows.append([str(test), str(int(here["tests"])), spread, f"{share} ({least} to {most})"])
    return rows
