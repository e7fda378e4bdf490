"""The page for a day on the water, written beside a plan."""

import math
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from holdcast.commands.shared.answering import marks_of, say_written

if TYPE_CHECKING:
    from holdcast.answers.draws.draws import Draws
    from holdcast.answers.page.day_readings import UsualRode
    from holdcast.show.day import DayFacts, PlannedTest

__all__ = ["DAY_FILE", "write_day"]

DAY_FILE = "day.html"
_LOG_UNITS = {"si": ("kn", "m"), "us": ("lbf", "ft")}
"""Of loads and lengths that somebody types on the page, by the campaign's units."""


def write_day(draws: "Draws", tests: "Sequence[PlannedTest]", path: Path) -> None:
    """Write the page of planned tests, on the rode that most of the log's pulls were made on.

    Loads in kN and lengths in m, or lbf and ft, as the campaign says.

    Parameters
    ----------
    draws : Draws
        Of the fit that the plan was made from.
    tests : sequence of PlannedTest
    path : Path
        Replaced when it is there.

    Raises
    ------
    OSError
        When the page cannot be written.
    """
    from holdcast.answers.page.day_readings import day_readings, usual_rode
    from holdcast.show.day import write_day_page

    usual = usual_rode(draws)
    write_day_page(path, tests, day_readings(draws, usual), _facts(draws, usual))
    say_written([path])


def _facts(draws: "Draws", usual: "UsualRode") -> "DayFacts":
    from holdcast.campaign.columns.typed_numbers import typed_numbers
    from holdcast.show.day import DayFacts
    from holdcast.show.text.sentences import provenance_sentence

    trials, attributes = draws.table("trials"), draws.fit.tree.attrs
    force, length = _LOG_UNITS[str(attributes.get("units", "si"))]
    return DayFacts(
        title=str(attributes.get("title", "")),
        limits=typed_numbers(force, length),
        force_unit=force,
        length_unit=length,
        trials=[str(name) for name in trials.index],
        rodes=[str(name) for name in draws.table("rodes").index]
        if "rodes" in draws.fit.tree.children
        else [],
        instruments=[str(name) for name in trials.get("instrument", trials.index[:0]).unique() if name],
        rode=usual.rode,
        chain=None if math.isnan(usual.chain_kg_per_m) else (usual.chain_kg_per_m, usual.chain_length_m),
        scope=None if math.isnan(usual.scope) else usual.scope,
        load_at=usual.load_at,
        notices=marks_of(draws.fit),
        provenance=provenance_sentence(attributes),
    )
