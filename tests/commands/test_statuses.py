"""Each exit status of the contract, reached through the command line's own front door."""

import errno
import json
import os
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

Run = Callable[..., object]
Contents = Callable[[Path], dict[str, bytes]]


def names_in(folder: Path) -> set[str]:
    return {path.name for path in folder.iterdir()}


def test_done_is_0_and_the_answer_carries_bands_and_cautions(
    campaign: Path, run: Run, fits: Callable[..., None], unplotted: None
) -> None:
    fits()
    ended = run("fit", campaign)
    assert ended.status == 0
    assert "50% band" in ended.out and "not a safety factor, not a guarantee" in ended.out
    assert "6 rows in = 5 used (4 pulls, 1 reset) + 1 excluded." in ended.err
    assert str(campaign / "results" / "report.html") in ended.out
    assert names_in(campaign) == {"anchors.csv", "seabeds.csv", "trials.csv", "results"}


def test_units_change_the_screen_and_not_the_files(
    campaign: Path, run: Run, fits: Callable[..., None], unplotted: None
) -> None:
    fits()
    assert "Capacity in kN" in run("fit", campaign).out
    si = (campaign / "results" / "cells.csv").read_bytes()
    ended = run("fit", campaign, "--units", "us")
    assert "Capacity in lbf" in ended.out and "Capacity in kN" not in ended.out
    assert (campaign / "results" / "cells.csv").read_bytes() == si


def test_bad_input_is_2_with_every_fault_at_once_and_nothing_written(make_campaign: Run, run: Run) -> None:
    pull = {"anchor": "A", "seabed": "<b>beach</b>", "test": "pull", "held_n": 100}
    trials = [
        {**pull, "trial": "1", "anchor": "B"},
        {**pull, "trial": "1", "held_n": "1,5"},
        {**pull, "trial": "3", "held_n": "nan"},
        {**pull, "trial": "4", "released_n": 50},
    ]
    folder = make_campaign("[priors.ground_typica]\nmean = 7\n[threshold]\nx = 1\n", trials=trials)
    before = names_in(folder)
    ended = run("fit", folder)
    assert ended.status == 2 and ended.out == ""
    for found in ("threshold", "'B'", "1,5", "nan", "'50'", "each name once"):
        assert found in ended.err
    assert "faults; nothing was written" in ended.err and "Traceback" not in ended.err
    assert names_in(folder) == before


def test_a_prior_that_does_not_exist_is_a_fault_with_the_nearest_name(make_campaign: Run, run: Run) -> None:
    ended = run("check", make_campaign("[priors.ground_typicl]\nmean = 7\n"))
    assert ended.status == 2 and "ground_typical" in ended.err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["chek", "x"], "Did you mean 'check'"),
        (["fit"], "Missing argument"),
        (["fit", "x", "--seed", "one"], "--seed"),
        (["fit", "x", "--seed", str(2**31)], "--seed"),
        (["fit", "x", "--units", "metric"], "--units"),
        (["check", "no such folder"], "no such folder"),
    ],
)
def test_wrong_words_are_2_without_a_traceback(run: Run, words: list[str], said: str) -> None:
    ended = run(*words)
    assert ended.status == 2 and said in ended.err and "Traceback" not in ended.err


def test_a_log_without_a_pull_that_counts_fails_the_check_too(make_campaign: Run, run: Run) -> None:
    trial = {"trial": "1", "anchor": "A", "seabed": "<b>beach</b>", "held_n": 1, "exclude": "fouled"}
    folder = make_campaign(trials=[trial])
    for command in ("check", "fit"):
        ended = run(command, folder)
        assert ended.status == 2 and "no pull that counts" in ended.err
    assert "loading the libraries" not in ended.err  # known before the long part begins


def test_a_fault_of_the_program_is_3_and_says_so(campaign: Path, run: Run, fits: Callable[..., None]) -> None:
    fits(raises=RuntimeError("a wheel came off"))
    ended = run("fit", campaign)
    assert ended.status == 3 and ended.out == ""
    assert "a wheel came off" in ended.err and "a fault of the program, not of your files" in ended.err
    assert "results" not in names_in(campaign)


def test_a_bad_verdict_is_4_beside_the_good_results_and_marked(
    with_results: Path,
    run: Run,
    fits: Callable[..., None],
    unplotted: None,
    bad_verdict: object,
    contents: Contents,
) -> None:
    campaign = with_results
    good = contents(campaign / "results")
    fits(bad_verdict)
    ended = run("fit", campaign, "--seed", "9")
    beside = campaign / "results-unreliable"
    assert ended.status == 4
    assert contents(campaign / "results") == good
    assert ended.out.startswith("UNRELIABLE")
    assert f"written to {beside}" in ended.err and "stand as they were" in ended.err
    assert json.loads((beside / "verdict.json").read_text())["ok"] is False
    page = (beside / "report.html").read_text(encoding="utf-8")
    assert page.count("UNRELIABLE") > 2 and "12 of 80 draws diverged" in page
    assert "12 of 80 draws diverged" in ended.out
    # Above and below the table, not twice in a row at its end.
    assert sum(line.startswith("UNRELIABLE") for line in ended.out.splitlines()) == 2


def test_a_verdict_that_is_no_number_is_still_json(
    campaign: Path, run: Run, fits: Callable[..., None], bad_verdict: object, unpaged: None
) -> None:
    from dataclasses import replace

    fits(replace(bad_verdict, rhat_max=float("nan")))
    ended = run("fit", campaign, "--json")
    assert ended.status == 4
    assert json.loads(ended.out)["verdict"]["rhat_max"] is None


def full_disk(*_: object, **__: object) -> None:
    # What the library of NetCDF files raises on a full disk, shortened: its own story, the system's number.
    raise OSError(
        errno.ENOSPC, "Can't synchronously write data\n, errno = 28, " + "buf = 0x7f0d9efbb810, " * 9
    )


def test_a_full_disk_is_5_and_leaves_the_old_results(
    with_results: Path,
    run: Run,
    fits: Callable[..., None],
    monkeypatch: pytest.MonkeyPatch,
    unpaged: None,
    contents: Contents,
) -> None:
    from holdcast.commands.published import publishing

    fits()
    campaign = with_results
    before = contents(campaign)
    monkeypatch.setattr(publishing, "save", full_disk)
    ended = run("fit", campaign, "--seed", "9")
    assert ended.status == 5 and "No space left on device" in ended.err
    assert "0x7f0d9efbb810" not in ended.err and "Traceback" not in ended.err
    shutil.rmtree(campaign / "results-draws")  # see test_kept_draws
    assert contents(campaign) == before


def test_a_folder_that_cannot_be_written_is_5_before_the_work(
    campaign: Path, run: Run, fits: Callable[..., None], monkeypatch: pytest.MonkeyPatch
) -> None:
    fits(raises=AssertionError("the work began"))
    opened = os.open

    def refuse(path: object, flags: int, mode: int = 0o777, **more: object) -> int:
        if flags & os.O_CREAT and Path(str(path)).parent == campaign:
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), str(path))
        return opened(path, flags, mode, **more)

    monkeypatch.setattr(os, "open", refuse)
    ended = run("fit", campaign)
    assert ended.status == 5 and "Permission denied" in ended.err and str(campaign) in ended.err


def test_too_little_memory_is_5(campaign: Path, run: Run, fits: Callable[..., None]) -> None:
    fits(raises=MemoryError())
    ended = run("fit", campaign)
    assert ended.status == 5 and "memory" in ended.err


def test_an_interruption_is_130_and_the_old_results_stand(
    with_results: Path, run: Run, fits: Callable[..., None], unpaged: None, contents: Contents
) -> None:
    campaign = with_results
    before = contents(campaign)
    fits(raises=KeyboardInterrupt())
    ended = run("fit", campaign)
    assert ended.status == 130 and "stopped on request" in ended.err
    assert contents(campaign) == before
