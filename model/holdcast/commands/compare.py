"""``holdcast compare``: what moved between two results, and which trials did it."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from holdcast.commands.shared.answering import (
    Everything,
    Picture,
    PictureSizes,
    Results,
    ask,
    records,
    say_answer,
    say_drawn,
    say_reading,
    shown_units,
)
from holdcast.commands.shared.common import AsJson, Units, say_json

if TYPE_CHECKING:
    import xarray as xr

    from holdcast.capacity.fitting import Fit
    from holdcast.show.figures.sheet import PictureSize
    from holdcast.show.views.compare.moves import Behind, Compared

__all__ = ["compare"]

NewResults = Annotated[Path, typer.Argument(help="Folder of the newer results.", show_default=False)]


def compare(
    old: Results,
    new: NewResults,
    everything: Everything = False,
    picture: Picture = False,
    picture_size: PictureSizes = None,
    units: Units = None,
    as_json: AsJson = False,
) -> None:
    """Compare two results: which cells, chances, effects and ranks moved, and because of which trials.

    Example: holdcast compare spring/results autumn/results
    """
    say_reading(old, new)
    from holdcast.answers.compare.compare import MOVED
    from holdcast.capacity.store import load
    from holdcast.show.views.compare.moves import compare_lines, compare_sheet, moved_cells

    before, after = load(old), load(new)
    answer = ask(lambda: _compared(before, after))
    rows = moved_cells(answer.cells, MOVED)
    reliable = before.verdict.ok and after.verdict.ok
    screen, failed, quick_mark = shown_units(after, units), *_marks(before, after)

    def draw(shapes: "Sequence[PictureSize]") -> list[Path]:
        from holdcast.show.figures.intervals import drop_figure, save_figure

        if rows.empty:
            drop_figure(new / "figures", "compare")
            return []
        sheet = compare_sheet(rows, screen, after.tree.attrs, warnings=quick_mark, reliable=reliable)
        return save_figure(sheet, new / "figures", "compare", shapes)

    say_drawn(draw, picture, picture_size)
    if as_json:
        say_json(_json(before, after, answer, reliable=reliable))
        return
    cells = list(zip(rows["anchor"], rows["seabed"], strict=True))
    behind = _behind(before, after, answer, cells)
    lines = compare_lines(answer, behind, MOVED, screen, everything=everything)
    say_answer(after, lines, marks=[*failed, *quick_mark])


def _json(old: "Fit", new: "Fit", answer: "Compared", *, reliable: bool) -> dict[str, object]:
    quick = {
        f"{side}_approximate": fit.verdict.approximate
        for side, fit in zip(("old", "new"), (old, new), strict=True)
    }
    marks = {"ok": reliable, "reliable": reliable, "approximate": any(quick.values())}
    return {**marks, **quick, **_plain(answer)}


def _marks(old: "Fit", new: "Fit") -> tuple[list[str], list[str]]:
    """Return which of the two results are unreliable, and which come from a quick fit, as sentences."""
    from holdcast.show.text.sentences import UNRELIABLE, approximate_sentence

    def sides(bad: "tuple[bool, bool]") -> str:
        return " and the ".join(name for name, failed in zip(("old", "new"), bad, strict=True) if failed)

    failed = sides((not old.verdict.ok, not new.verdict.ok))
    quick = sides((old.verdict.approximate, new.verdict.approximate))
    warning = f"the sampler's checks failed for the {failed} results. Do not use or publish this comparison."
    return (
        [f"{UNRELIABLE}: {warning}"] if failed else [],
        [approximate_sentence(f"the {quick} results come from")] if quick else [],
    )


def _compared(old: "Fit", new: "Fit") -> "Compared":
    from holdcast.answers.compare.compare import cells_moved, chances_moved, effects_moved, ranks_moved
    from holdcast.answers.compare.log_changes import rows_changed, settings_changed, trials_changed
    from holdcast.show.views.compare.moves import Compared

    return Compared(
        cells_moved(old, new),
        effects_moved(old, new),
        ranks_moved(old, new),
        trials_changed(old, new),
        rows_changed(old, new, "anchors"),
        rows_changed(old, new, "seabeds"),
        settings_changed(old, new),
        chances_moved(old, new),
    )


def _behind(old: "Fit", new: "Fit", answer: "Compared", cells: list[tuple[str, str]]) -> "Behind":
    from holdcast.answers.compare.log_changes import trials_behind

    return {cell: trials_behind(old, new, answer.trials, *cell) for cell in cells}


def _plain(answer: "Compared") -> dict[str, object]:
    """Return every cell, effect, rank, trial and setting as rows of plain numbers and text."""
    from holdcast.show.views.compare.chances import moved_chances
    from holdcast.show.views.compare.moves import moved_cells

    def rows(data: "xr.Dataset") -> list[dict[str, object]]:
        return records(data.to_dataframe().reset_index())

    ranks = answer.ranks.sel(quantile=0.5, drop=True)
    effects = answer.effects[["move", "band_ratio", "outside"]]
    named = {
        "trials": answer.trials,
        "anchors": answer.anchors,
        "seabeds": answer.seabeds,
        "settings": answer.settings,
    }
    plain: dict[str, object] = {name: rows(data) for name, data in named.items()}
    return {
        "cells": records(moved_cells(answer.cells, 0.0)),
        "chances": records(moved_chances(answer.chances, 0.0)),
        "effects": rows(effects),
        "ranks": rows(ranks),
        **plain,
    }
