"""The picture of the worlds shows the numbers of their table."""

from importlib import import_module
from pathlib import Path
from types import ModuleType

import numpy as np
import pandas as pd
import pytest
from matplotlib.figure import Figure

from holdcast.evaluate.outcomes import read_outcomes

ROOT = Path(__file__).parents[2]


@pytest.fixture
def figures() -> ModuleType:
    return import_module("pages.worlds_figure")


def test_dots_stand_where_the_table_says(
    figures: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    drawn: list[Figure] = []
    whole = figures.svg_text
    monkeypatch.setattr(figures, "svg_text", lambda figure: drawn.append(figure) or whole(figure))
    outcomes = read_outcomes(ROOT / "docs" / "worlds.jsonl")
    least = import_module("worlds_floor").least_over_best(outcomes)
    figures.save_worlds_figure(outcomes, least, tmp_path / "worlds.svg")
    assert (tmp_path / "worlds.svg").read_text(encoding="utf-8").startswith("<?xml")
    frame = pd.DataFrame([row for outcome in outcomes for row in figures.scores(outcome)])
    worlds = list(dict.fromkeys(frame["world"]))
    errors, cover = drawn[0].axes
    assert [label.get_text() for label in errors.get_yticklabels()] == [w.replace("_", " ") for w in worlds]
    ours = frame[frame["method"] == figures.OURS].groupby("world", sort=False)
    found = {
        axes: [float(line.get_xdata()[0]) for line in axes.lines if _is_ours(line)]
        for axes in (errors, cover)
    }
    assert found[cover] == pytest.approx([100.0 * inside["cover90"].mean() for _, inside in ours])
    best = frame[frame["method"] == figures.BEST].set_index(["world", "campaign"])["error"]
    logs = [np.log(inside.set_index(["world", "campaign"])["error"] / best).mean() for _, inside in ours]
    assert found[errors] == pytest.approx(list(np.exp(logs)))
    (bound,) = [line for line in errors.lines if line.get_gid() == "least"]
    assert list(bound.get_xdata()) == [least[world] for world in worlds]


def _is_ours(line: object) -> bool:
    return line.get_marker() == "o" and line.get_markerfacecolor() != "white"  # type: ignore[attr-defined]
