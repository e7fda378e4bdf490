"""The page over a fit's draws, asked in Chromium, gives what ``holdcast boat --json`` gives."""

import re

import numpy as np
import pytest
from invented_page import page_of

from holdcast.answers.page.joint_draws import joint_draws
from holdcast.cli import main

BOATS = [
    (7.0, 20.0, "mud", None),
    (9.0, 25.0, "sand", None),
    (12.0, 35.0, "clay", None),
    (9.0, 25.0, "sand", 3.0),
    (7.0, 15.0, "mud", 5.0),
    (10.0, 18.0, "clay", 7.5),
    (4.0, 4.0, "mud", None),
    (4.0, 4.0, "mud", 6.0),
]
"""The last two pull less than what the weight of some of the anchors resists by sliding."""


@pytest.fixture(scope="module")
def page_file(world_fit, tmp_path_factory):
    """The page over the fit's own draws; what else stands on it is invented."""
    draws = joint_draws(world_fit).assign_coords(
        form=("anchor", world_fit.tree["anchors"]["form"].to_numpy()),
        soil=("seabed", world_fit.tree["seabeds"]["soil"].to_numpy()),
    )
    path = tmp_path_factory.mktemp("page") / "report.html"
    path.write_text(page_of(draws), encoding="utf-8")
    return path


@pytest.mark.parametrize(("length", "wind", "seabed", "scope"), BOATS)
def test_page_equals_boat(chromium, opened, page_file, read_json, monkeypatch, length, wind, seabed, scope):
    words = ["holdcast", "boat", str(opened), "--length-m", str(length), "--wind-kn", str(wind), "--json"]
    if scope is not None:
        words += ["--scope", str(scope)]
    monkeypatch.setattr("sys.argv", words)
    with pytest.raises(SystemExit) as ended:
        main()
    assert not ended.value.code
    mps = wind * 1852 / 3600
    rows = [
        row
        for row in read_json()["cells"]
        if row["seabed"] == seabed and row["wind_mps"] == pytest.approx(mps, rel=1e-6)
    ]
    page = chromium.new_page()
    page.goto(page_file.as_uri())
    page.fill("#choice-length", str(length))
    page.fill("#choice-wind", str(wind))
    if scope is not None:
        page.select_option("#choice-rode", "scope")
        page.fill("#choice-scope", str(scope))
    for box in page.locator("input[name=seabed]").all():
        box.set_checked(box.locator("xpath=..").text_content().strip() == seabed)
    got = {
        row.locator("a").text_content(): float(row.locator("[data-chance]").get_attribute("data-chance"))
        for row in page.locator(".choice tbody tr:not(.form)").all()
    }
    assert re.search(r"Load [0-9.]+ kN", page.text_content("#choice-said"))
    tension = float(page.get_attribute("#choice-result", "data-tension-n"))
    page.close()
    # A sine of 1 / scope is the angle of a straight rode (an identity).
    cosine = 1.0 if scope is None else np.sqrt(1.0 - scope**-2)
    assert tension == pytest.approx(rows[0]["load_n"] / cosine, rel=1e-6)
    assert len(rows) == len(got) == 5
    for row in rows:
        # 400 of the fit's draws: four standard errors of a mean of chances.
        assert got[row["anchor"]] == pytest.approx(row["exceeds"], abs=4 * 0.5 / np.sqrt(400))
        assert (got[row["anchor"]] == 1.0) is (row["exceeds"] == 1.0)
    assert any(row["exceeds"] == 1.0 for row in rows) is (length == 4.0)
