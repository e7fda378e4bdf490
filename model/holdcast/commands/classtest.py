"""The command classtest: twice or four times the capacity of a stockless anchor, or not."""

from functools import partial
from typing import TYPE_CHECKING

from holdcast.commands.shared.answering import (
    Everything,
    Picture,
    PictureSizes,
    Results,
    ask,
    records,
    say_answer,
    say_reading,
    say_sheet,
    wrapped,
)
from holdcast.commands.shared.common import AsJson, Units, say_json

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["classtest"]

_NO_STOCKLESS = (
    "The campaign has no stockless anchor (form stockless), so no capacity can be compared with one. Pull "
    "one beside the others and fit again."
)


def classtest(
    results: Results,
    everything: Everything = False,
    picture: Picture = False,
    picture_size: PictureSizes = None,
    units: Units = None,
    as_json: AsJson = False,
) -> None:
    """Show the chance that a pull sets and holds 2 or 4 times what a stockless anchor of equal mass does.

    With --all also the tests that the class rule asks for and the campaign lacks.  All are ratios and counts,
    the same in either units.

    Example: holdcast classtest my-campaign/results
    """
    say_reading(results)
    from holdcast.answers.classtest.classtest import class_test, stockless_designs
    from holdcast.answers.classtest.requirements import class_requirements
    from holdcast.capacity import load
    from holdcast.show.views.classtest import (
        class_lines,
        class_sentences,
        class_sheet,
        lacking_sentences,
        missing_lines,
    )

    fit = load(results)
    needs = class_requirements(fit)
    marks = {"ok": fit.verdict.ok, "approximate": fit.verdict.approximate}
    tests = records(needs.to_dataframe().reset_index())
    if not stockless_designs(fit):
        if as_json:
            say_json({**marks, "reference": None, "text": _NO_STOCKLESS, "tests": tests})
        else:
            say_answer(fit, [*wrapped([_NO_STOCKLESS]), *missing_lines(needs)], with_cautions=False)
        return
    answer = ask(lambda: class_test(fit))
    sheet = partial(class_sheet, answer, reliable=fit.verdict.ok)
    say_sheet(sheet, results, "classtest", picture, picture_size)
    if as_json:
        say_json({**marks, **_json(answer), "tests": tests})
        return
    missing = missing_lines(needs) if everything else ["", *wrapped(lacking_sentences(needs))]
    table = class_lines(answer, everything=everything)
    say_answer(fit, [*table, "", *wrapped(class_sentences(answer)), *missing])


def _json(answer: "xr.Dataset") -> dict[str, object]:
    names = ("reaches_bottom", "reaches_all", "reaches", "ratio")
    parts = {name: records(answer[name].to_dataframe().reset_index()) for name in names}
    return {"reference": answer.attrs["references"], **parts}
