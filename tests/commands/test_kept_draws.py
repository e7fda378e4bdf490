"""Draws that were paid for are kept when anything fails after sampling; the next fit goes on from them."""

import errno
import os
import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path

import pytest

import holdcast
from holdcast import load, package_data
from holdcast.capacity import store
from holdcast.capacity.results import root
from holdcast.commands.published import publishing
from holdcast.show.figures import capacity as figure
from holdcast.source_digest import source_digest

Contents = Callable[[Path], dict[str, bytes]]
STEPS = {
    "the posterior": (publishing, "save"),
    "the cells": (publishing, "cells_csv"),
    "the excluded": (publishing, "as_csv"),
    "the figures": (figure, "save_figures"),
    "the page": (publishing, "write_whole"),
}
FULL = OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), "results")


def failing(error: BaseException) -> Callable[..., None]:
    def fail(*_: object, **__: object) -> None:
        raise error

    return fail


def hidden(folder: Path) -> list[str]:
    return [path.name for path in folder.iterdir() if path.name.startswith(".")]


def test_a_disk_that_fills_up_at_any_write_costs_no_draws(
    campaign: Path, published: Path, run: Callable, fits: Callable, unpaged: None, contents: Contents
) -> None:
    """One disk, full at a later write each time: all but the first go on from the draws of the first."""
    fits()
    shutil.copytree(published, campaign / "results")
    before, kept = contents(campaign / "results"), campaign / "results-draws"
    for place, name in STEPS.values():
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(place, name, failing(FULL))
            ended = run("fit", campaign, "--seed", "4")
        assert ended.status == 5 and "No space left on device" in ended.err, name
        assert "Traceback" not in ended.err
        assert f"the draws are kept in {kept}: run the same fit again, and it goes on" in ended.err
        assert contents(campaign / "results") == before and hidden(campaign) == []
        fits(raises=AssertionError("it sampled"))
    assert load(kept).tree.attrs["seed"] == 4
    ended = run("fit", campaign, "--seed", "4")
    assert ended.status == 0 and f"going on from the draws in {kept}" in ended.err
    assert load(campaign / "results").tree.attrs["seed"] == 4
    assert not kept.exists()


@pytest.mark.parametrize(
    ("error", "status"), [(RuntimeError("a wheel came off"), 3), (KeyboardInterrupt(), 130)]
)
def test_a_fault_or_ctrl_c_while_drawing_keeps_them_too(
    campaign: Path, run: Callable, fits: Callable, unpaged: None, error: BaseException, status: int
) -> None:
    fits()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(figure, "save_figures", failing(error))
        ended = run("fit", campaign)
    assert ended.status == status and "the draws are kept in" in ended.err
    assert not (campaign / "results").exists() and hidden(campaign) == []
    fits(raises=AssertionError("it sampled"))
    assert run("fit", campaign).status == 0


def test_draws_of_another_seed_are_left_alone_and_not_used(
    campaign: Path, run: Callable, fits: Callable, unpaged: None, contents: Contents
) -> None:
    fits()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(figure, "save_figures", failing(FULL))
        assert run("fit", campaign, "--seed", "4").status == 5
    kept = contents(campaign / "results-draws")
    ended = run("fit", campaign, "--seed", "5")
    assert ended.status == 0 and "seed or version of the program: it is left" in " ".join(ended.err.split())
    assert load(campaign / "results").tree.attrs["seed"] == 5
    assert contents(campaign / "results-draws") == kept


def test_draws_of_a_program_since_edited_are_left_alone_and_not_used(
    campaign: Path, run: Callable, fits: Callable, unplotted: None, contents: Contents
) -> None:
    """The version says 0.1.0 before and after an edit; the digest of the code does not."""
    fits()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(figure, "save_figures", failing(FULL))
        patch.setattr(root, "fit_code_digest", lambda: "0123456789ab")
        assert run("fit", campaign, "--seed", "4").status == 5
    kept = contents(campaign / "results-draws")
    assert load(campaign / "results-draws").tree.attrs["code"] == "0123456789ab"
    ended = run("fit", campaign, "--seed", "4")
    assert ended.status == 0 and "version of the program: it is left as it is" in " ".join(ended.err.split())
    assert "going on from the draws" not in ended.err
    assert load(campaign / "results").tree.attrs["code"] == root.fit_code_digest()
    assert contents(campaign / "results-draws") == kept


def test_the_digest_is_of_all_that_a_fit_runs_and_reads(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Reading, the model, the physics and the published tables; no room besides makes a draw."""
    package = Path(holdcast.__file__).parent
    rooms = {each.name for each in package.iterdir() if (each / "__init__.py").is_file()}
    assert rooms - set(root.FIT_CODE) == {"answers", "commands", "evaluate", "show"}
    assert root.fit_code_digest() == source_digest(root.FIT_CODE, ("tables",))
    shutil.copytree(package_data.path("tables"), tmp_path / "tables")
    monkeypatch.setattr(package_data, "path", lambda name: tmp_path / name)
    assert root.fit_code_digest() == source_digest(root.FIT_CODE, ("tables",))
    table = tmp_path / "tables" / "soil_classes.csv"
    table.write_bytes(table.read_bytes().replace(b"1", b"2", 1))
    assert root.fit_code_digest() != source_digest(root.FIT_CODE, ("tables",))


def test_they_go_elsewhere_when_the_campaigns_disk_is_full(
    campaign: Path,
    run: Callable,
    fits: Callable,
    unpaged: None,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    elsewhere, write = tmp_path / "elsewhere", Path.write_bytes
    elsewhere.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(elsewhere))

    def full_beside(self: Path, data: bytes) -> int:
        if campaign in self.parents:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(self))
        return write(self, data)

    fits()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Path, "write_bytes", full_beside)
        ended = run("fit", campaign)
    (kept,) = elsewhere.iterdir()
    assert ended.status == 5 and f"the draws are kept in {kept}: make room, move that folder" in ended.err
    assert {path.name for path in campaign.iterdir()} == {"anchors.csv", "seabeds.csv", "trials.csv"}
    shutil.move(kept, campaign / "results-draws")  # what it says
    fits(raises=AssertionError("it sampled"))
    assert run("fit", campaign).status == 0


def test_when_no_place_can_be_written_it_says_so(
    campaign: Path, run: Callable, fits: Callable, unpaged: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(store, "tree_bytes", failing(FULL))
    fits()
    ended = run("fit", campaign)
    assert ended.status == 5 and "the draws could not be kept either" in ended.err
    assert {path.name for path in campaign.iterdir()} == {"anchors.csv", "seabeds.csv", "trials.csv"}


def test_what_cannot_be_written_is_found_before_anything_is_sampled(
    campaign: Path, run: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    from holdcast.capacity.results import rehearsal

    monkeypatch.setattr(rehearsal, "tree_bytes", failing(ValueError("no such name")))
    ended = run("fit", campaign)
    assert ended.status == 2 and "could not be written (no such name); nothing was sampled" in ended.err
    assert "compiling" not in ended.err
    assert {path.name for path in campaign.iterdir()} == {"anchors.csv", "seabeds.csv", "trials.csv"}
