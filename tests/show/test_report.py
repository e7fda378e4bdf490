"""The page: everything on it, nothing from outside, names only ever text."""

import re
from html.parser import HTMLParser

import numpy as np
import pandas as pd
import pytest

from holdcast.campaign.records import PullToCheck
from holdcast.findings import Finding
from holdcast.show.report import LogFacts, ModelCheck, Pictures, report_html
from holdcast.show.text.cautions import CAUTIONS
from holdcast.show.text.plain_table import TextTable

SVG = '<svg xmlns="http://www.w3.org/2000/svg"/>'
VOID = {"meta", "img", "source", "input"}


class Page(HTMLParser):
    """Collects tags, attributes and text; fails on a tag that closes nothing."""

    def __init__(self, html):
        super().__init__()
        self.tags, self.addresses, self.open, self.words = [], [], [], []
        self.feed(html)
        assert self.open == []

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.addresses += [value for name, value in attrs if name in ("src", "srcset", "href", "action")]
        assert not any(name.startswith("on") for name, _ in attrs)
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if not {"style"} & set(self.open):
            self.words.append(data)

    @property
    def text(self):
        return " ".join(" ".join(self.words).split())


def report(cells, ok=True, **changes):
    arguments = {
        "verdict": {"ok": ok, "sentences": ["No divergences in 4000 draws."]},
        "priors": pd.DataFrame({"name": ["b"], "from": [0.6123456], "draws": [4000], "why": ["<published>"]}),
        "pictures": Pictures([(SVG, SVG)]),
        "check": ModelCheck(
            ["How to read it."],
            ["No trend <beyond> chance."],
            [TextTable("Trends", ["look"], [["</td>-3%"]])],
        ),
    }
    log = {
        "accounting": "63 rows in = 63 used.",
        "excluded": pd.DataFrame({"trial": ["T7"], "reason": ["fouled <by> a log"]}),
        "doubts": [
            Finding("doubt", "trials.csv", row, "exclude", "no", "a reason", "clear it") for row in (14, 15)
        ],
    }
    log["pulls_to_check"] = ()
    facts = LogFacts(**{name: changes.pop(name, value) for name, value in log.items()})
    return report_html(cells, log=facts, **(arguments | changes))


def test_everything_is_on_the_page(cells):
    page = Page(report(cells))
    for part in (
        *CAUTIONS,
        "Seven seabeds, invented",
        "A. Tester",
        "CC BY 4.0",
        "holdcast 0.1.0",
        "2026-08-30",
        "0123456789abcdef" * 4,
        "No divergences in 4000 draws.",
        "63 rows in = 63 used.",
        "fouled <by> a log",
        "clear it",
        "0.612",
        "4000",
        "<published>",
        "never by capacity",
        "How to read a band",
        "How well the model fits",
        "How to read it.",
        "No trend <beyond> chance.",
        "</td>-3%",
        "Seed 7",
    ):
        assert part in page.text, part
    assert page.text.index(CAUTIONS[0]) < page.text.index("Capacity by seabed")


def test_nothing_comes_from_outside_and_nothing_runs(cells):
    html = report(cells)
    page = Page(html)
    own = re.sub(
        r'src="data:image/svg\+xml,[^"]*"', "", html
    )  # an image's text: nothing in it is fetched or run
    assert "script" not in page.tags and "iframe" not in page.tags and "link" not in page.tags
    assert all(address.startswith(("data:image/svg+xml,", "#")) for address in page.addresses)
    assert "http" not in re.sub(r"http-equiv", "", own)
    assert "default-src 'none'" in html
    assert "@import" not in own and "url(" not in own


def test_names_are_text_only(cells):
    names = [
        "<script>alert(1)</script>",
        '"><img src=x onerror=y>',
        "=1+1",
        "\x1b[31m\u202e",
        *cells["anchor"].to_numpy()[4:],
    ]
    seabeds = ["</table><b>", *cells["seabed"].to_numpy()[1:]]
    cells = cells.assign_coords(anchor=names, seabed=seabeds).assign_attrs(
        title="<i>{{ 7 * 7 }}</i>", author="&amp;"
    )
    html = report(cells)
    page = Page(html)
    assert "script" not in page.tags and page.tags.count("img") == 2 and "i" not in page.tags
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in html
    for part in (*names[:3], "</table><b>", "<i>{{ 7 * 7 }}</i>", "By &amp;.", "\\x1b[31m\\u202e"):
        assert part in page.text
    assert "\x1b" not in html and "\u202e" not in html


def test_one_row_a_cell_with_its_band(cells):
    html = report(cells)
    rows = re.findall(r'<tr class="(tested|untested)">(.*?)</tr>', html)
    assert len(rows) == cells.sizes["anchor"] * cells.sizes["seabed"]
    assert [kind for kind, _ in rows].count("untested") == int((cells["evidence"] == "untested").sum())
    for kind, row in rows:
        assert row.count("<td") == 13
        assert re.search(rf">{kind}\*?<", row)


def test_unreliable_is_marked_throughout(cells):
    page = Page(report(cells, ok=False))
    assert page.text.count("UNRELIABLE") >= cells.sizes["seabed"] + 3
    assert "Do not use or publish" in page.text
    assert "checks passed" not in page.text
    assert "UNRELIABLE" not in Page(report(cells)).text


def test_threshold_column_only_where_there_is_a_threshold(cells):
    assert "above" not in re.findall(r">(above)</th>", report(cells))
    with_threshold = cells.assign(above_threshold=cells["own_data"])
    assert ">above</th>" in report(with_threshold)
    assert "chance that the efficiency lies above" in report(with_threshold)


def test_own_data_that_is_only_roughly_known_is_marked_and_explained(cells):
    rough = int((cells["own_data_rough"] & (cells["own_data"] > 0)).sum())
    assert rough
    page = report(cells)
    assert len(re.findall(r">~[<>]?\d+%|>~&[lg]t;\d+%", page)) == rough
    assert "~: roughly, since few draws tell" in page
    assert "~" not in Page(report(cells.assign(own_data_rough=cells["own_data"] < 0))).text


def test_units_of_the_screen(cells):
    assert "capacity, lbf" in report(cells, units="us")
    with pytest.raises(ValueError, match="units must be 'si' or 'us', got 'kg'"):
        report(cells, units="kg")


def test_empty_parts_say_so_and_missing_facts_too(cells):
    bare = cells.assign_attrs(newest_trial="", title="")
    empty = pd.DataFrame({"trial": [], "reason": []})
    text = Page(report(bare, excluded=empty, doubts=())).text
    assert text.count("None.") == 3  # excluded trials, pulls to look at again, doubts
    assert "Newest trial not recorded" in text
    assert "Test campaign" in text


def test_the_page_is_the_same_every_time_and_refuses_half_tables(cells):
    assert report(cells) == report(cells)
    with pytest.raises(ValueError, match="excluded trials lacks reason"):
        report(cells, excluded=pd.DataFrame({"trial": ["T1"]}))
    with pytest.raises(ValueError, match="no capacity is shown without its band"):
        report(cells.sel(quantile=[0.5]))
    broken = cells.assign(new_pull_n=cells["new_pull_n"] * np.nan)
    with pytest.raises(ValueError, match=r"new_pull_n of .* has no proper band"):
        report(broken)


def test_setting_again_stands_on_the_page_where_it_was_tried(cells):
    assert "what a turn leaves" not in report(cells)
    page = report(cells, pictures=Pictures([(SVG, SVG)], [(SVG, SVG)]))
    assert Page(page).tags.count("img") == 4
    assert "Setting again, and what a turn leaves" in Page(page).text
    assert "Chance of setting again and share kept in a turn" in page


def test_a_cell_that_never_set_says_so_in_its_row(cells):
    never = (cells["evidence"] == "tested") & (cells["seabed"] == cells["seabed"][0])
    text = Page(report(cells.assign(never_set=never))).text
    assert text.count("tested, never set") == int(never.sum()) > 0


def test_a_long_list_of_pulls_is_folded_after_a_dozen(cells):
    many = [
        PullToCheck((f"T{at}",), f"A{at}", "mud", 1000.0, 2000.0, 100.0, 200.0, f"reason {at}")
        for at in range(15)
    ]
    page = Page(report(cells, pulls_to_check=many))
    assert "3 more" in page.text and all(f"reason {at}" in page.text for at in range(15))
    assert "3 more" not in Page(report(cells, pulls_to_check=many[:12])).text
