"""Inputs changed at random: each is read and accounted for, or refused in words, and nothing else.

Run as ``python scripts/checks/mutations.py RESULTS``, with ``--tries``, ``--commands`` and ``--record`` to
ask for more or fewer; RESULTS is any finished results folder, which is only read.  Every input follows from
its kind and a seed, both printed where something breaks; ``--only KIND SEED`` tries that one again.  A run
that was stopped goes on where it was, from the record.  Exit status 1 when something broke.
"""

import argparse
import sys
import tempfile
import traceback
import warnings
from collections import Counter
from collections.abc import Callable
from functools import partial
from pathlib import Path

from holdcast.capacity.fitting import Fit
from holdcast.capacity.store import load, save
from holdcast.evaluate.outcomes import append_outcome, read_outcomes
from mutated import campaigns, requests, results
from mutated.by_command import command

BLOCK = 50
"""Inputs for a line of the record."""
SHARES = {"verdict": 20, "settings": 30, "requests": 15, "tree": 8, "campaign": 25, "workbook": 2}
"""Percent of the inputs in process; files with changed bytes come on top, some hundred at most."""
Try = Callable[[int], str]


def tries_of(work: Path, fit: Fit) -> dict[str, Try]:
    """Return for each kind of input a function of a seed that tries one and tells how it was taken."""
    small = results.thinned(fit)
    base = work / "base"
    base.mkdir(exist_ok=True)
    save(small, base)
    return {
        "campaign": partial(campaigns.campaign, work),
        "settings": partial(campaigns.settings, work),
        "workbook": partial(campaigns.workbook, work),
        "requests": partial(requests.requests, work, fit=small),
        "tree": partial(results.tree, work, fit=small),
        "verdict": partial(results.verdict, work, fit=small),
        "file": partial(results.crafted_file, work, base=base),
        "command": partial(command, work, base=base, fit=small),
    }


def try_one(function: Try, seed: int) -> tuple[str, str]:
    """Return how one input was taken, and what broke if anything did."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return function(seed), ""
    except Exception as error:
        last = traceback.extract_tb(error.__traceback__)[-1]
        return (
            "broken",
            f"{type(error).__name__}: {str(error)[:200]} ({Path(last.filename).name}:{last.lineno})",
        )


def run_block(kind: str, first: int, number: int, function: Try) -> dict[str, object]:
    """Return the line of the record for some seeds of one kind."""
    counts: Counter[str] = Counter()
    broken = []
    for seed in range(first, first + number):
        accepted, what = try_one(function, seed)
        counts[accepted] += 1
        if what:
            broken.append([seed, what])
            print(f"BROKEN {kind} {seed}: {what}", flush=True)
    return {"kind": kind, "first": first, "tried": number, **counts, "broken_seeds": broken}


def planned(tries: int, files: int, commands: int) -> dict[str, int]:
    """Return how many inputs of each kind are to be tried."""
    numbers = {kind: max(1, tries * share // 100) for kind, share in SHARES.items()}
    return {**numbers, "file": files, "command": commands}


def main() -> int:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("results", type=Path, help="a finished results folder")
    parser.add_argument("--tries", type=int, default=10_000)
    parser.add_argument("--files", type=int, default=200)
    parser.add_argument("--commands", type=int, default=300)
    parser.add_argument("--record", type=Path, default=Path("mutations.jsonl"))
    parser.add_argument("--only", nargs=2, metavar=("KIND", "SEED"))
    options = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="holdcast-mutations-") as name:
        functions = tries_of(Path(name), load(options.results))
        if options.only:
            print(functions[options.only[0]](int(options.only[1])))
            return 0
        done = {(line["kind"], line["first"]) for line in read_outcomes(options.record)}
        for kind, number in planned(options.tries, options.files, options.commands).items():
            print(f"{kind}: seeds 0 to {number - 1}", flush=True)
            for first in range(0, number, BLOCK):
                if (kind, first) not in done:
                    append_outcome(
                        options.record, run_block(kind, first, min(BLOCK, number - first), functions[kind])
                    )
    return summarise(options.record)


def summarise(record: Path) -> int:
    """Print a line for each kind of input; return 1 when anything broke."""
    totals: dict[str, Counter[str]] = {}
    for line in read_outcomes(record):
        numbers = {key: line.get(key, 0) for key in ("tried", "read", "refused", "broken")}
        totals.setdefault(line["kind"], Counter()).update(numbers)
    for kind, counts in totals.items():
        print(f"{kind:10} {counts['tried']:6} tried {counts['read']:6} read {counts['refused']:6} refused "
              f"{counts['broken']:4} broken")  # fmt: skip
    return int(any(counts["broken"] for counts in totals.values()))


if __name__ == "__main__":
    sys.exit(main())
