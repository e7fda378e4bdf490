"""A fit that is killed, without a chance to tidy up, leaves the last results standing."""

import multiprocessing
import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from holdcast.capacity import store
from holdcast.cli import main
from holdcast.commands.published import publishing
from holdcast.commands.shared.common import interruptible, progress
from holdcast.package_data import path as data

Contents = Callable[[Path], dict[str, bytes]]


def fit_that_dies_while_writing(campaign: Path) -> None:
    """Write half of the posterior, then die as if killed."""

    def half(_: object, folder: Path) -> None:
        (folder / store.POSTERIOR_FILE).write_bytes(b"half")
        os.kill(os.getpid(), signal.SIGKILL)

    publishing.save = half
    main(["fit", str(campaign)])


@pytest.mark.skipif(sys.platform == "win32", reason="needs fork and SIGKILL")
def test_a_kill_while_writing_leaves_the_old_results_and_does_not_block_the_next_run(
    campaign: Path, run: Callable[..., object], fits: Callable[..., None], unplotted: None, contents: Contents
) -> None:
    fits()
    assert run("fit", campaign).status == 0
    before = contents(campaign / "results")
    context = multiprocessing.get_context("fork")
    process = context.Process(target=fit_that_dies_while_writing, args=(campaign,))
    process.start()
    process.join(60)
    assert process.exitcode == -signal.SIGKILL
    assert contents(campaign / "results") == before
    assert (campaign / ".results-writing" / store.POSTERIOR_FILE).read_bytes() == b"half"
    assert run("fit", campaign).status == 0
    assert {path.name for path in campaign.iterdir()} == {
        "anchors.csv", "seabeds.csv", "trials.csv", "results"
    }  # fmt: skip


@pytest.mark.fit
@pytest.mark.long
@pytest.mark.skipif(sys.platform == "win32", reason="needs SIGKILL")
@pytest.mark.parametrize(("sent", "status"), [("SIGKILL", -9), ("SIGTERM", 130)])
def test_a_kill_while_sampling_the_demo_leaves_the_old_results(
    tmp_path: Path, published: Path, contents: Contents, sent: str, status: int
) -> None:
    """A polite request to stop does stop: the sampler would go on with the draws that it has."""
    campaign = tmp_path / "demo"
    shutil.copytree(data("demo"), campaign)
    shutil.copytree(published, campaign / "results")
    before = contents(campaign)
    command = [sys.executable, "-c", "from holdcast.cli import main; main()", "fit", str(campaign)]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    try:
        lines = []
        for line in process.stderr:
            lines.append(line)
            if line.startswith("  sampling: 10%"):
                break
    finally:
        process.send_signal(getattr(signal, sent))
        out, rest = process.communicate()
    assert lines[-1].startswith("  sampling"), lines
    assert process.returncode == status and out == ""
    assert ("stopped on request" in rest) is (sent == "SIGTERM") and "Traceback" not in rest
    after = contents(campaign)
    after.pop(".results-lock", None)  # an empty file that locks nothing once its holder is gone
    assert after == before


@pytest.mark.skipif(sys.platform == "win32", reason="needs SIGTERM")
def test_a_request_to_end_that_a_library_swallowed_is_heard_at_the_next_line(
    capsys: pytest.CaptureFixture[str],
) -> None:
    with interruptible():
        progress("before anybody asks")
        try:
            signal.raise_signal(signal.SIGTERM)
        except KeyboardInterrupt:
            try:
                progress("while cleaning up")
            finally:
                progress("still cleaning up")
        with pytest.raises(KeyboardInterrupt):
            progress("the next line")
    progress("afterwards")
    assert capsys.readouterr().err.split("\n  ") == [
        "  before anybody asks", "while cleaning up", "still cleaning up", "afterwards\n"
    ]  # fmt: skip
