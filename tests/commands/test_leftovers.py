"""What a killed fit leaves is told and cleaned up by the next check, unless a fit is still running."""

import json
import multiprocessing
import os
import random
import shutil
import signal
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from holdcast import load
from holdcast.capacity.results.pair import is_whole
from holdcast.cli import main
from holdcast.commands.folders.leftovers import tidied
from holdcast.commands.folders.locking import only_writer
from holdcast.commands.folders.results import write_whole

Contents = Callable[[Path], dict[str, bytes]]
pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs fork and signals")


def names(folder: Path) -> set[str]:
    return {path.name for path in folder.iterdir()}


@pytest.fixture
def fitted(campaign: Path, published: Path) -> Path:
    """A campaign with earlier results."""
    shutil.copytree(published, campaign / "results")
    return campaign


def test_check_tells_what_lies_about_and_cleans_up(fitted: Path, run: Callable, contents: Contents) -> None:
    before, clean = contents(fitted), names(fitted)
    (fitted / ".results-lock").touch()
    (fitted / ".results-writing").mkdir()
    (fitted / ".results-writing" / "posterior.nc").write_bytes(b"half")
    (fitted / ".results-unreliable-writing").mkdir()
    part = fitted / "results" / ".report.html.abc.part"
    part.write_text("half")
    os.utime(part, (0, 0))
    ended = run("check", fitted)
    assert ended.status == 0 and "removed .results-writing, left beside" in ended.err
    assert contents(fitted) == before and names(fitted) == clean
    assert "removed" not in run("check", fitted).err


def test_a_lock_alone_is_told_too(fitted: Path, run: Callable) -> None:
    (fitted / ".results-lock").touch()
    assert "removed .results-lock, left beside" in run("check", fitted).err
    assert not (fitted / ".results-lock").exists()


def test_nothing_is_touched_while_a_fit_runs(fitted: Path, run: Callable) -> None:
    (fitted / ".results-writing").mkdir()
    with only_writer(fitted / "results"):
        ended = run("check", fitted)
        assert ended.status == 0 and "a fit is writing" in ended.err and "left alone" in ended.err
        assert (fitted / ".results-writing").is_dir() and (fitted / ".results-lock").exists()


def test_results_that_were_moved_aside_are_put_back(fitted: Path, run: Callable, contents: Contents) -> None:
    before = contents(fitted)
    (fitted / "results").rename(fitted / ".results-previous")
    assert "put the last results back into" in run("check", fitted).err
    assert contents(fitted) == before


def test_finished_draws_of_a_killed_fit_are_rescued_and_used(
    fitted: Path, run: Callable, fits: Callable, unpaged: None
) -> None:
    fits()
    assert run("fit", fitted, "--seed", "8", "--out", fitted / "made").status == 0
    (fitted / "made").rename(fitted / ".results-writing")
    (fitted / ".results-writing" / "report.html").unlink()
    assert "kept the finished draws of a fit that was killed" in run("check", fitted).err
    assert names(fitted / "results-draws") == {"posterior.nc", "verdict.json"}
    fits(raises=AssertionError("it sampled"))
    assert run("fit", fitted, "--seed", "8").status == 0
    assert load(fitted / "results").tree.attrs["seed"] == 8


def test_a_file_that_cannot_be_finished_leaves_nothing(tmp_path: Path) -> None:
    with pytest.raises(UnicodeEncodeError):
        write_whole(tmp_path / "page.html", "half \ud800")
    assert names(tmp_path) == set()


def slow_fit(campaign: Path, started: Path) -> None:
    """Run a fit that samples for ever, in a process of its own."""
    from holdcast.capacity import fitting

    def for_ever(*_: object, **__: object) -> None:
        started.touch()
        time.sleep(60)

    # As a command in front has it: tests that run behind something else would not hear it.
    signal.signal(signal.SIGINT, signal.default_int_handler)
    fitting.fit = for_ever
    main(["fit", str(campaign)])


@pytest.mark.parametrize("name", ["SIGTERM", "SIGHUP", "SIGINT"])
def test_a_polite_end_cleans_up_at_once(fitted: Path, name: str, contents: Contents, tmp_path: Path) -> None:
    before, started = contents(fitted), tmp_path / "started"
    process = multiprocessing.get_context("fork").Process(target=slow_fit, args=(fitted, started))
    process.start()
    while not started.exists() and process.is_alive():
        time.sleep(0.02)
    os.kill(process.pid, getattr(signal, name))
    process.join(30)
    assert process.exitcode == 130
    assert contents(fitted) == before and ".results-lock" not in names(fitted)


def small_fit(campaign: Path, seed: str) -> None:
    main(["fit", str(campaign), "--seed", seed])


@pytest.mark.long
def test_killed_at_random_moments_the_earlier_or_the_new_results_stand(
    fitted: Path, fits: Callable, contents: Contents
) -> None:
    """A small version of scripts/checks/kills.py, with a fit that samples nothing."""
    fits()
    chance = random.Random(20_261_129)
    for number in range(8):
        before, sent = contents(fitted / "results"), chance.choice(("SIGKILL", "SIGKILL", "SIGTERM"))
        process = multiprocessing.get_context("fork").Process(target=small_fit, args=(fitted, str(number)))
        process.start()
        process.join(chance.uniform(0.0, 2.5))
        if process.is_alive():
            os.kill(process.pid, getattr(signal, sent))
        process.join(30)
        tidied(fitted / "results")
        left = {name for name in names(fitted) if name.startswith(".")}
        assert not left, (number, sent, left)
        assert contents(fitted / "results") == before or is_whole(fitted / "results"), (number, sent)
        verdict = json.loads((fitted / "results" / "verdict.json").read_text())
        assert verdict["ok"] is True
