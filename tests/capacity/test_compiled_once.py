"""The compiled density knows no campaign: whatever is counted in the log, nothing is compiled again."""

import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import reduce
from operator import add
from pathlib import Path
from typing import Any

import numba
import numpy as np
import pytensor
import pytensor.tensor as pt
import pytest
from numba.core import event
from pytensor.compile.mode import Mode

from holdcast.campaign import read_campaign
from holdcast.campaign.records import Campaign
from holdcast.capacity.inputs.layout import lay_out
from holdcast.capacity.model.build import build_model
from holdcast.capacity.model.priors import with_overrides
from holdcast.capacity.sampler.code_key import code_key
from holdcast.capacity.sampler.compiling import CompiledModel, compile_model
from holdcast.capacity.sampler.density import Layout, lay_out_point
from holdcast.package_data import path

from .conftest import Rows, read_rows, small_tables

Tables = dict[str, Any]


def one_more_pull(tables: Tables) -> None:
    tables["trials"].append({**tables["trials"][3], "trial": "T900"})


def one_more_visit(tables: Tables) -> None:
    tables["trials"].append({**tables["trials"][3], "trial": "T901", "date": "2024-07-01"})


def one_visit(tables: Tables) -> None:
    one_seabed(tables)
    for row in tables["trials"]:
        row["date"] = "2024-05-01"


def one_more_anchor(tables: Tables) -> None:
    tables["anchors"].append({**tables["anchors"][0], "anchor": "A-12", "mass_kg": 12})


def one_more_design(tables: Tables) -> None:
    tables["anchors"].append({**tables["anchors"][2], "anchor": "D-12", "design": "D", "mass_kg": 12})


def one_more_form(tables: Tables) -> None:
    tables["anchors"].append({**tables["anchors"][2], "anchor": "E-12", "design": "E", "form": "claw"})


def one_form(tables: Tables) -> None:
    for row in tables["anchors"]:
        row["form"] = "scoop"


def one_design(tables: Tables) -> None:
    for row in tables["anchors"]:
        row |= {"design": "A", "form": "scoop"}


def one_anchor(tables: Tables) -> None:
    tables["anchors"] = tables["anchors"][:1]
    tables["trials"] = [row for row in tables["trials"] if row["anchor"] == "A-10"]


def one_more_seabed(tables: Tables) -> None:
    tables["seabeds"].append({"seabed": "reach", "soil": "sand", "strength": "loose"})


def one_seabed(tables: Tables) -> None:
    tables["seabeds"] = tables["seabeds"][:1]
    tables["trials"] = [row for row in tables["trials"] if row["seabed"] == "mud"]


def one_more_soil(tables: Tables) -> None:
    tables["seabeds"].append({"seabed": "silt bed", "soil": "silt", "strength": "low"})


def one_soil(tables: Tables) -> None:
    for row in tables["seabeds"]:
        row |= {"soil": "sand", "strength": "loose"}


def one_more_feature(tables: Tables) -> None:
    tables["anchors"][1]["flag_tip_weight"] = "yes"


def no_feature(tables: Tables) -> None:
    for row in tables["anchors"]:
        row.pop("flag_roll_bar", None)


def one_pull(tables: Tables) -> None:
    tables["trials"] = tables["trials"][:1]


ONE_MORE = (
    one_more_pull, one_more_visit, one_more_anchor, one_more_design,
    one_more_form, one_more_seabed, one_more_soil, one_more_feature,
)  # fmt: skip


def one_more_of_each(tables: Tables) -> None:
    """All together: whatever any of these counts would have compiled again is compiled here too."""
    for change in ONE_MORE:
        change(tables)


def one_of_each(tables: Tables) -> None:
    """All together, for the same reason; with each alone in the long tests."""
    one_anchor(tables)
    one_visit(tables)
    one_pull(tables)


ONE_ALONE = (one_pull, one_visit, one_anchor, one_design, one_form, one_seabed, one_soil)
CHANGES = (
    *(one_more_of_each, one_of_each, no_feature),
    *(pytest.param(change, marks=pytest.mark.long) for change in ONE_ALONE),
)
IN_A_LATER_PROCESS = (one_more_of_each, one_pull, no_feature)


def changed(change: Callable[[Tables], None]) -> dict[str, Rows]:
    tables: Tables = small_tables()
    change(tables)
    return tables


def model_of(campaign: Campaign) -> Any:
    return build_model(lay_out(campaign), with_overrides({}))


def is_address(name: str) -> bool:
    """Return whether a function only asks the linear algebra library for an address, once a process."""
    return name.startswith("_BLAS.") and name.endswith("_pointer")


@contextmanager
def compilations() -> Iterator[list[str]]:
    """Collect the name of each function on which the compiler runs a pass."""
    names: list[str] = []

    class Listener(event.Listener):  # type: ignore[misc]  # the library is untyped
        def on_start(self, event: Any) -> None:
            if not is_address(name := str(event.data["qualname"])):
                names.append(name)

        def on_end(self, event: Any) -> None:
            pass

    with event.install_listener("numba:run_pass", Listener()):
        yield names


@pytest.fixture(scope="module")
def compiled(small_campaign: Campaign) -> CompiledModel:
    return compile_model(model_of(small_campaign), own_source=True)


def evaluated(made: CompiledModel, points: np.ndarray) -> list[Any]:
    return [made.density(point, made.data.numbers, made.data.positions) for point in points]


def scattered(layout: Layout) -> np.ndarray:
    return layout.start + np.random.default_rng(2).normal(0.0, 0.4, (3, layout.start.size))


def library_values(
    model: Any, layout: Layout, points: np.ndarray, mode: Mode
) -> list[tuple[float, np.ndarray]]:
    """Return the modelling library's log density and slopes, run without compiling."""
    values = [next(v for v in model.value_vars if v.name == name) for name in layout.shapes]
    total = reduce(add, [part.sum() for part in model.logp(sum=False)])
    function = pytensor.function(values, [total, *pt.grad(total, values)], mode=mode)
    ends = np.cumsum([0, *(int(np.prod(shape)) for shape in layout.shapes.values())])
    made = []
    for point in points:
        pieces = zip(ends[:-1], ends[1:], layout.shapes.values(), strict=True)
        value, *slopes = function(*(point[first:end].reshape(shape) for first, end, shape in pieces))
        made.append((float(value), np.concatenate([np.ravel(slope) for slope in slopes])))
    return made


@pytest.mark.fit
@pytest.mark.parametrize("change", CHANGES, ids=lambda change: change.__name__)
def test_no_count_of_the_campaign_is_compiled(
    compiled: CompiledModel, change: Callable[[Tables], None], tmp_path: Path, plain_mode: Mode
) -> None:
    """Reference for density and slopes: the modelling library's own, run without compiling."""
    model = model_of(read_rows(tmp_path / "campaign", **changed(change)))
    with compilations() as names:
        other = compile_model(model, own_source=True)
        layout = other.derivation.layout
        points = scattered(layout)
        ours = evaluated(other, points)
    assert set(names) == set()
    assert dict(layout.extents.lengths) != dict(compiled.derivation.layout.extents.lengths)
    theirs = library_values(model, layout, points, plain_mode)
    densities = np.array([[float(one[0]), float(two[0])] for one, two in zip(ours, theirs, strict=True)])
    np.testing.assert_allclose(np.diff(densities[:, 0]), np.diff(densities[:, 1]), rtol=1e-9, atol=1e-8)
    for (_, gradient), (_, slopes) in zip(ours, theirs, strict=True):
        np.testing.assert_allclose(gradient, slopes, rtol=1e-8, atol=1e-8)


def test_one_more_of_each_moves_every_count_and_so_does_one(small_campaign: Campaign, tmp_path: Path) -> None:
    """So that what is compiled for one count alone is noticed there."""
    counts = ("trial", "visit", "anchor", "design", "form", "seabed", "soil", "feature")
    more = lay_out(read_rows(tmp_path / "more", **changed(one_more_of_each))).sizes
    assert [name for name in counts if more[name] <= lay_out(small_campaign).sizes[name]] == []
    one = lay_out(read_rows(tmp_path / "one", **changed(one_of_each))).sizes
    assert {one[name] for name in counts[:-1]} == {1}


@pytest.mark.fit
def test_a_change_of_the_models_code_is_compiled_anew(compiled: CompiledModel, tmp_path: Path) -> None:
    """Guards the watch itself, and the key: another prior of a spread is another code."""
    campaign = read_rows(tmp_path / "campaign", **small_tables())
    inputs, priors = lay_out(campaign), with_overrides({"tip_growth": {"a": 2.5}})
    assert code_key(lay_out_point(build_model(inputs, priors))) != code_key(compiled.derivation.layout)
    less = lay_out_point(build_model(inputs, with_overrides({}), penetration=False))
    assert code_key(less) != code_key(compiled.derivation.layout)
    plain = lay_out_point(build_model(inputs, with_overrides({"size_exponent": {"mean": 0.8}})))
    assert code_key(plain) == code_key(compiled.derivation.layout)
    with compilations() as names:
        numba.njit(lambda x: x + 1.0)(2.0)
    assert names


_LATER_PROCESS = """
import sys
from datetime import date
from pathlib import Path
from numba.core import event
from holdcast.campaign import read_campaign
from holdcast.capacity.inputs.layout import lay_out
from holdcast.capacity.model.build import build_model
from holdcast.capacity.model.priors import with_overrides
from holdcast.capacity.sampler.compiling import compile_model

class Listener(event.Listener):
    def on_start(self, event):
        print("compiled", event.data["qualname"])
    def on_end(self, event):
        pass

with event.install_listener("numba:run_pass", Listener()):
    for folder in sorted(Path(sys.argv[1]).iterdir()):
        model = build_model(lay_out(read_campaign(folder, today=date(2025, 1, 1))), with_overrides({}))
        made = compile_model(model, own_source=True)
        value, slopes = made.density(made.derivation.layout.start, made.data.numbers, made.data.positions)
        print("evaluated", slopes.size)
"""


@pytest.mark.fit
def test_a_later_process_compiles_nothing(compiled: CompiledModel, tmp_path: Path) -> None:
    assert compiled.data.numbers.size
    for change in IN_A_LATER_PROCESS:
        read_rows(tmp_path / str(change.__name__), **changed(change))
    result = subprocess.run(
        [sys.executable, "-c", _LATER_PROCESS, str(tmp_path)], capture_output=True, text=True, check=False
    )
    assert result.returncode == 0, result.stderr
    lines = [line.split() for line in result.stdout.splitlines()]
    assert [word for word, _ in lines].count("evaluated") == len(IN_A_LATER_PROCESS)
    assert {name for word, name in lines if word == "compiled" and not is_address(name)} == set()


KEY_OF_THE_DEMO = """
from holdcast import read_campaign
from holdcast.capacity.inputs.layout import lay_out
from holdcast.capacity.model.build import build_model
from holdcast.capacity.model.priors import with_overrides
from holdcast.capacity.sampler.code_key import code_key
from holdcast.capacity.sampler.density import lay_out_point
from holdcast.package_data import path

print(code_key(lay_out_point(build_model(lay_out(read_campaign(path("demo"))), with_overrides({})))))
"""


def test_two_processes_have_one_key() -> None:
    """With resets and veers too: their operations hold compiled functions, whose addresses are no part."""
    key = code_key(lay_out_point(model_of(read_campaign(path("demo")))))
    command = [sys.executable, "-c", KEY_OF_THE_DEMO]
    theirs = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    assert len(key) == 64 and theirs == f"{key}\n"
