"""What scripts of evidence have in common: campaigns run one after another, each outcome kept at once."""

import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from holdcast.evaluate.model_digest import model_digest
from holdcast.evaluate.outcomes import append_outcome

Outcome = dict[str, Any]


def tell(line: str) -> None:
    """Say on standard error what is being done."""
    print(line, file=sys.stderr, flush=True)


def run_each[Task](
    missing: Sequence[Task],
    run: Callable[[Task], Outcome],
    out: Path,
    describe: Callable[[Outcome], str],
) -> None:
    """Run campaigns one after another, keep each outcome with the version of the model, and tell how far.

    Parameters
    ----------
    missing : sequence
        What `run` takes, one each.
    run : callable
        Returns one campaign's outcome.
    out : Path
        File of outcomes.
    describe : callable
        Returns an outcome in a few words.
    """
    out.parent.mkdir(parents=True, exist_ok=True)
    version = model_digest()  # taken once: the source may be edited during a long run
    start = time.perf_counter()
    for place, task in enumerate(missing, start=1):
        outcome = {**run(task), "model": version}
        append_outcome(out, outcome)
        minutes = (time.perf_counter() - start) / 60.0
        to_go = minutes / place * (len(missing) - place)
        tell(f"{place} of {len(missing)}: {describe(outcome)}; {minutes:.1f} min, about {to_go:.0f} to go")


def of_one_version(outcomes: Sequence[Outcome], seed: int) -> list[Outcome]:
    """Return the outcomes of one seed and one version of the model: the present one, else the latest run."""
    mine = [outcome for outcome in outcomes if outcome["seed"] == seed]
    versions = [outcome["model"] for outcome in mine]
    if not mine:
        return []
    version = model_digest() if model_digest() in versions else versions[-1]
    if version != model_digest():
        tell(f"note: outcomes are of version {version} of the model, the source is now {model_digest()}")
    return [each for each in mine if each["model"] == version]
