"""The file of requests and the command that answers it, as a tester would use them."""

from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest
import xarray as xr

from holdcast.answers.draws.draws import draws_of
from holdcast.answers.predict.predict import predict as answer_requests
from holdcast.answers.predict.requests import complete_requests
from holdcast.campaign.records import CampaignError
from holdcast.campaign.requests import KnownNames, read_requests
from holdcast.commands.boat import boat
from holdcast.commands.classtest import classtest
from holdcast.commands.predict import predict
from holdcast.commands.shared.common import InputError
from holdcast.commands.sizes import sizes

GOOD = """\
request,anchor,form,mass_lb,seabed,soil,strength,scope
one,A-10,,,mud,,,
two,mine,scoop,22.0462262,,clay,LOW,5
"""
CONTRACT = (
    ["request"]
    + [f"capacity_n_q{q}" for q in ("05", "25", "50", "75", "95")]
    + [f"efficiency_q{q}" for q in ("05", "25", "50", "75", "95")]
    + [f"new_pull_n_q{q}" for q in ("05", "50", "95")]
    + ["range", "basis"]
)


@pytest.fixture
def names(world_fit) -> KnownNames:
    tables = [world_fit.tree[name].to_dataset().to_dataframe() for name in ("anchors", "seabeds")]
    return KnownNames(*tables, ["light rode"])


def written(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "requests.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_units_and_words_are_read_like_a_campaign(tmp_path, names) -> None:
    frame, findings = read_requests(written(tmp_path, GOOD), names)
    assert not findings
    assert frame.loc["two", "mass_kg"] == pytest.approx(10.0)
    assert frame.loc["two", "strength"] == "low"


FAULTS = [
    ("one,A-1O,,,mud,,,", "anchor", "Did you mean"),
    ("one,a-10,,20,mud,,,", "anchor", "Did you mean A-10"),
    ("one,A-1O,,20,mud,,,", "anchor", "Did you mean A-10?"),
    ("one,A 10,,20,mud,,,", "anchor", "Did you mean A-10?"),
    ("one,A-10,,,s  and,sand,,", "seabed", "Did you mean sand?"),
    ("one,,,,mud,,,", "anchor", "Name a known anchor"),
    ("one,A-10,,,mudd,,,", "seabed", "Did you mean mud?"),
    ("one,A-10,,30,mud,,,", "mass_lb", "name of its own"),
    ("one,A-10,claw,,mud,,,", "form", "name of its own"),
    ("one,A-10,,,mud,sand,,", "soil", "name of its own"),
    ("one,A-10,,,mud,clay,high,", "strength", "name of its own"),
    ("one,A-10,,,x,clay,dense,", "strength", "not used for clay"),
    ("one,A-10,,,mud,,,0.5", "scope", "Correct the number"),
    ("one,A-10,,heavy,mud,,,", "mass_lb", "Write a number"),
]


@pytest.mark.parametrize(("row", "column", "fix"), FAULTS)
def test_each_fault_is_named(tmp_path, names, row, column, fix) -> None:
    with pytest.raises(CampaignError) as error:
        read_requests(written(tmp_path, GOOD.splitlines()[0] + "\n" + row + "\n"), names)
    found = [one for one in error.value.findings if one.column == column and one.row == 2]
    assert len(found) == 1
    assert fix in found[0].fix


@pytest.mark.parametrize(("cover", "bad"), [("weed", True), ("none", False), ("", False), ("None", False)])
def test_another_cover_than_the_seabeds_own_is_a_fault(tmp_path, names, cover, bad) -> None:
    text = f"request,anchor,seabed,cover\none,A-10,mud,{cover}\n"
    if not bad:
        assert len(read_requests(written(tmp_path, text), names)[0]) == 1
        return
    with pytest.raises(CampaignError) as error:
        read_requests(written(tmp_path, text), names)
    assert [(one.row, one.column) for one in error.value.findings] == [(2, "cover")]


def test_all_faults_come_at_once_and_skip_bad_answers_the_rest(tmp_path, names) -> None:
    rows = [row.replace("one", f"r{place}", 1) for place, (row, _, _) in enumerate(FAULTS)]
    path = written(tmp_path, GOOD + "\n".join(rows) + "\n")
    with pytest.raises(CampaignError) as error:
        read_requests(path, names)
    assert {one.row for one in error.value.findings} == set(range(4, 4 + len(FAULTS)))
    frame, findings = read_requests(path, names, skip_bad=True)
    assert list(frame.index) == ["one", "two"]
    assert {one.row for one in findings} == set(range(4, 4 + len(FAULTS)))


def test_skip_bad_leaves_out_a_flood_that_is_only_counted(tmp_path, names) -> None:
    bad = "".join(f"bad{place},A-1O,,,mud,,,\n" for place in range(450))
    frame, _ = read_requests(written(tmp_path, GOOD + bad), names, skip_bad=True)
    assert list(frame.index) == ["one", "two"]


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("request,anchor,seabed,mass_kg,mass_lb\none,A-10,mud,,\n", "one quantity in two units"),
        ("anchor,seabed\nA-10,mud\n", "no column request"),
        ("request,anchor,seabed,flag_roll_bars\none,A-10,mud,no\n", "the unknown feature"),
        ("request,anchor,seabed\none,A-10,mud\nONE,A-10,mud\n", "'ONE'"),
        ("request,anchor,seabed,rode\none,A-10,mud,other\n", "'other'"),
    ],
)
def test_faults_of_a_header_or_label(tmp_path, names, text, found) -> None:
    with pytest.raises(CampaignError) as error:
        read_requests(written(tmp_path, text), names)
    assert any(found in one.found for one in error.value.findings)


@pytest.mark.parametrize(
    ("header", "cells", "column"),
    [
        ("chain_kg_per_m", "1.4", "chain_length_m"),
        ("chain_kg_per_m,chain_length_m", "1.4,", "chain_length_m"),
        ("chain_kg_per_m,chain_length_m", ",9", "chain_kg_per_m"),
    ],
)
def test_half_a_chain_is_a_fault_as_in_a_campaign(tmp_path, names, header, cells, column) -> None:
    text = f"request,anchor,seabed,scope,depth_m,{header}\none,A-10,mud,4,9,{cells}\n"
    with pytest.raises(CampaignError) as error:
        read_requests(written(tmp_path, text), names)
    (found,) = error.value.findings
    assert (found.row, found.column) == (2, column)
    assert "weight and its length together" in found.fix


def test_a_bad_header_is_not_skipped(tmp_path, names) -> None:
    path = written(tmp_path, "request,anchor,seabed,mass_kg,mass_lb\none,A-10,mud,,\n")
    with pytest.raises(CampaignError):
        read_requests(path, names, skip_bad=True)


def test_command_writes_the_columns_of_the_contract_and_prints_the_cautions(
    tmp_path, results, capsys
) -> None:
    out = tmp_path / "answers.csv"
    predict(results, written(tmp_path, GOOD), out=out, picture=True)
    table = pd.read_csv(out)
    assert set(CONTRACT) <= set(table.columns)
    assert table["basis"].tolist() == ["tested cell", "new anchor and seabed"]
    said = capsys.readouterr().out
    assert "not a safety factor, not a guarantee" in said
    assert "90% band" in said and "new anchor and seabed" in said
    assert (results / "figures" / "predict.svg").stat().st_size > 4_000


def test_answers_replace_answers_and_nothing_else(tmp_path, opened) -> None:
    requests, log, out = written(tmp_path, GOOD), tmp_path / "trials.csv", tmp_path / "answers.csv"
    log.write_text("trial,anchor,seabed,test,held_n\n1,A-10,mud,pull,900\n", encoding="utf-8")
    for target, said in (
        (log, "holds something other than predict's answers"),
        (requests, "holds something other than predict's answers"),
        (tmp_path, "is a folder; name a file in it"),
        (tmp_path / "nowhere" / "answers.csv", "there is no folder .*nowhere; make it"),
    ):
        before = target.read_bytes() if target.is_file() else None
        with pytest.raises(InputError, match=said):
            predict(opened, requests, out=target)
        assert before is None or target.read_bytes() == before
    predict(opened, requests, out=out)
    first = out.read_bytes()
    predict(opened, requests, out=out)
    assert out.read_bytes() == first
    with pytest.raises(InputError, match="holds something other than predict's answers"):
        predict(opened, out, out=out)


def test_the_screen_speaks_in_the_units_of_the_campaign(tmp_path, world_fit, open_fit, capsys) -> None:
    tree = world_fit.tree.copy()
    tree.attrs = {**world_fit.tree.attrs, "units": "us"}
    folder = open_fit(replace(world_fit, tree=tree))
    predict(folder, written(tmp_path, GOOD))
    sizes(folder, design=["A"], seabed=["mud"])
    boat(folder, length_m=9.0, seabed=["mud"])
    said = capsys.readouterr().out
    assert "lbf" in said and "kN" not in said
    boat(folder, length_m=9.0, seabed=["mud"], units="si")
    assert "kN" in capsys.readouterr().out


def test_a_blank_feature_is_that_of_the_design_and_told(tmp_path, names, world_fit) -> None:
    text = (
        "request,anchor,design,form,mass_kg,seabed,flag_roll_bar\n"
        "blank,,B,,20,mud,\nyes,,B,,20,mud,yes\nmixed,,A,,20,mud,\nown,mine,,scoop,20,mud,\n"
    )
    rows, _ = read_requests(written(tmp_path, text), names)
    answer = answer_requests(world_fit, rows)
    basis = dict(zip(answer["request"].to_numpy(), answer["basis"].to_numpy(), strict=True))
    assumed = dict(zip(answer["request"].to_numpy(), answer["assumed"].to_numpy(), strict=True))
    assert (basis["blank"], basis["yes"]) == ("new size", "new configuration")
    assert "counted without roll bar, which some of its design have" in assumed["mixed"]
    assert "roll bar" not in assumed["blank"] + assumed["yes"] + assumed["own"]
    tree = world_fit.tree.copy()
    anchors = tree["anchors"].to_dataset()
    tree["anchors"] = anchors.assign(flag_roll_bar=xr.full_like(anchors["flag_roll_bar"], True))
    told = complete_requests(draws_of(replace(world_fit, tree=tree)), rows)
    assert told.loc["blank", "flag_roll_bar"] and not told.loc["own", "flag_roll_bar"]
    assert "roll bar: as all tested anchors of its design" in told.loc["blank", "assumed"]


def test_json_and_pounds(tmp_path, opened, capsys, read_json) -> None:
    predict(opened, written(tmp_path, GOOD), as_json=True)
    told = read_json()
    assert told["approximate"] is False
    answers = told["answers"]
    assert [row["request"] for row in answers] == ["one", "two"]
    predict(opened, written(tmp_path, GOOD), units="us")
    said = capsys.readouterr().out
    assert "lbf" in said and "kN" not in said


def test_bad_verdict_comes_first(tmp_path, doubtful_fit, open_fit, capsys) -> None:
    predict(open_fit(doubtful_fit), written(tmp_path, GOOD))
    assert capsys.readouterr().out.startswith("UNRELIABLE")


@pytest.mark.parametrize("command", [predict, sizes, boat, classtest])
def test_a_quick_fit_is_told_first_on_the_screen_in_json_and_in_every_row(
    command, tmp_path, world_fit, open_fit, capsys, read_json
) -> None:
    quick_results = open_fit(replace(world_fit, verdict=replace(world_fit.verdict, approximate=True)))
    options = {
        predict: {"requests": written(tmp_path, GOOD), "out": quick_results / "answers.csv"},
        sizes: {"design": ["A"], "seabed": ["mud"]},
        boat: {"length_m": 9.0, "seabed": ["mud"]},
    }.get(command, {})
    command(quick_results, **options)
    assert capsys.readouterr().out.startswith("APPROXIMATE: this is a quick fit")
    command(quick_results, **options, as_json=True)
    assert read_json()["approximate"] is True
    for path in quick_results.glob("*.csv"):
        table = pd.read_csv(path)
        assert table.columns[0] == "approximate" and set(table["approximate"]) == {"yes"}


def test_nothing_left_to_answer_is_bad_input(tmp_path, opened) -> None:
    path = written(tmp_path, "request,anchor,seabed\none,A-1O,mud\n")
    with pytest.raises(CampaignError) as error:
        predict(opened, path, skip_bad=True)
    assert any(one.found == "no request that can be answered" for one in error.value.findings)
