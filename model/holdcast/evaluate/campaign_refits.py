"""Evaluating a user's campaign: a full fit and refits that hide something, each outcome kept at once."""

from collections.abc import Callable, Generator, Iterator, Mapping, Sequence
from contextlib import closing
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr

from holdcast.campaign.records import Campaign
from holdcast.capacity.inputs.layout import lay_out
from holdcast.capacity.model.priors import with_overrides
from holdcast.capacity.progress import Progress, silent
from holdcast.evaluate.hiding import Hiding, hide, hidings, nothing_hidden
from holdcast.evaluate.leave_out import groups_of, leave_out
from holdcast.evaluate.model_digest import model_digest
from holdcast.evaluate.outcomes import append_outcome, drop_outcomes, early_file, name_of, read_outcomes
from holdcast.evaluate.refit import Refit, Refitter, prepare, refit
from holdcast.evaluate.scoring import pull_scores
from holdcast.evaluate.setting_scores import reset_scores, setting_scores, veer_scores

__all__ = [
    "DEFAULT_SEED",
    "NOTHING",
    "Arriving",
    "RunRefits",
    "describe",
    "evaluate_campaign",
    "one_by_one",
    "outcome_of",
    "told_steps",
]

DEFAULT_SEED = 20_260_602
NOTHING = "nothing"
"""The kind of the one outcome with all pulls seen: what importance sampling says (PSIS-LOO)."""

_LABELS = ("anchor", "seabed", "visit")

Arriving = Generator[tuple[Hiding, dict[str, Any]]]
"""What was hidden and its outcome, of one refit after another."""
RunRefits = Callable[[Campaign, xr.Dataset, Sequence[Hiding], int, Progress], Arriving]
"""Takes the campaign, its inputs, what to hide, a seed and progress; gives each outcome when it is done, in
any order."""


def one_by_one(
    campaign: Campaign, inputs: xr.Dataset, missing: Sequence[Hiding], seed: int, progress: Progress
) -> Arriving:
    """Run refits one after another in this process.

    Parameters
    ----------
    campaign : Campaign
        Whose priors hold.
    inputs : Dataset
        As made by :func:`holdcast.capacity.inputs.layout.lay_out`.
    missing : sequence of Hiding
        One refit each.
    seed : int
        Of the sampler and the scores.
    progress : callable
        Told what is being done.

    Yields
    ------
    tuple of Hiding and dict
        What was hidden and its outcome.
    """
    progress("compiling the model once for all refits: most of a minute the first time, a few seconds later")
    refitter = prepare(inputs, with_overrides(campaign.priors))
    tell = told_steps(missing)
    for hiding in missing:
        progress(tell(hiding))
        yield hiding, outcome_of(refitter, inputs, hiding, seed)


def told_steps(missing: Sequence[Hiding]) -> Callable[[Hiding], str]:
    """Return a function that words each step when its turn comes, and counts those that hide something.

    The whole log is fitted too, beside the refits that were asked for, and is none of them.
    """
    number, of = 0, sum(each.kind != NOTHING for each in missing)

    def tell(hiding: Hiding) -> str:
        nonlocal number
        if hiding.kind == NOTHING:
            return "the whole log, nothing hidden: for what leaving out without refits says (PSIS-LOO)"
        number += 1
        return f"refit {number} of {of}: hiding {describe(hiding)} ({hiding.counts})"

    return tell


def describe(hiding: Hiding) -> str:
    """Return the kind and label of what is hidden, for a line of progress."""
    return f"{hiding.kind}, {hiding.label}" if hiding.label else hiding.kind


def evaluate_campaign(
    campaign: Campaign,
    kind: str,
    file: Path,
    *,
    most: int,
    seed: int = DEFAULT_SEED,
    progress: Progress = silent,
    run: RunRefits = one_by_one,
) -> list[dict[str, Any]]:
    """Run the refits that the file does not hold yet, and return all outcomes of this campaign and seed.

    Parameters
    ----------
    campaign : Campaign
        As read by :func:`holdcast.campaign.read_campaign`.
    kind : str
        What to hide, see :func:`holdcast.evaluate.hiding.hidings`.
    file : Path
        Outcomes, one JSON line a refit; those of other campaigns, seeds and models stay and do not count.
    most : int
        Most refits of this kind.
    seed : int
        Of what is hidden, the sampler and the scores.
    progress : callable
        Told what is being done.
    run : callable
        Runs the refits: in this process, or :func:`holdcast.evaluate.spreading.over_workers`.

    Returns
    -------
    list of dict
        Outcomes of every kind that the file holds for this campaign, seed and version of the model.

    Raises
    ------
    OutcomesError
        When the file holds something else.
    ValueError
        When `kind` is unknown or nothing can be hidden.
    """
    inputs = lay_out(campaign)
    wanted = hidings(inputs, kind, most=most, seed=seed)
    key = {"campaign": campaign.digest, "seed": seed, "model": model_digest()}
    done = {name_of(outcome): outcome for outcome in read_outcomes(file) if _matches(outcome, key)}
    mine = list(done.values())
    nothing = nothing_hidden(inputs, NOTHING)
    missing = [each for each in (nothing, *wanted) if (each.kind, each.label) not in done]
    if not missing:
        return mine
    file.parent.mkdir(parents=True, exist_ok=True)

    def run_missing(hidden: Sequence[Hiding]) -> Arriving:
        return run(campaign, inputs, hidden, seed, progress)

    mine += _kept_in_order(file, key, missing, run_missing)
    return mine


def _kept_in_order(
    file: Path,
    key: Mapping[str, Any],
    missing: Sequence[Hiding],
    run: Callable[[Sequence[Hiding]], Arriving],
) -> Iterator[dict[str, Any]]:
    """Keep each outcome when it arrives, and yield them in the order of what is missing.

    One that arrives before its turn waits in a file beside, so that the outcomes' own file does not depend on
    who was fastest.
    """
    early = early_file(file)
    waiting = {name_of(outcome): outcome for outcome in read_outcomes(early) if _matches(outcome, key)}
    order = [(each.kind, each.label) for each in missing]
    with closing(run([each for each in missing if (each.kind, each.label) not in waiting])) as arriving:
        for name in order:
            while name not in waiting:
                hiding, outcomes = next(arriving)
                outcome = {**key, **outcomes}
                waiting[hiding.kind, hiding.label] = outcome
                if (hiding.kind, hiding.label) != name:
                    append_outcome(early, outcome)
            append_outcome(file, waiting[name])
            yield waiting[name]
    drop_outcomes(early, lambda outcome: _matches(outcome, key) and name_of(outcome) in set(order))


def _matches(outcome: Mapping[str, Any], key: Mapping[str, Any]) -> bool:
    return all(outcome.get(name) == value for name, value in key.items()) and {"hide", "label"} <= set(
        outcome
    )


def outcome_of(refitter: Refitter, inputs: xr.Dataset, hiding: Hiding, seed: int) -> dict[str, Any]:
    """Refit with some pulls hidden and return what there is to keep: the verdict and the scores.

    Parameters
    ----------
    refitter : Refitter
        Made from `inputs`.
    inputs : Dataset
        As made by :func:`holdcast.capacity.inputs.layout.lay_out`.
    hiding : Hiding
        What the refit must not see.
    seed : int
        Of the sampler and the scores.

    Returns
    -------
    dict
        Plain values, as JSON takes them.
    """
    refitted = refit(refitter, hide(inputs, hiding), seed=seed)
    outcome: dict[str, Any] = {"hide": hiding.kind, "label": hiding.label, **_verdict(refitted)}
    if hiding.kind == NOTHING:
        return {**outcome, "left_out": [_left_out(refitted, inputs, by) for by in groups_of(inputs)]}
    trials, resets, veers = map(np.flatnonzero, (hiding.hidden, hiding.resets, hiding.veers))
    scores = {
        "pulls": pull_scores(refitted.posterior, inputs, trials, seed=seed) if len(trials) else xr.Dataset(),
        "setting": setting_scores(refitted.posterior, inputs, trials) if len(trials) else xr.Dataset(),
        "resets": reset_scores(refitted.posterior, inputs, resets) if len(resets) else xr.Dataset(),
        "veers": veer_scores(refitted.posterior, inputs, veers) if len(veers) else xr.Dataset(),
    }
    return outcome | {
        name: _columns(each, inputs) for name, each in scores.items() if sum(each.sizes.values())
    }


def _columns(scores: xr.Dataset, inputs: xr.Dataset) -> dict[str, list[Any]]:
    """Return scores of tests with the labels of each, as plain lists."""
    (dim,) = map(str, scores.dims)
    rows = inputs.sel({dim: scores[dim]})
    names = {name: f"{name}_of" if dim == "trial" else f"{dim}_{name}" for name in _LABELS}
    labels = {name: inputs[name].to_numpy()[rows[place].to_numpy()] for name, place in names.items()}
    columns = {"trial": rows[dim].to_numpy(), **labels}
    return {name: [str(label) for label in values] for name, values in columns.items()} | {
        str(name): np.round(scores[name].to_numpy(), 5).tolist() for name in scores.data_vars
    }


def _verdict(refitted: Refit) -> dict[str, Any]:
    verdict = refitted.verdict
    return {
        "ok": verdict.ok,
        "sentences": list(verdict.sentences),
        "divergences": verdict.divergences,
        "draws": verdict.draws,
        "attempts": verdict.attempts,
    }


def _left_out(refitted: Refit, inputs: xr.Dataset, by: str) -> dict[str, Any]:
    estimate = leave_out(refitted.posterior, inputs, by)
    return {
        "by": estimate.by,
        "groups": estimate.groups,
        "pulls": inputs.sizes["trial"],
        "log_score": round(estimate.log_score, 3),
        "log_score_error": round(estimate.log_score_error, 3),
        "unreliable": estimate.unreliable,
        "pareto_k_max": round(float(estimate.pareto_k.max()), 3),
    }
