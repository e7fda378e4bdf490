"""Changed inputs through the command line itself: exit statuses, no traceback, and nothing written."""

import os
import random
import shutil
import signal
import sys
import traceback
from pathlib import Path

import holdcast.commands.published.publishing
import holdcast.show.figures.intervals
import holdcast.show.report
import holdcast.show.views.rank  # noqa: F401 (all of these are loaded once, and not by every child)
from holdcast.capacity.fitting import Fit
from holdcast.cli import main
from mutated.campaigns import mutated_campaign, mutated_workbook
from mutated.requests import mutated_requests
from mutated.results import crafted_file, mutated_tree

__all__ = ["command", "ended"]

_SECONDS = 120
_STATUSES = {0, 2, 4}


def ended(words: list[str], folder: Path) -> tuple[int, str]:
    """Run the command line in a process of its own; return its exit status and what it said."""
    out = folder / "said.txt"
    child = os.fork()
    if child == 0:
        signal.alarm(_SECONDS)
        status = 99
        # The streams too, not only their numbers: whoever calls may have put others in their place.
        with out.open("w", encoding="utf-8") as sys.stdout:
            sys.stderr = sys.stdout
            for number in (1, 2):
                os.dup2(sys.stdout.fileno(), number)
            try:
                main(words)
            except SystemExit as left:
                status = int(left.code or 0)
            except BaseException:
                traceback.print_exc()
        os._exit(status)
    status = os.waitpid(child, 0)[1]
    assert os.WIFEXITED(status), f"{words[0]} ended by signal {os.WTERMSIG(status)}"
    return os.WEXITSTATUS(status), out.read_text(encoding="utf-8", errors="replace")


def _contents(folder: Path) -> dict[str, bytes]:
    return {str(path): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


def command(work: Path, seed: int, base: Path, fit: Fit) -> str:
    """Try one changed input through ``check``, ``predict``, ``rank`` or ``report``."""
    chance = random.Random(seed)
    place = work / "by-command"
    shutil.rmtree(place, ignore_errors=True)
    place.mkdir()
    words = chance.choice((_check, _check, _workbook, _predict, _rank, _report))(place, seed, base, fit)
    before = _contents(place)
    status, text = ended(words, work)
    assert "Traceback" not in text, text[-600:]
    assert status in _STATUSES, f"exit status {status} of {words[0]}: {text[-300:]}"
    if status == 2:
        assert _contents(place) == before, "something was written"
        assert text.strip(), "refused without a word"
    return "refused" if status == 2 else "read"


def _check(place: Path, seed: int, base: Path, fit: Fit) -> list[str]:
    return ["check", str(mutated_campaign(place / "campaign", seed))]


def _workbook(place: Path, seed: int, base: Path, fit: Fit) -> list[str]:
    return ["check", str(mutated_workbook(place / "log.xlsx", seed))]


def _predict(place: Path, seed: int, base: Path, fit: Fit) -> list[str]:
    shutil.copytree(base, place / "results")
    return ["predict", str(place / "results"), str(mutated_requests(place / "requests.csv", fit, seed))]


def _rank(place: Path, seed: int, base: Path, fit: Fit) -> list[str]:
    return ["rank", str(_changed_results(place, seed, base, fit))]


def _report(place: Path, seed: int, base: Path, fit: Fit) -> list[str]:
    return ["report", str(_changed_results(place, seed, base, fit))]


def _changed_results(place: Path, seed: int, base: Path, fit: Fit) -> Path:
    """Write a results folder with changed groups, or with changed bytes, both under a digest that agrees."""
    from holdcast.capacity.store import save

    folder = place / "results"
    folder.mkdir()
    try:
        save(Fit(mutated_tree(fit, seed), fit.verdict), folder)
    except Exception:  # a tree that cannot even be written: bytes are changed instead
        shutil.rmtree(folder)
        crafted_file(place, seed, base)
        (place / "crafted").rename(folder)
    return folder
