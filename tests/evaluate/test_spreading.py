"""Refits spread over real worker processes, with a stand-in for the refit itself."""

import re
import shutil
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from importlib.metadata import requires
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import xarray as xr

from holdcast.campaign import Campaign
from holdcast.capacity.progress import Progress
from holdcast.cli import main
from holdcast.evaluate import campaign_refits, spreading, worker_refits
from holdcast.evaluate.campaign_refits import Arriving, RunRefits, evaluate_campaign
from holdcast.evaluate.hiding import Hiding
from holdcast.evaluate.outcomes import append_outcome, early_file, read_outcomes
from holdcast.evaluate.spreading import REQUIREMENT, LostWorkersError, SpreadError, over_workers, spread
from holdcast.evaluate.worker_refits import Differs, refit_on_worker, work_of


def stand_in(deadly: Path | None = None) -> Callable[..., dict[str, Any]]:
    """Return a refit that takes the longer the earlier its turn, and once kills its process if so told.

    All it needs is inside, since workers cannot import this file; all it is told of the campaign is the seed,
    since workers would load the libraries to read more.
    """
    killer = str(deadly) if deadly else ""

    def made_up(work: int, kind: str, label: str, hidden: Sequence[str]) -> dict[str, Any]:
        import os
        import signal
        import time
        from pathlib import Path

        if killer and label == "b":
            try:
                Path(killer).touch(exist_ok=False)
            except FileExistsError:
                pass
            else:
                os.kill(os.getpid(), signal.SIGKILL)
        time.sleep({"nothing": 0.6, "a": 0.3}.get(label or kind, 0.0))
        return {"hide": kind, "label": label, "ok": True, "hidden": list(hidden), "seed": work}

    return made_up


@pytest.fixture
def here(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the stand-in refit in this process too."""

    def outcome_of(refitter: object, inputs: xr.Dataset, hiding: Hiding, seed: int) -> dict[str, Any]:
        hidden = inputs["trial"].to_numpy()[hiding.hidden].tolist()
        return {"hide": hiding.kind, "label": hiding.label, "ok": True, "hidden": hidden, "seed": seed}

    monkeypatch.setattr(campaign_refits, "prepare", lambda inputs, priors: None)
    monkeypatch.setattr(campaign_refits, "outcome_of", outcome_of)


@pytest.fixture
def on_workers(monkeypatch: pytest.MonkeyPatch) -> Callable[..., None]:
    """Let workers use the stand-in."""

    def use(deadly: Path | None = None) -> None:
        monkeypatch.setattr(spreading, "work_of", lambda campaign, inputs, seed: seed)
        monkeypatch.setattr(spreading, "refit_on_worker", stand_in(deadly))

    return use


@pytest.fixture
def expected(campaign: Campaign, tmp_path: Path, here: None) -> bytes:
    """The outcomes' file as one process alone writes it."""
    file = tmp_path / "alone" / "refits.jsonl"
    evaluate_campaign(campaign, "designs", file, most=3, seed=5)
    assert len(read_outcomes(file)) == 4
    return file.read_bytes()


@pytest.fixture(scope="module")
def address() -> Iterator[str]:
    """The address of a running scheduler with one worker, started as the program starts its own."""
    with spreading.local_cluster(1) as cluster:
        yield cluster.scheduler_address


@pytest.mark.parametrize("workers", [pytest.param(1, marks=pytest.mark.long), 2])
def test_the_same_file_whatever_the_number_of_workers(
    campaign: Campaign, tmp_path: Path, expected: bytes, workers: int, on_workers: Callable[..., None]
) -> None:
    on_workers()
    file, told = tmp_path / "refits.jsonl", []
    found = evaluate_campaign(
        campaign, "designs", file, most=3, seed=5, run=over_workers(workers), progress=told.append
    )
    assert file.read_bytes() == expected
    assert found == read_outcomes(file)
    assert not early_file(file).exists()
    assert "tcp://127.0.0.1:" in told[0]
    done = [line for line in told if line.startswith("done, ")]
    assert sorted(line.split(":")[0] for line in done) == [
        *(f"done, refit {number} of 3" for number in (1, 2, 3)),
        "done, the whole log, nothing hidden",
    ]


@pytest.mark.long
def test_a_killed_worker_loses_nothing(
    campaign: Campaign, tmp_path: Path, expected: bytes, on_workers: Callable[..., None]
) -> None:
    on_workers(tmp_path / "died")
    file, told = tmp_path / "refits.jsonl", []
    evaluate_campaign(campaign, "designs", file, most=3, seed=5, run=over_workers(2), progress=told.append)
    assert (tmp_path / "died").exists()
    assert file.read_bytes() == expected
    assert any("lost 1 worker" in line for line in told)


@pytest.mark.long
def test_a_refit_that_always_kills_its_worker_ends_in_words() -> None:
    import dask

    def deadly() -> None:
        import os
        import signal

        os.kill(os.getpid(), signal.SIGKILL)

    with (
        dask.config.set({"distributed.scheduler.allowed-failures": 0}),
        pytest.raises(LostWorkersError, match="What was done is kept"),
    ):
        list(spread(deadly, [()], workers=1))


def test_our_cluster_is_reached_from_this_machine_only(address: str) -> None:
    import psutil

    me = psutil.Process()
    ports = [port for process in (me, *me.children(recursive=True)) for port in process.net_connections()]
    bound = {(port.laddr.ip, port.laddr.port) for port in ports if port.status == "LISTEN"}
    assert len(bound) > 2
    assert {host for host, _ in bound} == {"127.0.0.1"}
    assert 8787 not in {port for _, port in bound}  # where a dashboard would be


def test_a_schedulers_workers_serve_as_well(
    campaign: Campaign, tmp_path: Path, expected: bytes, on_workers: Callable[..., None], address: str
) -> None:
    on_workers()
    file = tmp_path / "refits.jsonl"
    evaluate_campaign(campaign, "designs", file, most=3, seed=5, run=over_workers(1, address))
    assert file.read_bytes() == expected


def test_a_scheduler_without_workers_or_none_at_all_is_told_in_words(monkeypatch: pytest.MonkeyPatch) -> None:
    import dask

    monkeypatch.setattr(spreading, "PATIENCE", 0.5)
    with (
        spreading.local_cluster(0) as cluster,
        pytest.raises(SpreadError, match=f"no worker has joined {cluster.scheduler_address}"),
    ):
        list(spread(len, [("one",)], workers=1, scheduler=cluster.scheduler_address))
    for address in ("tcp://127.0.0.1:9", "no address"):
        with pytest.raises(SpreadError, match=f"no scheduler answers at '{address}'"):
            list(spread(len, [("one",)], workers=1, scheduler=address))
    # What failed is not left behind for whatever uses dask next in this process.
    assert dask.config.get("scheduler", None) is None


@pytest.mark.long
def test_a_scheduler_that_goes_away_is_told_in_words(capfd: pytest.CaptureFixture[str]) -> None:
    def nap(seconds: float) -> float:
        import time

        time.sleep(seconds)
        return seconds

    with spreading.local_cluster(1) as cluster:
        arriving = spread(nap, [(0.0,), (30.0,)], workers=1, scheduler=cluster.scheduler_address)
        assert next(arriving) == (0, 0.0)
        cluster.close()
        with pytest.raises(LostWorkersError, match="the scheduler went away; what was done is kept"):
            next(arriving)
    assert "Traceback" not in capfd.readouterr().err


def runs(arrive: Sequence[str], stop: bool, asked: list[list[str]]) -> RunRefits:
    """Return a run whose outcomes arrive in a given order of labels, perhaps stopped before the last."""

    def run(
        campaign: Campaign, inputs: xr.Dataset, missing: Sequence[Hiding], seed: int, progress: Progress
    ) -> Arriving:
        asked.append([each.label or each.kind for each in missing])
        known = {each.label or each.kind: each for each in missing}
        for label in arrive:
            each = known[label]
            yield each, campaign_refits.outcome_of(None, inputs, each, seed)  # type: ignore[arg-type]
        if stop:
            raise KeyboardInterrupt

    return run


def test_a_stopped_run_keeps_what_arrived_before_its_turn(
    campaign: Campaign, tmp_path: Path, expected: bytes
) -> None:
    file, asked = tmp_path / "refits.jsonl", []
    other = {"campaign": "another", "hide": "designs", "label": "b"}
    append_outcome(early_file(file), other)

    def evaluate(run: RunRefits) -> list[dict[str, Any]]:
        return evaluate_campaign(campaign, "designs", file, most=3, seed=5, run=run)

    with pytest.raises(KeyboardInterrupt):
        evaluate(runs(["b", "nothing"], True, asked))
    assert [outcome["hide"] for outcome in read_outcomes(file)] == ["nothing"]
    assert [outcome["label"] for outcome in read_outcomes(early_file(file))[1:]] == ["b"]
    found = evaluate(runs(["c", "a"], False, asked))
    assert asked == [["nothing", "a", "b", "c"], ["a", "c"]]
    assert file.read_bytes() == expected
    assert found == read_outcomes(file)
    assert read_outcomes(early_file(file)) == [other]


@pytest.fixture
def prepared(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[xr.Dataset]]:
    """Replace compiling and refitting on the worker's side; the list holds what was compiled."""
    compiled: list[xr.Dataset] = []

    def prepare(inputs: xr.Dataset, priors: object) -> None:
        compiled.append(inputs)

    def outcome_of(refitter: object, inputs: xr.Dataset, hiding: Hiding, seed: int) -> dict[str, Any]:
        return {"hidden": hiding.hidden, "kind": hiding.kind, "label": hiding.label, "seed": seed}

    monkeypatch.setattr(worker_refits, "prepare", prepare)
    monkeypatch.setattr(worker_refits, "outcome_of", outcome_of)
    worker_refits._prepared.cache_clear()
    yield compiled
    worker_refits._prepared.cache_clear()


def test_a_worker_compiles_once_and_hides_what_it_is_told(
    campaign: Campaign, inputs: xr.Dataset, other_inputs: xr.Dataset, prepared: list[xr.Dataset]
) -> None:
    for seed in (5, 6):
        found = refit_on_worker(work_of(campaign, inputs, seed), "cells", "part 1", ["t3", "t7"])
        assert (found["kind"], found["label"], found["seed"]) == ("cells", "part 1", seed)
        assert np.array_equal(inputs["trial"].to_numpy()[found["hidden"]], ["t3", "t7"])
    assert len(prepared) == 1
    assert prepared[0].identical(inputs)
    refit_on_worker(work_of(campaign, other_inputs, 5), "nothing", "", [])
    assert {"holdcast's source", "python", "numpy", "nutpie"} <= set(worker_refits.fingerprint())
    changed = replace(campaign, priors={"size_exponent": {"mean": 0.8, "sd": 0.1}})
    assert work_of(changed, inputs, 5) != work_of(campaign, inputs, 5)
    assert len(prepared) == 2


def test_a_worker_refuses_another_program_and_other_data(
    campaign: Campaign, inputs: xr.Dataset, other_inputs: xr.Dataset, prepared: list[xr.Dataset]
) -> None:
    work = work_of(campaign, inputs, 5)
    for name in ("holdcast's source", "nutpie"):
        older = replace(work, fingerprint={**work.fingerprint, name: "0.0.1"})
        with pytest.raises(Differs, match=rf"another program: {name} .* \(asked for 0.0.1\); end"):
            refit_on_worker(older, "nothing", "", [])
    mixed = replace(work, inputs=other_inputs.to_dict(data="array"))
    with pytest.raises(Differs, match="got other data than were sent"):
        refit_on_worker(mixed, "nothing", "", [])
    with pytest.raises(Differs, match="does not know the trials t3x"):
        refit_on_worker(work, "cells", "part 1", ["t3x", "t7"])


def test_a_differing_worker_stops_the_run_in_words(address: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(spreading, "Differs", LookupError)  # the real one takes seconds to load in a worker

    def differs() -> None:
        raise LookupError("a worker on boat has another program: numpy 1 (asked for 2)")

    with pytest.raises(SpreadError, match=r"another program: numpy 1 \(asked for 2\)"):
        list(spread(differs, [()], workers=1, scheduler=address))


@pytest.mark.parametrize("asked", [("--workers", "2"), ("--scheduler", "tcp://127.0.0.1:8786")])
def test_a_missing_package_is_one_line_with_its_remedy(
    campaign: Campaign,
    tmp_path: Path,
    asked: tuple[str, str],
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    folder = tmp_path / "mine"
    shutil.copytree(campaign.source, folder)
    monkeypatch.setattr(spreading, "find_spec", lambda name: None)
    with pytest.raises(SystemExit) as stopped:
        main(["evaluate", str(folder), *asked])
    assert stopped.value.code == 2
    shown = capsys.readouterr()
    last = shown.err.splitlines()[-1]
    assert shown.out == ""
    assert re.search(r"need one more package; install it with: uv pip install .* 'distributed>=", last)
    assert "Traceback" not in shown.err
    assert not (folder / "evaluation").exists()


def test_workers_and_scheduler_exclude_each_other(
    campaign: Campaign, capsys: pytest.CaptureFixture[str]
) -> None:
    asked = ["evaluate", str(campaign.source), "--workers", "2", "--scheduler", "tcp://127.0.0.1:8786"]
    with pytest.raises(SystemExit) as stopped:
        main(asked)
    assert stopped.value.code == 2
    assert "give one of them" in capsys.readouterr().err


def test_the_remedy_names_the_extra() -> None:
    extras = [line for line in requires("holdcast") or () if "extra == 'spread'" in line]
    assert [line.partition(";")[0].strip() for line in extras] == [REQUIREMENT]
