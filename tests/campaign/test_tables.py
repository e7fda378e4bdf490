"""Bytes to cells: encodings, separators, quotes, blank and ragged rows, decimal marks."""

import unicodedata

import pytest

from holdcast.campaign.checks.collected import Findings
from holdcast.campaign.files.tables import table_from_rows

ANCHORS = "anchor,mass_kg,note\nscoop 15,15,\nplough 20,20,\n"


def only(findings, severity="fault"):
    """The one finding of a severity."""
    (finding,) = [f for f in findings if f.severity == severity]
    return finding


def test_byte_order_mark_is_fine(read):
    assert list(read(anchors=b"\xef\xbb\xbf" + ANCHORS.encode()).anchors.index) == ["scoop 15", "plough 20"]


@pytest.mark.parametrize("ending", ["\n", "\r\n"])
def test_line_endings(read, ending):
    assert len(read(anchors=ANCHORS.replace("\n", ending)).anchors) == 2


@pytest.mark.parametrize(
    "data", [ANCHORS.replace("20,20", "20,20é").encode("cp1252"), ANCHORS.encode("utf-16")]
)
def test_other_encodings_are_named(findings, data):
    fault = only(findings(anchors=data))
    assert "not UTF-8" in fault.found
    assert "UTF-8" in fault.fix
    assert fault.file == "anchors.csv"


def test_encoding_fault_names_the_row(findings):
    data = ANCHORS.replace("plough 20,20,", "plough 20,20,\u00e9").encode("latin-1")
    assert only(findings(anchors=data)).row == 3


def test_semicolons_allow_decimal_commas(read):
    anchors = "anchor;mass_kg;fluke_area_m2;price\nscoop 15;15,25;0,101;1,5\nplough 20;20.5;,12;\n".replace(
        "20.5", "20"
    )
    campaign = read(anchors=anchors)
    assert campaign.anchors["mass_kg"].tolist() == [15.25, 20.0]
    assert campaign.anchors["fluke_area_m2"].tolist() == [0.101, 0.12]
    assert campaign.anchors["price"].tolist() == ["1,5", ""]
    assert campaign.doubts == ()


@pytest.mark.parametrize("separator", [",", ";"])
def test_a_line_that_names_the_separator_is_no_header(read, findings, separator):
    text = f"sep={separator}\nanchor,mass_kg\nscoop 15,15\nplough 20,x\n".replace(",", separator)
    assert only(findings(anchors=text)).row == 4  # numbered as a spreadsheet does
    assert read(anchors=text.replace("x", "20")).anchors["mass_kg"].tolist() == [15.0, 20.0]


def test_a_decimal_comma_that_leaves_a_blank_cell_over_is_a_fault_and_says_so(findings):
    fault = only(findings(anchors="anchor,mass_kg,note\nscoop 15,15,\nplough 20,1,5,\n"))
    assert (fault.row, fault.found) == (3, "too many cells (4)")
    assert "a decimal comma makes one, too" in fault.fix


def test_semicolons_with_decimal_points(read):
    anchors = "anchor;mass_kg\nscoop 15;15.25\nplough 20;20\n"
    assert read(anchors=anchors).anchors["mass_kg"].tolist() == [15.25, 20.0]


def test_quoted_separator_in_the_header_is_not_the_separator(read):
    campaign = read(anchors='anchor;mass_kg;"price, with tax"\nscoop 15;15,5;\nplough 20;20;\n')
    assert campaign.anchors["mass_kg"].tolist() == [15.5, 20.0]


def test_quoted_cells_and_line_breaks(read, tables):
    trials = tables.changed(tables.trials, note='first line\nsecond, "quoted"')
    assert read(trials=trials).trials.loc["t1", "note"] == 'first line\nsecond, "quoted"'


def test_blank_rows_keep_the_numbering(findings):
    fault = only(findings(anchors="\nanchor,mass_kg\n\n,\nscoop 15,15\n\nplough 20,heavy\n"))
    assert (fault.row, fault.column, fault.found) == (7, "mass_kg", "'heavy'")


def test_row_numbers_count_spreadsheet_rows_not_lines(findings):
    anchors = 'anchor,mass_kg,note\nscoop 15,15,"two\nlines"\nplough 20,heavy,\n'
    assert only(findings(anchors=anchors)).row == 3


def test_empty_columns_at_the_right_edge_are_ignored(read):
    assert "" not in read(anchors="anchor,mass_kg,,\nscoop 15,15,,\nplough 20,20,,\n").anchors.columns


@pytest.mark.parametrize(
    ("row", "found"),
    [
        ("scoop 15,15", "too few cells (2)"),
        ("scoop 15,15,,", "too many cells (4)"),
        ("scoop 15,1,5,x", "too many"),
    ],
)
def test_ragged_rows_are_one_fault_each(findings, row, found):
    fault = only(findings(anchors=ANCHORS.replace("scoop 15,15,", row)))
    assert found in fault.found
    assert fault.allowed == "3 cells"
    assert fault.row == 2


@pytest.mark.parametrize(
    ("header", "found"),
    [("anchor;mass_kg,note", "both , and ;"), ("anchor\tmass_kg\tnote", "tabs between the column names")],
)
def test_separator_is_never_guessed(findings, header, found):
    assert found in only(findings(anchors=ANCHORS.replace("anchor,mass_kg,note", header))).found


@pytest.mark.parametrize("cell", ['"scoop" 15', '"scoop 15'])
def test_broken_quotes(findings, cell):
    faults = [
        f for f in findings(anchors=f"anchor,mass_kg\nplough 20,20\n{cell},15\n") if f.file == "anchors.csv"
    ]
    assert faults[0].row == 3
    assert "cannot be split into cells" in faults[0].found
    assert "quotation mark" in faults[0].fix


@pytest.mark.parametrize("text", ["", "\n\n", ",,\n", b"\xef\xbb\xbf"])
def test_empty_file(findings, text):
    assert only(findings(anchors=text)).found == "an empty file"


SPACED = "Anchor,Mass (kg),Fluke area (cm2)\nx,1,\n"
COMMAS = "anchor;mass_kg;note\nscoop 15;15,5;\nplough 20;20;\n"


@pytest.mark.parametrize(
    ("text", "row", "names", "title"),
    [
        ("Anchors of this year\n" + ANCHORS, 1, 2, "Anchors of this year"),
        ("\nAnchors,,\nweighed ashore,,\n" + ANCHORS, 2, 4, "Anchors"),
        ('"Anchors, weighed ashore",,\n' + ANCHORS, 1, 2, "Anchors, weighed ashore"),
        ('"Anchors\nof 2024",,\n' + ANCHORS, 1, 2, "Anchors of 2024"),
        (";;Anchors\n" + COMMAS, 1, 2, "Anchors"),
        ("Our own, weighed 1,5 times\n" + COMMAS, 1, 2, "Our own, weighed 1,5 times"),
        ("design,2024-05-31,\n" + ANCHORS.replace("note", "form"), 1, 2, "design 2024-05-31"),
        ("Our anchors,,\n" + SPACED, 1, 2, "Our anchors"),
        ("sep=,\nAnchors,,\n" + ANCHORS, 2, 3, "Anchors"),
        ("\ufeffAnchors,,\n" + ANCHORS, 1, 2, "Anchors"),
    ],
)
def test_a_title_above_the_header_is_one_fault(findings, text, row, names, title):
    fault = only(findings(anchors=text))
    assert (fault.file, fault.row) == ("anchors.csv", row)
    assert fault.found == f"'{title}' above the column names, which stand in row {names}"
    assert "Delete the row" in fault.fix


@pytest.mark.parametrize(
    "text",
    [
        "anchor,weight\nmass_kg,form\nx,1\n",
        "Anchor,weight,sort\nanchor,mass_kg,form\n",
        '"Name\n(ours)",mass_kg,form,design\nanchor,1,scoop,form\n',
        "Name,weight,kind,maker\nanchor,1,scoop,us\n",
    ],
)
def test_a_header_with_names_of_its_own_is_no_title(findings, text):
    assert not any("above the column names" in each.found for each in findings(anchors=text))


def test_words_in_the_first_trial_are_no_header(findings):
    header = "Trial ID,Anchor used,Bed,Kind of test,Held (kN),Let go (kN),Ended by,Read at\n"
    found = findings(trials=header + "T1,A-10,mud,pull,3,4,anchor,anchor\n")
    assert not any("above the column names" in each.found for each in found)


def test_a_fault_of_the_header_names_the_row_in_which_it_stands(findings):
    fault = only(findings(anchors="\n\n" + ANCHORS.replace("mass_kg", "mas_kg")))
    assert fault.row == 3
    for text in ("\n\nanchor;mass_kg,form\n", "\n\nanchor\tmass_kg\n"):
        assert only(findings(anchors=text)).row == 3


def test_header_without_rows(findings):
    fault = findings(trials="trial,anchor,seabed,test,held_kn\n")[0]
    assert (fault.file, fault.found) == ("trials.csv", "a header without rows")


def test_accents_typed_apart_are_the_same_name(read, tables):
    anchors = tables.changed(tables.anchors, anchor=unicodedata.normalize("NFD", "café"))
    assert "café" in read(anchors=anchors, trials=tables.changed(tables.trials, anchor="café")).anchors.index


def test_rows_of_another_source_make_the_same_table():
    """The door for a workbook's sheet: numbered rows of text."""
    findings = Findings()
    table = table_from_rows([(1, ["anchor ", "mass_kg"]), (4, ["a", " 1 "])], "anchors", findings)
    assert table is not None
    assert (table.header, table.rows, table.numbers) == (("anchor", "mass_kg"), (("a", "1"),), (4,))
    assert not findings.any_fault
