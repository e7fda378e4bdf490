"""The option of the commands that draw: taken by each of them, and what it draws is named on the screen."""

import inspect

import pytest

from holdcast.cli import main
from holdcast.commands import (
    boat,
    check,
    classtest,
    compare,
    criticise,
    explain,
    features,
    predict,
    rank,
    report,
    sizes,
)
from holdcast.commands.shared.answering import Picture, PictureSizes, say_drawn, say_written
from holdcast.show.figures import intervals
from holdcast.show.figures.sheet import PictureSize

COMMANDS = (*(boat, check, classtest, compare, criticise, explain, features, predict, rank, report, sizes),)


@pytest.mark.parametrize("module", COMMANDS, ids=lambda module: module.__name__.rpartition(".")[2])
def test_every_command_that_draws_takes_the_option(module):
    command = getattr(module, module.__name__.rpartition(".")[2])
    assert inspect.signature(command).parameters["picture_size"].annotation == PictureSizes


@pytest.mark.parametrize(
    "module",
    sorted(set(COMMANDS) - {check, report}, key=str),
    ids=lambda module: module.__name__.rpartition(".")[2],
)
def test_every_answer_draws_when_asked_alone(module):
    command = getattr(module, module.__name__.rpartition(".")[2])
    option = inspect.signature(command).parameters["picture"]
    assert option.annotation == Picture and option.default is False


@pytest.mark.parametrize(
    ("picture", "sizes", "drawn"), [(False, None, []), (True, None, [()]), (False, ["wide"], [["wide"]])]
)
def test_a_shape_asks_for_the_usual_picture_too(picture, sizes, drawn):
    shapes = []
    say_drawn(lambda each: shapes.append(each) or [], picture, sizes)
    assert shapes == drawn


def test_numbered_pictures_are_named_by_the_first_and_the_last(tmp_path, capsys):
    numbered = [tmp_path / f"rank-wide-{n}.{end}" for n in (1, 2, 3) for end in ("svg", "png")]
    say_written([tmp_path / "rank.svg", *numbered])
    assert [line.split("wrote ")[1] for line in capsys.readouterr().err.splitlines()] == [
        str(tmp_path / "rank.svg"),
        f"{tmp_path / 'rank-wide-1.svg'} to rank-wide-3.svg",
        f"{tmp_path / 'rank-wide-1.png'} to rank-wide-3.png",
    ]


def run(monkeypatch, *words):
    monkeypatch.setattr("sys.argv", ["holdcast", *map(str, words)])
    with pytest.raises(SystemExit) as ended:
        main()
    return ended.value.code or 0


def test_an_unknown_shape_is_refused_with_the_known_ones(monkeypatch, capsys, tmp_path):
    assert run(monkeypatch, "rank", tmp_path, "--picture-size", "tall") == 2
    said = capsys.readouterr().err
    assert "'tall' is not one of 'wide', 'square', 'phone'" in said and not list(tmp_path.iterdir())


def test_a_shape_without_a_picture_is_refused(monkeypatch, capsys, tmp_path):
    assert run(monkeypatch, "check", tmp_path, "--picture-size", "wide") == 2
    assert "--picture-size goes with --picture FILE" in capsys.readouterr().err


def test_each_shape_asked_for_reaches_the_picture(monkeypatch):
    seen = []
    monkeypatch.setattr(intervals, "write_figure", lambda *_: [])
    monkeypatch.setattr(intervals, "interval_figure", lambda *_: None)
    monkeypatch.setattr(
        "holdcast.show.figures.fixed.sheets.save_fixed",
        lambda sheet, folder, name, sizes: seen.extend(sizes) or [],
    )
    intervals.save_figure(None, None, "x", list(PictureSize))
    assert seen == ["wide", "square", "phone"]
