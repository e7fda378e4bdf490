"""Recovery of simulated campaigns: the script's own arithmetic, and two campaigns with loose bounds."""

import importlib
import json
import math
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from holdcast.capacity.likelihood.kinds import ABOVE, BELOW, BETWEEN, EXACT
from holdcast.capacity.sampler.sampling import Effort
from holdcast.evaluate.model_digest import model_digest


@pytest.fixture(scope="module")
def recovery() -> ModuleType:
    return importlib.import_module("recovery")


@pytest.fixture(scope="module")
def layout() -> ModuleType:
    return importlib.import_module("simulated.recovery_layout")


def record(number: int, covered: int, cells: int = 10) -> dict[str, object]:
    part = {"cells": cells, "square_error": 0.04, "covered_50": covered // 2, "width_50": 0.5,
            "covered_90": covered, "width_90": 1.2}  # fmt: skip
    return {
        "campaign": number,
        "seed": number,
        "model": model_digest(),
        "seconds": 9.0,
        "hidden": part,
        "tested": part,
        "divergences": 0,
        "ess_bulk_min": 900.0,
        "ess_bulk_min_cells": 2000.0,
        "kinds": [16, 16, 8, 120],
    }


def test_the_standard_error_is_clustered(recovery: ModuleType) -> None:
    """Cells of one campaign that are all covered or all not count as one, so the error is that of a few
    campaigns; for equal sizes it is the sd of their shares over the root of their number (identity)."""
    shares = np.array([1.0, 0.5, 0.9, 0.8])
    ratio, error = recovery.share(list(10 * shares), [10] * 4)
    assert ratio == pytest.approx(0.8)
    assert error == pytest.approx(shares.std(ddof=1) / 2.0)
    assert math.isnan(recovery.share([9], [10])[1])


def test_a_run_that_was_stopped_goes_on_where_it_was(recovery: ModuleType, tmp_path: Path) -> None:
    records = tmp_path / "records.jsonl"
    other = {**record(0, 1), "model": "of another version of the model"}
    whole = [json.dumps(each) for each in (record(1, 9), other, record(0, 9))]
    records.write_text("\n".join(whole) + '\n{"campaign": 2, "hid', encoding="utf-8")
    again = recovery.run(2, records)
    assert again == [record(0, 9), record(1, 9)]


def test_the_page_tells_coverage_and_its_error(recovery: ModuleType) -> None:
    page = recovery.page([record(0, 10), record(1, 8)])
    assert "**2 campaigns** of one layout: 16 anchors of 12 designs, 6 seabeds, 160 pulls" in " ".join(
        page.split()
    )
    assert "| hidden | 20 | 90.0% ± 10.0 | ×3.32 | 45.0% ± 5.0 | ×1.65 | 0.200 |" in page


def test_the_layout_hides_the_share_it_says(layout: ModuleType) -> None:
    inputs = layout.make_layout()
    assert {name: inputs.sizes[name] for name in ("anchor", "design", "seabed", "trial", "visit")} == {
        "anchor": 16, "design": 12, "seabed": 6, "trial": layout.PULLS, "visit": 12,
    }  # fmt: skip
    tested = set(zip(inputs["anchor_of"].to_numpy(), inputs["seabed_of"].to_numpy(), strict=True))
    assert len(tested) / (16 * 6) == pytest.approx(1.0 - layout.HIDDEN_SHARE, abs=0.01)


def test_readings_hold_the_load_they_were_taken_of(layout: ModuleType) -> None:
    inputs = layout.make_layout()
    loads = np.random.default_rng(1).normal(7.3, 1.2, layout.PULLS)
    seen = layout.readings(inputs, loads, seed=4)
    kind, lower, upper = (seen[name].to_numpy() for name in ("kind", "lower", "upper"))
    assert set(kind) == {EXACT, BELOW, ABOVE, BETWEEN}
    np.testing.assert_array_equal(loads[kind == EXACT], upper[kind == EXACT])
    assert (loads[kind == BELOW] < upper[kind == BELOW]).all()
    assert (loads[kind == ABOVE] > lower[kind == ABOVE]).all()
    between = kind == BETWEEN
    assert ((lower <= loads) & (loads <= upper))[between].all()
    assert (upper - lower)[between].max() < 0.17


@pytest.mark.fit
@pytest.mark.long
def test_two_simulated_campaigns_are_recovered(recovery: ModuleType, tmp_path: Path) -> None:
    """Bounds about three binomial standard errors wide, made wider for cells that share a world."""
    made = recovery.run(2, tmp_path / "records.jsonl", Effort(500, 500, 0.9))
    table = recovery.table(made)
    for kind in ("hidden", "tested"):
        assert 0.72 <= table.loc[kind, "covered_90"] <= 1.0, table
        assert 0.25 <= table.loc[kind, "covered_50"] <= 0.80, table
    assert table.loc["tested", "width_90"] < table.loc["hidden", "width_90"]
    assert table.loc["tested", "error"] < table.loc["hidden", "error"]
    assert sum(each["divergences"] for each in made) <= 8
