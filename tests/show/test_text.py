"""Findings and cell tables as text, pinned by snapshots; delete a snapshot to have it written anew."""

import ast
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from holdcast.findings import Finding, one_of_each_kind
from holdcast.show.text.cautions import CAUTIONS
from holdcast.show.text.cell_rows import cell_rows
from holdcast.show.text.cell_table import cell_table
from holdcast.show.text.findings_table import findings_table
from holdcast.show.text.text_columns import display_width, plain, wrap

SNAPSHOTS = Path(__file__).parent / "snapshots"
SHOW = Path(__file__).parents[2] / "model" / "holdcast" / "show"
BENEATH = SHOW.parent / "findings.py"


FINDINGS = (
    Finding(
        "doubt",
        "trials.csv",
        31,
        "exclude",
        "no",
        "a reason, or blank",
        "clear the cell if the row is meant to count",
    ),
    Finding(
        "fault",
        "trials.csv",
        14,
        "held_n",
        "12o0",
        "a number of 0 or more",
        "a letter o stands for a zero: 1200?",
    ),
    Finding(
        "fault",
        "anchors.csv",
        3,
        "anchor",
        "=1+1",
        "a name that is used once",
        "give the second anchor a name of its own",
    ),
    Finding(
        "fault",
        "anchors.csv",
        None,
        "",
        "<script>\x1b[31m",
        "columns of anchors.csv",
        "rename or remove the column",
    ),
    Finding(
        "fault",
        "seabeds.csv",
        2,
        "soil",
        "",
        "clay, silt, sand, gravel, cobble, rock",
        "name the principal soil fraction of this seabed",
    ),
)


ROWS = (4, 5, 6, 8, 20, 30, 40, 50, 60, 61)


def same_as_snapshot(text, name):
    path = SNAPSHOTS / name
    if not path.exists():
        path.write_text(text + "\n", encoding="utf-8")
        pytest.fail(f"{name} was missing and is written now: read it, then run again")
    assert text + "\n" == path.read_text(encoding="utf-8")


@pytest.mark.parametrize("width", [40, 80, 120])
def test_findings_table(width):
    text = findings_table(FINDINGS, width)
    assert max(map(display_width, text.splitlines())) <= width
    same_as_snapshot(text, f"findings-{width}.txt")


def test_findings_count_first_and_faults_before_doubts():
    text = findings_table(FINDINGS, 100)
    assert text.splitlines()[0] == "4 faults, 1 doubt."
    assert text.index("FAULTS") < text.index("=1+1") < text.index("DOUBTS") < text.index("exclude")
    assert "\x1b" not in text
    assert "<script>\\x1b[31m" in text
    assert findings_table(()) == "No faults, no doubts."


def test_findings_alike_in_all_but_their_row_are_told_once_with_their_rows():
    blank = [Finding("doubt", "trials.csv", row, "stopped_by", "", "a word", "write it") for row in ROWS]
    other = Finding("doubt", "trials.csv", 9, "stopped_by", "'wind'", "a word", "write it")
    wide, narrow = (findings_table([*blank[:2], other, *blank[2:]], width) for width in (100, 40))
    assert wide.startswith("No faults, 11 doubts.")
    assert wide.count("write it") == narrow.count("write it") == 2
    for text in (" ".join(wide.split()), " ".join(narrow.split())):
        assert text.index("(blank)") < text.index("'wind'")
    assert "trials.csv, rows 4-6, 8, 20, 30, 40, 50\nand 2 more, stopped_by" in narrow
    assert "trials.csv, row 9, stopped_by" in narrow
    assert one_of_each_kind(blank)[0] == (blank[0], "4-6, 8, 20, 30, 40, 50 and 2 more")
    assert one_of_each_kind([other]) == [(other, "9")]
    faults = [replace(each, severity="fault") for each in blank]
    assert one_of_each_kind(faults)[0][1] == "4-6, 8, 20, 30, 40, 50, 60-61"  # each must be mended
    assert one_of_each_kind([Finding("doubt", "seabeds.csv", None, "", "x", "", "")])[0][1] == ""


@pytest.mark.parametrize("width", [40, 80])
def test_what_is_said_of_many_files_is_said_once(width):
    files = ("anchors.csv", "seabeds.csv", "trials.csv")
    same = [
        Finding("doubt", file, 2, "a", f"'example {file}'", "rows of your own", "Delete it.")
        for file in files
    ]
    other = Finding("doubt", "trials.csv", 4, "b", "x", "y", "Another thing.")
    text = findings_table([same[0], other, *same[1:]], width)
    assert text.startswith("No faults, 4 doubts.")
    said = " ".join(text.split())
    assert said.count("Delete it. Allowed: rows of your own.") == 1
    for file in files:
        assert said.count(f"{file} row 2: 'example {file}'") == 1
    assert "Another thing." in said.split("Delete it.")[1]
    two = findings_table(same[:2], width)
    assert two.count("Delete it.") == 2 and "Allowed:" not in two
    assert max(map(len, text.split("\n"))) <= width


def test_findings_refuse_what_is_no_finding():
    with pytest.raises(ValueError, match="severity is 'fault' or 'doubt', got 'hint'"):
        findings_table([Finding("hint", "a", 1, "", "", "", "")], 80)
    with pytest.raises(ValueError, match="at least 24 columns, got 10"):
        findings_table(FINDINGS, 10)


@pytest.mark.parametrize(("width", "units"), [(40, "si"), (80, "us"), (110, "si")])
def test_cell_table(make_cells, width, units):
    text = cell_table(make_cells(6, 2), units, width=width)
    assert max(map(display_width, text.splitlines())) <= width
    same_as_snapshot(text, f"cells-{width}-{units}.txt")


def test_cell_table_ends_with_every_caution_and_says_untested(make_cells):
    cells = make_cells(20, 7)
    text = cell_table(cells, width=140)
    assert " ".join(text.split()).endswith(" ".join(CAUTIONS))
    lines = [line for line in text.splitlines() if " kg " in line]
    assert len(lines) == cells.sizes["anchor"] * cells.sizes["seabed"]
    assert sum(" untested" in line for line in lines) == int((cells["evidence"] == "untested").sum())
    assert sum(" tested" in line for line in lines) == int((cells["evidence"] == "tested").sum())


@pytest.mark.parametrize("width", [40, 140])
def test_chance_above_a_threshold_is_shown_only_where_there_is_a_threshold(cells, width):
    assert "chance that" not in " ".join(cell_table(cells, width=width).split())
    chances = np.full(cells["own_data"].shape, 0.371)
    text = cell_table(cells.assign(above_threshold=(cells["own_data"].dims, chances)), width=width)
    assert "chance that the efficiency lies above" in " ".join(text.split())
    assert text.count("37%") == cells.sizes["anchor"] * cells.sizes["seabed"]
    assert max(map(display_width, text.splitlines())) <= width


def test_unreliable_is_marked_above_and_below(cells):
    text = cell_table(cells, width=100, reliable=False)
    assert text.startswith("UNRELIABLE")
    assert text.splitlines()[-1].startswith("UNRELIABLE")
    assert "UNRELIABLE" not in cell_table(cells, width=100)


def test_rows_go_by_form_and_name_whatever_the_capacity(cells):
    turned = cells.isel(anchor=slice(None, None, -1))
    louder = cells.assign(
        capacity_n=cells["capacity_n"] * np.linspace(9, 1, cells.sizes["anchor"])[:, None, None]
    )
    order = cell_rows(cells)["anchor"].tolist()
    assert cell_rows(turned)["anchor"].tolist() == order == cell_rows(louder)["anchor"].tolist()
    first = cell_rows(cells.isel(seabed=[0]))
    assert first["form"].tolist() == sorted(first["form"])
    renamed = cells.isel(anchor=[0, 1, 2]).assign_coords(anchor=["B 10 kg", "B 5 kg", "a 7 kg"])
    renamed = renamed.assign_coords(form=("anchor", ["claw"] * 3)).isel(seabed=[0])
    assert cell_rows(renamed)["anchor"].tolist() == ["a 7 kg", "B 5 kg", "B 10 kg"]


def test_seabeds_keep_the_order_of_the_campaign(cells):
    turned = cells.isel(seabed=slice(None, None, -1))
    assert list(dict.fromkeys(cell_rows(turned)["seabed"])) == turned["seabed"].to_numpy().tolist()


def test_values_stay_with_their_labels(cells):
    table = cell_rows(cells).set_index(["anchor", "seabed"])
    one = cells.sel(anchor=cells["anchor"][3], seabed="ribbed sand")
    row = table.loc[(str(one["anchor"].item()), "ribbed sand")]
    assert row["capacity_n_q95"] == one["capacity_n"].sel(quantile=0.95).item()
    assert row["pulls"] == one["pulls"].item()
    assert row["form"] == one["form"].item()


def test_no_capacity_without_its_band(cells):
    with pytest.raises(ValueError, match=r"no capacity is shown without its band: quantiles \[0.05, 0.95\]"):
        cell_table(cells.sel(quantile=[0.25, 0.5, 0.75]), width=100)
    with pytest.raises(ValueError, match="the cells lack evidence"):
        cell_table(cells.drop_vars("evidence"), width=100)
    broken = cells.copy(deep=True)
    broken["capacity_n"].loc[{"anchor": cells["anchor"][2], "seabed": "shingle", "quantile": 0.95}] = np.nan
    with pytest.raises(ValueError, match=r"capacity_n of .* in shingle has no proper band"):
        cell_table(broken, width=100)
    crossed = cells.assign_coords(quantile=cells["quantile"].to_numpy()[::-1])
    with pytest.raises(ValueError, match="has no proper band"):
        cell_table(crossed, width=100)


def test_unknown_words_are_refused(cells):
    with pytest.raises(ValueError, match=r"evidence must be one of .* got \['guessed'\]"):
        cell_table(cells.assign(evidence=cells["evidence"].where(cells["pulls"] > 0, "guessed")), width=100)
    with pytest.raises(ValueError, match="units must be 'si' or 'us', got 'metric'"):
        cell_table(cells, "metric", width=100)
    with pytest.raises(ValueError, match="at least 30 columns"):
        cell_table(cells, width=20)


def test_input_is_not_edited(cells):
    before = cells.copy(deep=True)
    cell_table(cells, width=100)
    assert cells.identical(before)


def test_invisible_characters_are_written_out():
    assert plain("a\tb\u202ec\x1b\n") == "a\\tb\\u202ec\\x1b\\n"
    assert plain("\ud800") == "\\ud800"
    assert plain("=1+1 <b> $x_1$ ünï 錨") == "=1+1 <b> $x_1$ ünï 錨"


def test_wrapping_counts_columns_of_the_terminal():
    assert wrap("錨錨錨錨", 4) == ["錨錨", "錨錨"]
    assert wrap("one twothree", 5) == ["one", "twoth", "ree"]
    assert wrap("priors.design_share", 18) == ["priors.design_", "share"]
    assert wrap("configuration_seabed", 18) == ["configuration_", "seabed"]
    assert wrap("a_very_long_name", 6) == ["a_", "very_", "long_", "name"]
    assert wrap("_unbroken", 4) == ["_unb", "roke", "n"]
    assert wrap("_錨a錨", 4) == ["_錨a", "錨"]
    with pytest.raises(ValueError, match="cannot wrap text to 1 columns"):
        wrap("a", 1)


@given(st.text(alphabet="ab_-./錨", min_size=1, max_size=20), st.integers(2, 9))
def test_a_cut_word_fits_its_lines_and_loses_nothing(word: str, width: int) -> None:
    lines = wrap(word, width)
    assert "".join(lines) == word
    assert max(map(display_width, lines)) <= width


def imported_modules(path):
    """Names imported when the module loads: not inside functions, not for the type checker alone."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for node in tree.body:
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            yield node.module


def test_a_check_needs_the_standard_library_only():
    ours = ("holdcast.show.text.text_columns", "holdcast.findings")
    for path in (
        *(SHOW / f"{name}.py" for name in ("text/findings_table", "text/text_columns", "text/__init__")),
        BENEATH,
    ):
        for module in imported_modules(path):
            assert module.split(".")[0] in sys.stdlib_module_names or module in ours


def test_matplotlib_is_imported_in_one_file_only():
    having = {
        path.name
        for path in SHOW.rglob("*.py")
        if any(module.split(".")[0] == "matplotlib" for module in imported_modules(path))
    }
    assert having == {"paper.py"}
    figures = SHOW / "figures"
    drawing, stems = set(), {"paper"}
    while stems:  # whatever loads the paper, and whatever loads that
        drawing |= {f"holdcast.show.figures.{stem}" for stem in stems}
        loading = {path.stem for path in figures.glob("*.py") if drawing & set(imported_modules(path))}
        stems = {stem for stem in loading if f"holdcast.show.figures.{stem}" not in drawing}
    assert {f"holdcast.show.figures.{stem}" for stem in ("intervals", "capacity")} <= drawing
    outside = [path for path in SHOW.rglob("*.py") if figures not in path.parents]
    # Words and tables come without the drawing library, which takes half a second to load.
    assert not [path.name for path in outside if drawing & set(imported_modules(path))]
