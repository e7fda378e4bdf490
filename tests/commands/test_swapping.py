"""Results are put in place whole or not at all, and never over somebody's own files."""

import errno
import multiprocessing
import os
from collections.abc import Callable
from pathlib import Path

import pytest

from holdcast.commands.folders.locking import only_writer
from holdcast.commands.folders.results import restore_interrupted, results_target, swap_in, unreliable_folder
from holdcast.commands.shared.common import InputError

Contents = Callable[[Path], dict[str, bytes]]


def write(text: str) -> Callable[[Path], None]:
    def write(folder: Path) -> None:
        (folder / "verdict.json").write_text(text)
        (folder / "figures").mkdir()
        (folder / "figures" / "capacity.svg").write_text(text)

    return write


@pytest.fixture
def results(tmp_path: Path) -> Path:
    folder = tmp_path / "results"
    swap_in(folder, write("old"))
    return folder


def test_new_results_replace_all_of_the_old_ones(results: Path, tmp_path: Path) -> None:
    (results / "cells.csv").write_text("old")
    swap_in(results, write("new"))
    assert (results / "verdict.json").read_text() == "new"
    assert not (results / "cells.csv").exists()
    assert [path.name for path in tmp_path.iterdir()] == ["results"]


@pytest.mark.parametrize(
    "error", [ValueError("half way"), KeyboardInterrupt(), OSError(errno.ENOSPC, "full")]
)
def test_a_failure_half_way_leaves_the_old_ones_byte_for_byte(
    results: Path, tmp_path: Path, contents: Contents, error: BaseException
) -> None:
    before = contents(tmp_path)

    def half(folder: Path) -> None:
        (folder / "verdict.json").write_text("half")
        raise error

    with pytest.raises(type(error)):
        swap_in(results, half)
    assert contents(tmp_path) == before
    assert [path.name for path in tmp_path.iterdir()] == ["results"]


def test_a_failure_between_the_two_renames_puts_the_old_ones_back(
    results: Path, tmp_path: Path, contents: Contents, monkeypatch: pytest.MonkeyPatch
) -> None:
    before, rename = contents(tmp_path), Path.rename

    def second_fails(self: Path, target: Path) -> Path:
        if self.name == ".results-writing":
            raise OSError(errno.EIO, "the cable came out")
        return rename(self, target)

    monkeypatch.setattr(Path, "rename", second_fails)
    with pytest.raises(OSError, match="cable"):
        swap_in(results, write("new"))
    assert contents(tmp_path) == before


def killed_between_the_renames(folder: Path) -> None:
    rename = Path.rename

    def die_at_second(self: Path, target: Path) -> Path:
        if self.name == ".results-writing":
            os._exit(9)  # like a kill: nothing is cleaned up
        return rename(self, target)

    Path.rename = die_at_second  # type: ignore[method-assign]
    swap_in(folder, write("new"))


def test_a_kill_between_the_two_renames_is_repaired_by_the_next_run(
    results: Path, tmp_path: Path, contents: Contents
) -> None:
    before = contents(results)
    process = multiprocessing.get_context("fork").Process(target=killed_between_the_renames, args=(results,))
    process.start()
    process.join(30)
    assert process.exitcode == 9 and not results.exists()
    restore_interrupted(results)
    assert contents(results) == before
    swap_in(results, write("newer"))
    assert [path.name for path in tmp_path.iterdir()] == ["results"]


def test_results_behind_a_link_are_swapped_where_they_lie(results: Path, tmp_path: Path) -> None:
    link = tmp_path / "link"
    link.symlink_to(results, target_is_directory=True)
    target = results_target(link)
    for text in ("new", "newer"):
        swap_in(target, write(text))
        assert link.is_symlink() and (link / "verdict.json").read_text() == text


@pytest.mark.parametrize("name", ["notes.txt", "predictions.csv"])
@pytest.mark.parametrize("reliable", [True, False])
def test_a_folder_with_somebodys_own_files_is_refused(results: Path, name: str, reliable: bool) -> None:
    folder = results if reliable else unreliable_folder(results)
    folder.mkdir(exist_ok=True)
    (folder / "verdict.json").write_text("{}")
    (folder / name).write_text("mine")
    with pytest.raises(InputError, match=rf"not results \({name}\)"):
        results_target(results)
    assert (folder / name).read_text() == "mine"


def test_a_campaign_folder_or_a_file_is_refused_as_results(
    campaign: Path, run: Callable[..., object]
) -> None:
    before = sorted(campaign.iterdir())
    ended = run("fit", campaign, "--out", campaign)
    assert ended.status == 2 and "anchors.csv, seabeds.csv, trials.csv" in ended.err
    ended = run("fit", campaign, "--out", campaign / "anchors.csv")
    assert ended.status == 2 and "is a file" in ended.err
    assert sorted(campaign.iterdir()) == before


def test_the_folder_one_stands_in_is_refused(
    campaign: Path, tmp_path: Path, run: Callable[..., object], monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "empty").mkdir()
    monkeypatch.chdir(tmp_path / "empty")
    ended = run("fit", campaign, "--out", ".")
    assert ended.status == 2 and "the folder you are in" in ended.err


def test_what_systems_leave_and_commands_add_is_no_ground_to_refuse(results: Path) -> None:
    for name in ("features.csv", "ranking.csv", "sizes.csv", ".DS_Store", "Thumbs.db"):
        (results / name).write_text("")
    assert results_target(results) == results


def test_a_second_run_on_the_same_results_is_told_to_wait(
    campaign: Path, run: Callable[..., object], fits: Callable[..., None]
) -> None:
    fits(raises=AssertionError("the work began"))
    lock = campaign / ".results-lock"
    with only_writer(campaign / "results"):
        ended = run("fit", campaign)
    assert ended.status == 5 and "another holdcast run is writing these results" in ended.err
    assert not lock.exists()
    lock.touch()  # left by a killed run: locks nothing
    assert run("fit", campaign).status == 3
