"""Change each published entry and each number of physics in turn, and see that a test fails.

Every cell of ``data/tables`` and every number in the source of ``physics/`` is changed by itself: numbers by
2%, whole ones by one, words by a letter.  The tests that concern it are run in a process of their own.  An
entry that no test misses is named, and the exit status is 1.

Run as ``python scripts/checks/table_mutations.py [--only WORD] [--page docs/pins.md]``.
"""

import argparse
import ast
import csv
import importlib
import io
import os
import sys
import time
import warnings
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from functools import partial
from importlib.abc import MetaPathFinder
from importlib.machinery import ModuleSpec, PathFinder, SourceFileLoader
from importlib.util import module_from_spec, spec_from_file_location
from itertools import product
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # no threads before forks
ROOT = Path(__file__).resolve().parents[2]
MODEL = ROOT / "model"
PHYSICS = MODEL / "holdcast" / "physics"
TESTS = ROOT / "tests"
sys.path.insert(0, str(TESTS / "support"))
NEWLINE = "\n"
NEEDED = ("numpy", "scipy.optimize", "scipy.integrate", "xarray", "hypothesis", "pytest", "pytensor.tensor")
FAST_TESTS = (
    "test_published_constants",
    "test_published_tables",
    "test_chain_mass",
    "test_catenary",
    "test_boat_and_tackle",
    "test_ground",
    "test_own_weight",
    "test_roots",
    "test_rode_loads",
    "test_units",
)
SLOW_TESTS = ("test_model_laws",)
NO_MATTER = {
    "elementwise.py": "half of x + |x|: checked by the functions that use it",
    "errors.py": "how many words a message offers",
}
"""Files of physics without a number of the trade."""
SAFE = "stands where the other branch is taken, or is an end that no number reaches"
NO_DIFFERENCE = {
    "rode.buried_chain, share_taken_by_chain: 1e-13": "how near a root is looked for",
    "rode.catenary, segment_distance_m: 0.0": SAFE,
    "rode.catenary, segment_distance_m: 1.0": SAFE,
    "rode.catenary, segment_distance_m: 1e-06": "where a slope takes over from a quotient",
    "rode.catenary, segment_rise_m: 0.0": SAFE,
    "rode.catenary, segment_rise_m: 1.0": SAFE,
    "rode.loads, _NEAREST: 4.0": "how near doubles are",
    "rode.loads, _root: 1e-12": "how near a root is looked for",
    "rode.loads, _root: 0.0": "how near a root is looked for",
    "rode.loads, _segments: 0.0": SAFE,
    "rode.loads, _segments: 1.0": SAFE,
    "rode.loads, _state: 0.0": "an end that rounding alone passes",
    "rode.loads, fall_shape_log_slope: 1e-05": "step of a difference",
    "rode.loads, load_on_rode: 90.0": "an end of the search",
    "rode.loads, state_at_anchor_load: 0.0": SAFE,
    "rode.loads, state_at_bow_load: 0.0": SAFE,
    "rode.loads, uplift_angle_deg: 1.0": SAFE,
    "rode.make_up, make_rode: 0.0": SAFE,
    "rode.make_up, make_rode: 1.0": SAFE,
    "rode.make_up, make_rode: 1000000000.0": "stands for an endless length",
    "rode.make_up, make_rode: 1e+300": "stands for endless stiffness",
    "tackle.class_comparison, _ROUNDING: 1e-09": "how near doubles are",
    "tackle.class_comparison, _count_sizes: 0.0": SAFE,
    "tackle.strength, _sixteenths: 0.001": "how near a sixteenth a size is written",
    "tackle.wind, beyond_load_table: 1e-06": "how near doubles are",
    "tackle.wind, load_table: 0": "every row has the same columns",
    "tackle.wind, mooring_load_n: 0.0": SAFE,
    "tackle.wind, mooring_load_n: 1.0": SAFE,
    "tackle.wind, mooring_load_n: 2": "the last two steps of the table are alike, each twice the load",
}
"""Numbers of which 2% make no difference that anybody could see, by place and value."""
KINDS = {"table": "cells of tables", "number": "numbers in the source"}


@dataclass(frozen=True)
class Mutation:
    """One change: what kind and where, what it was and is, the tests that concern it, and what makes it."""

    kind: str
    place: str
    before: str
    after: str
    tests: tuple[str, ...]
    apply: Callable[[], None]


def other(text: str) -> str:
    """Return a cell that differs a little: a number by 2%, a word by a letter, a blank filled."""
    try:
        number = float(text)
    except ValueError:
        return f"{text}x" if text else "1"
    return repr(number * 1.02 if number else 1.0)


def table_mutations() -> Iterator[Mutation]:
    """Yield one mutation for each cell of the tables, column names left alone."""
    for file in sorted((ROOT / "data" / "tables").glob("*.csv")):
        lines = file.read_text(encoding="utf-8").splitlines()
        head = [line for line in lines if line.startswith("#")]
        header, *rows = csv.reader(line for line in lines if not line.startswith("#"))
        for at, row in enumerate(rows):
            for column, cell in zip(header, row, strict=True):
                changed = [list(each) for each in rows]
                changed[at][header.index(column)] = other(cell)
                place = f"{file.stem}, row {at + 1} ({row[0]}), {column}"
                yield Mutation(
                    "table", place, cell, other(cell), ("test_published_tables",),
                    partial(patch_table, file.stem, as_lines(head, [header, *changed])),
                )  # fmt: skip


def as_lines(head: Sequence[str], rows: Sequence[Sequence[str]]) -> list[str]:
    """Return a table's lines, its remarks first."""
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows(rows)
    return [*head, *text.getvalue().splitlines()]


def patch_table(name: str, lines: list[str]) -> None:
    """Let physics read these lines in place of one table."""
    tables = importlib.import_module("holdcast.physics.tables")
    read = tables._lines
    tables._lines = lambda wanted: lines if wanted == name else read(wanted)


def number_mutations() -> Iterator[Mutation]:
    """Yield one mutation for each number in the source of physics, texts left alone."""
    for file in sorted(PHYSICS.rglob("*.py")):
        if file.name in NO_MATTER:
            continue
        module = ".".join(file.relative_to(MODEL).with_suffix("").parts)
        tree = ast.parse(file.read_text(encoding="utf-8"))
        short = module.removeprefix("holdcast.physics.")
        for place, (where, node) in enumerate(numbers_of(tree)):
            value = node.value
            if f"{short}, {where}: {value!r}" in NO_DIFFERENCE:
                continue
            changed = value + 1 if isinstance(value, int) else value * 1.02 if value else 0.02
            yield Mutation(
                "number", f"{short}, {where}, line {node.lineno}",
                repr(value), repr(changed), (*FAST_TESTS, *SLOW_TESTS),
                partial(patch_source, module, place, changed),
            )  # fmt: skip


def numbers_of(tree: ast.Module) -> Iterator[tuple[str, ast.Constant]]:
    """Yield the numbers of a module in order, each with the name of the constant or function it stands in."""
    for node in tree.body:
        target = node.targets[0] if isinstance(node, ast.Assign) else getattr(node, "target", None)
        name = getattr(node, "name", "") or (ast.unparse(target) if target is not None else "")
        for part in ast.walk(node):
            if isinstance(part, ast.Constant) and type(part.value) in (int, float):
                yield name, part


class Changed(SourceFileLoader):
    """Loads a module's source with one of its numbers changed."""

    def __init__(self, name: str, path: str, place: int, number: float) -> None:
        super().__init__(name, path)
        self.place, self.number = place, number

    def get_code(self, fullname: str) -> object:
        """Return the changed module's code, whatever is cached."""
        tree = ast.parse(self.get_data(self.path))
        [node for _, node in numbers_of(tree)][self.place].value = self.number
        return compile(tree, self.path, "exec")


class Finder(MetaPathFinder):
    """Finds one module in its changed form."""

    def __init__(self, module: str, place: int, number: float) -> None:
        self.module, self.place, self.number = module, place, number

    def find_spec(self, fullname: str, path: object = None, target: object = None) -> ModuleSpec | None:
        """Return the spec of the changed module, None for any other."""
        if fullname != self.module:
            return None
        spec = PathFinder.find_spec(fullname, path)
        spec.loader = Changed(fullname, spec.origin, self.place, self.number)
        return spec


def patch_source(module: str, place: int, number: float) -> None:
    """Let the next import of a module find one of its numbers changed."""
    sys.meta_path.insert(0, Finder(module, place, number))


def cases(test: Callable[..., None]) -> Iterator[dict[str, object]]:
    """Yield the arguments of each case of a test, as pytest's parametrize gives them."""
    marks = [mark for mark in getattr(test, "pytestmark", []) if mark.name == "parametrize"]
    columns = [
        [
            dict(zip(names_of(mark.args[0]), values_of(mark.args[0], case), strict=True))
            for case in mark.args[1]
        ]
        for mark in marks
    ]
    for parts in product(*columns):
        yield {name: value for part in parts for name, value in part.items()}


def names_of(names: str | Sequence[str]) -> Sequence[str]:
    """Return the names of a parametrize mark."""
    return names.split(",") if isinstance(names, str) else names


def values_of(names: str | Sequence[str], case: object) -> Sequence[object]:
    """Return one case of a parametrize mark as a sequence."""
    return (case,) if isinstance(names, str) else case


def run(module: str) -> None:
    """Run the tests of one file, without pytest's own start; the first that fails raises."""
    spec = spec_from_file_location(module, TESTS / "physics" / f"{module}.py")
    loaded = module_from_spec(spec)
    spec.loader.exec_module(loaded)
    for name, test in vars(loaded).items():
        if name.startswith("test_"):
            for arguments in cases(test):
                test(**arguments)


def survives(change: Callable[[], None] | None, tests: Sequence[str]) -> bool:
    """Return whether all tests pass in spite of a change, in a process of their own."""
    with warnings.catch_warnings(action="ignore"):  # threads of libraries that no test here uses
        child = os.fork()
    if child == 0:
        status = 1
        with suppress(BaseException), Path(os.devnull).open("w") as silent:
            os.dup2(silent.fileno(), 1)
            os.dup2(silent.fileno(), 2)
            if change is not None:
                change()
            for test in tests:
                run(test)
            status = 0
        os._exit(status)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0


def page(counts: Counter[str], survivors: Sequence[Mutation], seconds: float) -> str:
    """Return the page that says what was changed and what no test missed."""
    rows = [
        f"| {KINDS[kind]} | {number} | {sum(each.kind == kind for each in survivors)} |"
        for kind, number in counts.items()
    ]
    named = [f"- {each.place}: {each.before} as {each.after}" for each in survivors]
    return f"""# Published numbers are pinned

Made by `python scripts/checks/table_mutations.py --page docs/pins.md`. Each cell of `data/tables` and each number in
the source of `physics/` was changed by itself, numbers by 2%, whole ones by one, words by a letter, and the tests that
concern it were run. A change that no test misses is one that a slip of the hand could make unseen.

| changed | entries | no test failed |
|---|---|---|
{NEWLINE.join(rows)}

{NEWLINE.join(named) or "None survived."}

Left out are {len(NO_DIFFERENCE)} numbers of which 2% make no difference that anybody could see, such as how near a root is
looked for; the script names each with its reason.

It took {seconds / 60:.0f} minutes on a shared machine. Sources and marks of the rows: `tests/support/published.py` and
`tests/physics/test_published_constants.py`; of the formulas: [formulas.md](formulas.md).
"""  # noqa: E501


def main() -> int:
    """Run every mutation, print survivors, write the page if asked; 1 when any survived."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--only", default="", help="only entries whose place holds this word")
    parser.add_argument("--page", type=Path, help="write the figures to this page")
    options = parser.parse_args()
    with warnings.catch_warnings(action="ignore"):
        for name in NEEDED:
            importlib.import_module(name)
    settings = importlib.import_module("hypothesis").settings
    settings.register_profile("mutations", deadline=None, derandomize=True, database=None)
    settings.load_profile("mutations")
    if not survives(None, (*FAST_TESTS, *SLOW_TESTS)):
        raise SystemExit("the tests fail without any change: mend them first")
    start, counts, survivors = time.monotonic(), Counter(), []
    for mutation in (*table_mutations(), *number_mutations()):
        if options.only not in mutation.place:
            continue
        counts[mutation.kind] += 1
        if survives(mutation.apply, mutation.tests):
            survivors.append(mutation)
            print(f"survived: {mutation.place}: {mutation.before} as {mutation.after}", flush=True)
    seconds = time.monotonic() - start
    print(f"{sum(counts.values())} changes, {len(survivors)} survived, {seconds:.0f} s")
    if options.page is not None:
        options.page.write_text(page(counts, survivors, seconds), encoding="utf-8")
    return 1 if survivors else 0


if __name__ == "__main__":
    raise SystemExit(main())
