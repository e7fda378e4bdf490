"""What leaves the phone: rows that the campaign's own reader takes, with ids and dates that are right."""

import csv
import io
from datetime import date

import pytest
from on_the_phone import in_a_browser_that_keeps, wait_until

from holdcast.campaign.read import read_campaign

SOIL = ("silt", "clay", "sand", "gravel")


@pytest.fixture
def campaign(readings, tmp_path):
    """A campaign with the page's anchors, seabeds, rodes and load cell, loads in a unit."""

    def written(force="kn", rows=()):
        folder = tmp_path / "campaign"
        folder.mkdir(exist_ok=True)

        def table(name, head, lines):
            text = io.StringIO()
            csv.writer(text, lineterminator="\n").writerows([head, *lines])
            (folder / name).write_text(text.getvalue(), encoding="utf-8")

        anchors = readings["anchor"].to_numpy().tolist()
        seabeds = readings["seabed"].to_numpy().tolist()
        table("anchors.csv", ["anchor", "mass_kg"], [[name, 10] for name in anchors])
        table("seabeds.csv", ["seabed", "soil"], list(zip(seabeds, SOIL, strict=True)))
        table(
            "rodes.csv",
            ["rode", "chain_kg_per_m", "chain_length_m"],
            [["usual rode", 1.4, 10], ["light rode", 0.8, 6]],
        )
        table("instruments.csv", ["instrument"], [["cell 1"]])
        old = [
            {"trial": "t1", "anchor": anchors[0], "seabed": seabeds[0], "test": "pull", f"held_{force}": "2"}
        ]
        both = [*old, *rows]
        head = list(dict.fromkeys(name for row in both for name in row))
        table("trials.csv", head, [[row.get(name, "") for name in head] for row in both])
        return read_campaign(folder, today=date(2027, 1, 1))

    return written


def rows_of(text):
    return list(csv.DictReader(io.StringIO(text)))


def choose(page, kind):
    page.get_by_label(kind, exact=True).check()


def write(page, card=0, kind="pull", **typed):
    page.locator(".test").nth(card).locator(".write").click()
    choose(page, kind)
    for name, text in typed.items():
        if name in ("stopped_by",):
            page.select_option(f"#f-{name}", text)
        elif name == "dug_in":
            page.get_by_label(text, exact=True).check()
        elif name == "reason":
            page.locator("#f-fouled").check()
            page.fill("#f-reason", text)
        else:
            if name in ("drag", "hold", "reversal"):
                page.locator("#entry details").evaluate("e => { e.open = true; }")
            page.fill(f"#f-{name}", text)
    page.get_by_role("button", name="Keep it").click()


def saved(page):
    with page.expect_download() as download:
        page.locator("#save-file").click()
    assert download.value.suggested_filename.endswith(".csv")
    return download.value.path().read_text(encoding="utf-8")


def test_every_kind_of_row_passes_the_reader(phone, campaign):
    page = phone()
    page.fill("#day-depth", "4,5")
    page.select_option("#day-instrument", "cell 1")
    write(page, held="2,0", released="2.5", note='said "fine", then\u200b left; ü', drag="1.5", hold="30")
    write(page, card=1, held="3", stopped_by="boat_limit")
    write(page, released="0.6")
    write(page, dug_in="no")
    write(page, dug_in="no", released="0.4")
    write(page, held="1", released="1.2", reason="old chain")
    write(page, kind="reset", attempts="5", successes="3", held="1.5")
    write(page, kind="veer", held="1.5", veer="90", veer_held="60")
    write(page, kind="veer", held="1.5", veer="180", released="2.2", card=3)
    text = saved(page)
    assert text == page.input_value("#save-text")
    assert "9 tests for the file, all saved." in page.text_content("#save-words")
    log = campaign(rows=rows_of(text))
    trials = log.trials.iloc[1:]
    assert trials["held_n"].tolist() == pytest.approx([2000, 3000, 0, 0, 0, 1000, 1500, 1500, 1500])
    assert trials["released_n"].tolist()[:6] == pytest.approx(
        [2500, float("inf"), 600, float("inf"), 400, 1200]
    )
    assert (
        trials["status"].tolist().count("excluded") == 1 and trials["exclude"].iloc[5] == "fouled: old chain"
    )
    assert trials["note"].iloc[0] == 'said "fine", then left; ü'
    assert trials["set"].tolist()[2:6] == ["", "no", "no", ""]
    assert trials["reversal_deg"].iloc[6] == 180.0 and trials["successes"].iloc[6] == 3
    assert trials["veer_held_deg"].iloc[7] == 60.0
    first = trials.iloc[0]
    assert (first["depth_m"], first["scope"], first["rode"]) == (4.5, 7.0, "usual rode")
    assert (first["drag_m"], first["hold_s"], first["instrument"]) == (1.5, 30.0, "cell 1")
    assert (trials["load_at"] == "bow").all()


@pytest.mark.parametrize(("force", "newtons"), [("n", 1.0), ("lbf", 4.4482216152605), ("kgf", 9.80665)])
def test_loads_leave_in_the_log_s_unit(phone, campaign, readings, make_day, tmp_path, force, newtons):
    path = tmp_path / "unit.html"
    path.write_text(make_day(readings, force_unit=force), encoding="utf-8")
    page = phone(path=path)
    write(page, held="500", released="600")
    log = campaign(force, rows_of(saved(page)))
    assert log.trials["held_n"].iloc[1] == pytest.approx(500 * newtons)


def test_a_chain_without_a_name_stands_in_the_rows(phone, campaign, readings, make_day, tmp_path):
    path = tmp_path / "chain.html"
    path.write_text(make_day(readings, rode="", chain=(1.4, 12.0)), encoding="utf-8")
    assert "on 1.4 kg/m of chain, 12 m at scope 7" in path.read_text(encoding="utf-8")
    page = phone(path=path)
    write(page, held="1")
    page.select_option("#day-rode", "light rode")
    write(page, held="2")
    trials = campaign(rows=rows_of(saved(page))).trials.iloc[1:]
    assert trials["chain_length_m"].iloc[0] == 12.0 and trials["chain_length_m"].isna().tolist() == [
        False,
        True,
    ]


def test_feet_for_a_log_in_feet(phone, campaign, readings, make_day, tmp_path):
    path = tmp_path / "feet.html"
    path.write_text(make_day(readings, force_unit="lbf", length_unit="ft"), encoding="utf-8")
    page = phone(path=path)
    page.fill("#day-depth", "10")
    write(page, held="500", released="600")
    assert campaign("lbf", rows_of(saved(page))).trials["depth_m"].iloc[1] == pytest.approx(3.048)


@pytest.mark.parametrize(
    ("zone", "moment", "day"),
    [
        ("Etc/GMT-12", "2026-05-31T20:00:00Z", "2026-06-01"),
        ("Etc/GMT+9", "2026-06-01T03:00:00Z", "2026-05-31"),
        ("UTC", "2026-06-01T03:00:00Z", "2026-06-01"),
    ],
)
def test_the_date_is_the_phone_s_own(phone, zone, moment, day):
    page = phone(timezone_id=zone, now=moment)
    assert page.input_value("#day-visit") == day
    write(page, held="1")
    row = rows_of(page.input_value("#save-text"))[0]
    assert row["date"] == row["visit"] == day and row["trial"].startswith(day.replace("-", ""))


@in_a_browser_that_keeps
def test_the_next_morning_is_another_visit(phone):
    page = phone(now="2026-05-31T20:00:00Z", timezone_id="UTC")
    page.fill("#day-visit", "2026-05-31 afternoon")
    write(page, held="1")
    morning = phone(context=page.context, now="2026-06-01T08:00:00Z")
    assert morning.input_value("#day-visit") == "2026-06-01"
    write(morning, held="2")
    rows = rows_of(morning.input_value("#save-text"))
    assert [row["visit"] for row in rows] == ["2026-05-31 afternoon", "2026-06-01"]


@in_a_browser_that_keeps
def test_ids_are_new(phone, readings, make_day, tmp_path):
    """Neither those of the campaign, nor those of another phone, nor one that was deleted."""
    page = phone(now="2026-05-31T08:00:00Z", timezone_id="UTC")
    write(page, held="1")
    mine = rows_of(page.input_value("#save-text"))[0]["trial"]
    next_one = mine[:-2] + "02"
    path = tmp_path / "later.html"
    path.write_text(make_day(readings, trials=("t1", mine.upper(), next_one)), encoding="utf-8")
    later = phone(path=path, context=page.context, now="2026-05-31T09:00:00Z")
    assert "in the campaign already" in later.text_content(".entries")
    assert later.input_value("#save-text") == ""
    write(later, held="2")
    ids = [row["trial"] for row in rows_of(later.input_value("#save-text"))]
    assert ids == [mine[:-2] + "03"]
    marks = set()
    for _ in range(4):
        other = phone(now="2026-05-31T08:00:00Z", timezone_id="UTC")
        write(other, held="1")
        marks.add(rows_of(other.input_value("#save-text"))[0]["trial"])
    assert len(marks) >= 3


def test_share_where_the_phone_can(phone, chromium):
    context = chromium.new_context(viewport={"width": 390, "height": 844})
    context.add_init_script(
        "navigator.canShare = () => true;"
        "navigator.share = async given => { window.shared = await given.files[0].text(); };"
    )
    page = phone(context=context)
    write(page, held="1")
    page.locator("#share-file").click()
    wait_until(page, "Boolean(window.shared)")
    assert page.evaluate("window.shared") == page.input_value("#save-text")
    assert "all saved" in page.text_content("#save-words")
    context.close()
