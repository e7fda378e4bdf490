"""Runs killed at random moments: earlier results stand whole, and the next ``check`` leaves nothing behind.

Run as ``python scripts/checks/kills.py CAMPAIGN RESULTS``, with ``--kills``, ``--minutes`` and ``--record``;
RESULTS is a finished fit of CAMPAIGN, and both are only read.  Half of the runs are killed at a moment taken
at random, half shortly after a line that they say.  Everything follows from a number, which is printed where
something breaks; ``--only NUMBER`` kills that one again.  A series that was stopped goes on where it was.
"""

import argparse
import os
import random
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Callable, Mapping
from pathlib import Path

from holdcast.capacity.results.pair import is_whole
from holdcast.commands.folders.leftovers import tidied
from holdcast.evaluate.outcomes import append_outcome, read_outcomes

SIGNALS = ("SIGKILL", "SIGKILL", "SIGTERM", "SIGINT")
COMMANDS = ("quick", "quick", "quick", "fit", "fit", "report", "report", "demo")
LINES = ("reading", "loading", "compiling", "sampling")
LATE_LINES = ("drawing from the prior", "writing the posterior")
"""Said after sampling: a full fit is not waited for so long."""
LONGEST_S = {"quick": 12.0, "fit": 25.0, "report": 8.0, "demo": 15.0}
"""Of a moment taken at random [s]; a run that ends before counts as finished."""
_GIVE_UP_S = 900
Contents = dict[str, bytes]
Outcome = dict[str, object]


def contents(folder: Path) -> Contents:
    """Return every file below a folder, byte for byte."""
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def prepare(work: Path, kind: str, campaign: Path, results: Path) -> tuple[list[str], Path]:
    """Lay out a campaign with earlier results; return the words of the command and those results."""
    place = work / "campaign"
    shutil.rmtree(place, ignore_errors=True)
    place.mkdir()
    if kind != "demo":
        for file in campaign.iterdir():
            if file.is_file():
                shutil.copy(file, place)
    shutil.copytree(results, place / "results")
    words = {
        "fit": ["fit", str(place), "--seed", "5"],
        "quick": ["fit", str(place), "--quick", "--seed", "5", "--out", str(place / "results-quick")],
        "report": ["report", str(place / "results")],
        "demo": ["demo", str(place)],
    }[kind]
    if kind == "quick":
        shutil.copytree(results, place / "results-quick")
        verdict = place / "results-quick" / "verdict.json"
        text = verdict.read_text(encoding="utf-8")
        verdict.write_text(text.replace('"approximate": false', '"approximate": true'), encoding="utf-8")
        return words, place / "results-quick"
    return words, place / "results"


def kill(
    words: list[str], moment: Callable[[subprocess.Popen[str]], None], sent: int
) -> tuple[int, str, bool]:
    """Run the program and send it a signal; return its status, what it said, whether it still ran."""
    process = subprocess.Popen(
        [sys.executable, "-m", "holdcast", *words],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
        errors="replace",
    )
    process.said = []  # type: ignore[attr-defined]
    reader = threading.Thread(target=lambda: [process.said.append(line) for line in process.stderr or ()])  # type: ignore[attr-defined]
    reader.start()
    moment(process)
    running = process.poll() is None
    if running:
        process.send_signal(sent)
    process.wait(_GIVE_UP_S)
    reader.join(10)
    return process.returncode, "".join(process.said), running  # type: ignore[attr-defined]


def moment_of(chance: random.Random, kind: str) -> tuple[str, Callable[[subprocess.Popen[str]], None]]:
    """Return when to kill, in words, and a function that waits for it."""
    seconds = chance.uniform(0.0, LONGEST_S[kind])
    if chance.random() < 0.5:
        return f"after {seconds:.1f} s", lambda process: _wait(process, seconds, "")
    lines = (*LINES, *LATE_LINES, *LATE_LINES) if kind == "quick" else LINES if kind == "fit" else LINES[:2]
    line, more = chance.choice(lines), chance.expovariate(2.0)
    return f"{more:.2f} s after '{line}'", lambda process: _wait(process, more, line)


def _wait(process: subprocess.Popen[str], seconds: float, line: str) -> None:
    """Wait until a line was said, if one is named, and then some seconds, or until the program ends."""
    start = time.monotonic()
    while line and process.poll() is None and not any(line in text for text in process.said):  # type: ignore[attr-defined]
        time.sleep(0.01)
        if time.monotonic() - start > _GIVE_UP_S:
            return
    end = time.monotonic() + seconds
    while process.poll() is None and time.monotonic() < end:
        time.sleep(0.005)


def try_one(work: Path, number: int, campaign: Path, results: Path) -> Outcome:
    """Return what one kill left; ``broken`` says what is wrong, and is blank when nothing is."""
    chance = random.Random(number)
    kind, name = chance.choice(COMMANDS), chance.choice(SIGNALS)
    when, moment = moment_of(chance, kind)
    words, folder = prepare(work, kind, campaign, results)
    before = contents(folder)
    status, text, running = kill(words, moment, getattr(signal, name))
    outcome: Outcome = {"number": number, "command": kind, "signal": name, "when": when, "status": status}
    hidden = [
        path.name
        for path in folder.parent.iterdir()
        if re.match(r"\.results.*-(writing|previous|lock)", path.name)
    ]
    tidy = tidied(folder)
    outcome |= {"killed": running, "left": hidden, "cleaned": tidy}
    return outcome | _judged(folder, before, outcome, text)


def _judged(folder: Path, before: Contents, outcome: Mapping[str, object], text: str) -> Outcome:
    """Return what stands in the results folder and what is wrong about it."""
    leftovers = [path.name for path in folder.parent.iterdir() if path.name.startswith(".results")]
    after = contents(folder) if folder.is_dir() else {}
    after = {name: data for name, data in after.items() if not name.endswith(".part")}  # hidden, swept later
    draws = folder.with_name(f"{folder.name}-draws")
    page = after.get("report.html", b"</html>")
    if outcome["command"] == "report":  # which writes the page anew, and nothing else
        before, after = before | {"report.html": b""}, after | {"report.html": b""}
    stands = "old" if after == before else "new" if is_whole(folder) and "cells.csv" in after else "neither"
    polite = outcome["signal"] != "SIGKILL" and outcome["status"] == 130
    wrong = [
        ("the results are neither the old nor the new ones", stands == "neither"),
        (
            "a file of the page is cut off",
            not page.rstrip().endswith(b"</html>"),
        ),
        ("check left something behind", bool(leftovers)),
        ("a polite end left something behind", polite and bool(outcome["left"])),
        ("kept draws are not whole", draws.is_dir() and not is_whole(draws)),
        ("a traceback", "Traceback" in text and "holdcast" in text.split("Traceback")[0]),
        (f"status {outcome['status']}", outcome["status"] not in (0, 4, 130, -2, -9, -15)),
    ]
    broken = "; ".join(words for words, true in wrong if true)
    return {"stands": stands, "draws_kept": draws.is_dir(), "broken": broken and f"{broken}: {text[-300:]}"}


def summarise(record: Path) -> int:
    """Print a line for each command and signal; return 1 when anything broke."""
    counts: Counter[tuple[str, ...]] = Counter()
    for outcome in read_outcomes(record):
        hit = "killed" if outcome["killed"] else "finished before"
        counts[outcome["command"], outcome["signal"], hit, outcome["stands"]] += 1
        counts["all", "", hit, "broken" if outcome["broken"] else "well"] += 1
    for words, number in sorted(counts.items()):
        print(f"{number:4} {' '.join(words)}")
    return int(any(words[-1] == "broken" for words in counts))


def main() -> int:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("campaign", type=Path)
    parser.add_argument("results", type=Path, help="a finished fit of the campaign")
    parser.add_argument("--kills", type=int, default=100)
    parser.add_argument("--minutes", type=float, default=60.0)
    parser.add_argument("--record", type=Path, default=Path("kills.jsonl"))
    parser.add_argument("--only", type=int, metavar="NUMBER")
    options = parser.parse_args()
    signal.signal(signal.SIGINT, signal.default_int_handler)  # a shell's background job would ignore it
    end = time.monotonic() + 60.0 * options.minutes
    done = {outcome["number"] for outcome in read_outcomes(options.record)}
    with tempfile.TemporaryDirectory(prefix=f"holdcast-kills-{os.getpid()}-") as name:
        if options.only is not None:
            print(try_one(Path(name), options.only, options.campaign, options.results))
            return 0
        for number in range(options.kills):
            if number in done:
                continue
            if time.monotonic() > end:
                break
            outcome = try_one(Path(name), number, options.campaign, options.results)
            append_outcome(options.record, outcome)
            words = [f"{number}:", *(str(outcome[key]) for key in ("command", "signal", "when", "stands"))]
            print(*words, outcome["broken"] and f"BROKEN {outcome['broken']}", flush=True)
    return summarise(options.record)


if __name__ == "__main__":
    sys.exit(main())
