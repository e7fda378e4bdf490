"""The program where things are amiss: full disks, folders not to be written, odd terminals, no home.

Run as ``python scripts/checks/surroundings.py CAMPAIGN RESULTS``; RESULTS is a finished fit of
CAMPAIGN, and both are only read.  Small file systems are made where that is allowed (as root, on Linux) and
left out elsewhere, which is said.  Each case is a line with its exit status; status 1 in the end when one had
a traceback, an exit status out of the contract, or harmed the earlier results.
"""

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from holdcast.capacity.results.pair import is_whole

_SECONDS = 900
_ALLOWED = {0, 2, 4, 5, 130}
Said = subprocess.CompletedProcess[str]


def run(words: str, place: Path, *, more: Mapping[str, str | None] | None = None, shell: str = "") -> Said:
    """Run the program in a folder, with some variables set, or taken away where they are None."""
    changed = {**os.environ, **(more or {})}
    surroundings = {name: value for name, value in changed.items() if value is not None}
    command = f"{sys.executable} -m holdcast {words} {shell}"
    return subprocess.run(
        ["bash", "-o", "pipefail", "-c", command],
        cwd=place,
        env=surroundings,
        capture_output=True,
        text=True,
        errors="replace",
        timeout=_SECONDS,
        check=False,
    )


@contextmanager
def small_disk(kilobytes: int) -> Iterator[Path | None]:
    """Give a file system of some size, or None where none can be made."""
    with tempfile.TemporaryDirectory(prefix="holdcast-disk-") as name:
        options = f"size={kilobytes}k"
        mounted = subprocess.run(
            ["mount", "-t", "tmpfs", "-o", options, "tmpfs", name], capture_output=True, check=False
        )
        try:
            yield Path(name) if mounted.returncode == 0 else None
        finally:
            if mounted.returncode == 0:
                subprocess.run(["umount", "-l", name], check=False)


def lay_out(place: Path, campaign: Path, results: Path | None) -> None:
    """Copy a campaign's files, and earlier results if asked."""
    place.mkdir(exist_ok=True)
    for file in campaign.iterdir():
        if file.is_file():
            shutil.copy(file, place)
    if results is not None:
        shutil.copytree(results, place / "results")


class Cases:
    """Lines about what was tried, and whether any of it went wrong."""

    def __init__(self, campaign: Path, results: Path) -> None:
        self.campaign, self.results, self.wrong = campaign, results, 0

    def tell(self, name: str, outcome: Said, *, expected: set[int], harmed: bool = False) -> None:
        """Print a line about one case."""
        traceback = "Traceback" in outcome.stderr
        bad = traceback or harmed or outcome.returncode not in expected or outcome.returncode not in _ALLOWED
        self.wrong += bad
        last = (outcome.stderr.strip().splitlines() or [""])[-1][:110]
        print(f"{'WRONG ' if bad else ''}{name}: exit status {outcome.returncode}: {last}", flush=True)
        if bad:
            print(outcome.stderr[-1500:], flush=True)

    def full_disks(self) -> None:
        """Fit, report and predict on disks that fill up sooner and later."""
        size = sum(path.stat().st_size for path in self.results.rglob("*") if path.is_file()) // 1000
        for room in (20, 200, size // 2, size + 300):
            with small_disk(size + 200 + room) as disk:
                if disk is None:
                    print("no file system can be made here: full disks were left out")
                    return
                lay_out(disk / "c", self.campaign, self.results)
                for words in ("report c/results", "rank c/results", "fit c --quick --seed 5"):
                    outcome = run(words, disk, more={"TMPDIR": str(disk)})
                    harmed = not is_whole(disk / "c" / "results")
                    self.tell(f"{room} kB left, {words}", outcome, expected={0, 4, 5}, harmed=harmed)

    def read_only(self) -> None:
        """Commands in a folder that cannot be written, and a cache that cannot."""
        with small_disk(200_000) as disk:
            if disk is None:
                return
            lay_out(disk / "c", self.campaign, self.results)
            subprocess.run(["mount", "-o", "remount,ro", str(disk)], check=False)
            for words, expected in (
                ("check c", {0}),
                ("fit c", {5}),
                ("report c/results", {5}),
                ("new c/x", {2, 5}),
            ):
                self.tell(f"read-only folder, {words}", run(words, disk), expected=expected)
            with tempfile.TemporaryDirectory() as name:
                lay_out(Path(name), self.campaign, None)
                cache = {"PYTENSOR_FLAGS": f"base_compiledir={disk}/cache"}
                self.tell(
                    "read-only cache, fit", run("fit . --quick", Path(name), more=cache), expected={0, 5}
                )

    def terminals(self) -> None:
        """Odd terminals, languages, homes and pipes."""
        odd: dict[str, tuple[dict[str, str | None], str]] = {
            "no HOME": ({"HOME": None}, ""),
            "a HOME that is not there": ({"HOME": "/nowhere"}, ""),
            "LANG=C": ({"LANG": "C", "LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"}, ""),
            "40 columns": ({"COLUMNS": "40"}, ""),
            "a reader that leaves": ({}, "| head -1"),
            "closed output": ({}, ">&-"),
            "closed errors": ({}, "2>&-"),
            "a full output": ({}, "> /dev/full"),
        }
        with tempfile.TemporaryDirectory() as name:
            lay_out(Path(name), self.campaign, self.results)
            for case, (more, shell) in odd.items():
                for words in ("check .", "rank results"):
                    outcome = run(words, Path(name), more=more, shell=shell)
                    self.tell(f"{case}, {words}", outcome, expected={5} if shell.endswith("full") else {0})
            outcome = run(
                "fit . --quick --seed 6",
                Path(name),
                more={"HOME": None, "LANG": "C", "LC_ALL": "C", "COLUMNS": "40"},
            )
            self.tell("no HOME, LANG=C, 40 columns, fit", outcome, expected={0})

    def same_tables(self) -> None:
        """Fit with one seed on one core, on two, and with an empty compile cache: the tables are the same."""
        with tempfile.TemporaryDirectory() as name:
            lay_out(Path(name), self.campaign, None)
            cache: dict[str, str | None] = {"PYTENSOR_FLAGS": f"base_compiledir={name}/cache"}
            one: dict[str, str | None] = {"PYTHON_CPU_COUNT": "1", "OPENBLAS_NUM_THREADS": "1"}
            digests = set()
            for case, more in {"first": {}, "one core": one, "empty compile cache": cache}.items():
                outcome = run("fit . --quick --seed 7 --out out", Path(name), more=more)
                digests.add((Path(name) / "out" / "cells.csv").read_bytes())
                self.tell(f"same seed, {case}", outcome, expected={0}, harmed=len(digests) > 1)

    def two_at_once(self) -> None:
        """Two fits into one folder: one works, the other is told to wait."""
        with tempfile.TemporaryDirectory() as name:
            lay_out(Path(name), self.campaign, None)
            command = [sys.executable, "-m", "holdcast", "fit", ".", "--quick"]
            both = [
                subprocess.Popen(command, cwd=name, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
                for _ in range(2)
            ]
            outcomes = [(process.communicate(timeout=_SECONDS)[1], process.returncode) for process in both]
            for text, status in sorted(outcomes, key=lambda pair: pair[1]):
                outcome = subprocess.CompletedProcess(command, status, "", text)
                self.tell("two fits into one folder", outcome, expected={0, 5})
            self.wrong += sorted(status for _, status in outcomes) != [0, 5]


def main() -> int:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("campaign", type=Path)
    parser.add_argument("results", type=Path, help="a finished fit of the campaign")
    parser.add_argument(
        "--only", choices=("full_disks", "read_only", "same_tables", "terminals", "two_at_once")
    )
    options = parser.parse_args()
    cases = Cases(options.campaign.resolve(), options.results.resolve())
    parts: dict[str, Callable[[], None]] = {
        "terminals": cases.terminals,
        "read_only": cases.read_only,
        "two_at_once": cases.two_at_once,
        "same_tables": cases.same_tables,
        "full_disks": cases.full_disks,
    }
    for name, part in parts.items():
        if options.only in (None, name):
            part()
    print(f"{cases.wrong} went wrong")
    return int(cases.wrong > 0)


if __name__ == "__main__":
    sys.exit(main())
