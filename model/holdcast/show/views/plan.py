"""A day's plan: tests in order of travel, hours in sum, what is in doubt now and after, as text and table."""

from collections.abc import Sequence
from math import exp

import pandas as pd

from holdcast.answers.plan.planned import Plan
from holdcast.plain_numbers import significant
from holdcast.show.text.numbers import format_load, format_share, load_unit
from holdcast.show.text.plain_table import plain_table
from holdcast.show.text.text_columns import wrap

__all__ = ["plan_lines", "plan_table"]

_HEADER = ("", "seabed", "anchor", "pulls", "hours", "narrows", "because")
_HOW_LONG = "Travel counts once a visit, setting up once for each anchor on it, and each pull."
_HOW_ORDERED = (
    "The visit that narrows most for an hour stands first, so a day cut short has done the most. The log "
    "does not say how far one seabed lies from the next: weather and way go before this order."
)


def plan_table(plan: Plan) -> pd.DataFrame:
    """Return the table of plan.csv, one row for each anchor on each visit."""
    return plan.to_dataset().to_dataframe().reset_index()


def plan_lines(plan: Plan, units: str, *, width: int) -> list[str]:
    """Return the plan as lines: the table, then hours, what is expected, and how it was counted.

    Parameters
    ----------
    plan : Plan
    units : {"si", "us"}
    width : int
        Width of a line.
    """
    if not plan.rows:
        return wrap(f"No test narrows {_counted(plan)}: nothing is left in doubt.", width)
    rows = [
        [
            str(row.order),
            row.seabed,
            row.anchor,
            str(row.pulls),
            f"{row.hours:.2f}",
            f"{100 * row.narrows:.1f}%",
            row.because,
        ]
        for row in plan.rows
    ]
    table = plain_table(_HEADER, rows, numbers=(0, 3, 4, 5), width=width)
    sentences = [_hours(plan), _expected(plan), _parts(plan), _limit(plan, units), _HOW_ORDERED]
    return [*table, "", *(line for text in sentences for line in wrap(text, width))]


def _hours(plan: Plan) -> str:
    visits = len({row.seabed for row in plan.rows})
    pulls, anchors = sum(row.pulls for row in plan.rows), len({row.anchor for row in plan.rows})
    total, available = significant(plan.hours_total), significant(plan.hours_given)
    return (
        f"{total} of {available} hours: {_many(pulls, 'pull')} of {_many(anchors, 'anchor')} in "
        f"{_many(visits, 'seabed')}. {_HOW_LONG}"
    )


def _expected(plan: Plan) -> str:
    """Say what is in doubt now and is expected to be after the day."""
    less = format_share(plan.narrows)
    if plan.aim == "ranking":
        return (
            f"Of {_counted(plan)}, each in the order that most draws have it, about "
            f"{significant(plan.before)} are in the wrong order now; after the day about "
            f"{significant(plan.after)}, {less} fewer. Told apart: {significant(plan.apart_before)} now, "
            f"about {significant(plan.apart_after)} after."
        )
    return (
        f"From end to end, the mean of {_counted(plan)} is a factor of {exp(plan.before):.2f} now; after the "
        f"day it should be about {exp(plan.after):.2f}: {less} narrower on the log scale."
    )


def _parts(plan: Plan) -> str:
    whole = "wrong orders" if plan.aim == "ranking" else "mean width on the log scale"
    return (
        f"narrows: the share of the {whole} that a test is expected to take away; all rows together "
        f"{100 * plan.narrows:.1f}%. It is an expectation, and a day may bring less or more."
    )


def _limit(plan: Plan, units: str) -> str:
    load = f"{format_load(plan.limit_n, units)} {load_unit(units)}"
    return f"A pull above {load}, the highest load in the log, counts as one that the boat must stop."


def _counted(plan: Plan) -> str:
    noun = {"cells": "90% band", "features": "90% band of a feature's effect", "ranking": "pair of anchors"}
    plural = {
        "cells": "90% bands",
        "features": "90% bands of features' effects",
        "ranking": "pairs of anchors, seabed by seabed",
    }
    words: Sequence[str] = (noun[plan.aim], plural[plan.aim])
    return f"{plan.counted:,} {words[plan.counted != 1]}"


def _many(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"
