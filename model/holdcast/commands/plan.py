"""``holdcast plan``: which tests next, and what each is expected to narrow."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from holdcast.commands.published.day_file import DAY_FILE, write_day
from holdcast.commands.shared.answering import (
    Results,
    ask,
    finite_or_none,
    records,
    say_answer,
    say_reading,
    shown_units,
    write_csv,
)
from holdcast.commands.shared.common import AsJson, InputError, Units, progress, say_json
from holdcast.show.text.text_columns import terminal_width

if TYPE_CHECKING:
    from holdcast.answers.plan.planned import Plan
    from holdcast.capacity.fitting import Fit

__all__ = ["plan"]

PLAN_FILE = "plan.csv"

Hours = Annotated[float, typer.Option(help="Hours you have, travel counted.", show_default=False)]
Anchors = Annotated[
    list[str] | None, typer.Option(help="Only this anchor's bands or pairs count; may be given again.")
]
Seabeds = Annotated[
    list[str] | None, typer.Option(help="Only this seabed's bands or pairs count; may be given again.")
]
Carry = Annotated[int | None, typer.Option(help="How many anchors can be carried in all.")]
For = Annotated[
    Literal["cells", "ranking", "features"],
    typer.Option("--for", help="What to narrow: bands of cells, orders of anchors, effects of features."),
]
Features = Annotated[
    list[str] | None, typer.Option(help="With --for features: only this one; may be given again.")
]
Aboard = Annotated[list[str] | None, typer.Option(help="Only this anchor can be tested; may be given again.")]
Without = Annotated[list[str] | None, typer.Option(help="This seabed cannot be visited; may be given again.")]
HoursOf = Annotated[
    list[str] | None, typer.Option(help="Hours, as SEABED=HOURS, or HOURS for every seabed left blank.")
]
Out = Annotated[Path | None, typer.Option(help="File of the plan; RESULTS/plan.csv by default.")]


def plan(  # noqa: PLR0913  every option of the command line is an argument
    results: Results,
    hours: Hours,
    anchor: Anchors = None,
    seabed: Seabeds = None,
    carry: Carry = None,
    aim: For = "cells",
    feature: Features = None,
    aboard: Aboard = None,
    without: Without = None,
    travel_h: HoursOf = None,
    setup_h: HoursOf = None,
    pull_h: HoursOf = None,
    out: Out = None,
    units: Units = None,
    as_json: AsJson = False,
) -> None:
    """Plan a day: which anchors to pull in which seabeds, how often, and what that is expected to narrow.

    Any anchor may be pulled anywhere to narrow what counts; --aboard and --without say what cannot be.

    Example: holdcast plan my-log/results --hours 8 --seabed "stony spit" --carry 4
    """
    say_reading(results)
    hours_given = _hours_given({"travel_h": travel_h, "setup_h": setup_h, "pull_h": pull_h})
    from holdcast.answers.plan.open_questions import Goal
    from holdcast.answers.plan.plan import plan as plan_day
    from holdcast.capacity.store import load

    fit = load(results)
    goal = Goal(aim, anchor or (), seabed or (), feature or ())
    may = {"aboard": aboard or (), "without": without or ()}
    day = ask(lambda: plan_day(fit, hours, goal, **may, carry=carry, hours_given=hours_given))
    _write(fit, day, out or results / PLAN_FILE)
    _show(fit, day, shown_units(fit, units), as_json=as_json)


def _write(fit: "Fit", day: "Plan", path: Path) -> None:
    """Write the table of the plan, and the page for the boat beside it."""
    from holdcast.answers.draws.draws import draws_of
    from holdcast.show.views.plan import plan_table

    write_csv(plan_table(day), path, approximate=fit.verdict.approximate)
    write_day(draws_of(fit), day.rows, path.with_name(DAY_FILE))


def _show(fit: "Fit", day: "Plan", units: str, *, as_json: bool) -> None:
    from holdcast.show.views.plan import plan_lines, plan_table

    if as_json:
        marks = {"reliable": fit.verdict.ok, "approximate": fit.verdict.approximate}
        summed = {str(name): finite_or_none(value) for name, value in day.to_dataset().attrs.items()}
        say_json({**marks, **summed, "rows": records(plan_table(day))})
        return
    say_answer(fit, plan_lines(day, units, width=terminal_width()))


def _hours_given(texts: dict[str, list[str] | None]) -> dict[str, dict[str, float]]:
    """Return the hours of the command line by column and seabed; a number alone is for every blank one.

    Raises
    ------
    InputError
        With every text that cannot be read.
    """
    hours: dict[str, dict[str, float]] = {column: {} for column in texts}
    wrong = []
    for column, entries in texts.items():
        for text in entries or ():
            seabed, _, number = text.rpartition("=")
            try:
                hours[column][seabed.strip()] = float(number)
            except ValueError:
                wrong.append(f"--{column.replace('_', '-')} {text!r}")
    if wrong:
        raise InputError(
            f'hours are SEABED=HOURS, such as "creek silt=0.5", or a number alone; got {", ".join(wrong)}'
        )
    for column, entries in texts.items():
        if entries:
            progress(f"{column} from the command line: {', '.join(entries)}")
    return hours
