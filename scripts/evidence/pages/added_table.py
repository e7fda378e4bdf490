"""The page on new trials without a refit, from the outcomes of ``added_trials.py``."""

from collections.abc import Callable, Sequence
from textwrap import fill

import numpy as np
from numpy.typing import NDArray

from pages.version import version_line
from simulated.campaign_runs import Outcome

__all__ = ["page"]

_TAILS = (0.05, 0.2, 0.5)
_ENOUGH = 20
_FEW = "So few campaigns tell little; the same command with more of them goes on where it stopped."
_ABOUT = """\
# New trials without a refit

`holdcast add RESULTS NEW_TRIALS.csv` weighs each draw of a fit by how likely it makes the new tests, with
the likelihood of the fit itself. A new visit and a new spot are integrated; on a visit that the fit knows,
its draws stand. The weights' tail is smoothed (Pareto), and the table of cells is made again from the
weighted draws. The update is trusted when Pareto k is at most 0.7 and it is as good as 400 draws. Otherwise
a refit is due, and until then the update is rough. With a good k and at least 72 draws left, it is still made
by weights; a cell holds where the standard errors of its median and band ends are at most 0.25 standard
deviations. Otherwise the draws are led to the new tests by steps: the likelihood counts by degrees, and at
each degree draws are taken anew by weight and moved as a normal of their own mean and covariance allows. Two
halves of 500 draws go their own ways, and a cell holds where median and band ends of both lie within 0.5
standard deviations. These thousand draws are weighed first: where they already show that weights are
hopeless, the others are not weighed, and k and the number of draws told are theirs.

`tail` in `surprise.csv` is the chance, before the test was seen, of a reading as far out or further, on
either side: twice the smaller of the chances of so much or more, and of so little or less, at most 1. A
load that is known only in part gets the largest tail that it could have. It is worked out on a new visit,
as read, with the rode of the row, and counts the chance that the anchor does not set. Below 0.05 the pull
is worth making again; one exact reading in twenty is that far out when all is as expected, so no reading is
dropped for it.

## How long it takes

Twenty rows on the demo (4,000 draws, an update by steps) take 1.8 to 2.2 s besides starting and reading,
1.6 to 1.8 s of processor, on two cores that other work kept busy; nine rows 1.8 to 2.1 s. The first run on
a machine compiles the likelihood of new tests, a quarter to half a minute, and says so before it starts.

## Against true refits

"""


def page(outcomes: Sequence[Outcome], command: str) -> str:
    """Return the page in Markdown; ``command`` is what made the outcomes."""
    number = len(outcomes)
    updates = [update for each in outcomes for update in each["updates"]]
    by_pulls = {pulls: [one for one in updates if one["pulls"] == pulls] for pulls in _numbers_of(updates)}
    counted = "1 world" if number == 1 else f"{number} worlds"
    lines = [
        fill(
            f"Made by `{command}`: {counted} drawn from the model's own prior, 150 pulls of 20 "
            "anchors in 8 seabeds each. Twelve pulls are held back, those of one visit first, the "
            "rest from a second. The other 138 are fitted, the twelve added, all 150 fitted; the same "
            "with three pulls of one visit. Fits of 2 chains of 500 draws, a quarter of a full fit, so 400 "
            "effective draws are harder to come by. *z* is the difference between update and refit in "
            "standard errors of both: its root "
            "mean square is 1 when nothing but the finite number of draws is in it. *off* is the root "
            "mean square of the difference in standard deviations of the cell.",
            108,
        ),
        "",
        *(line for pulls, some in by_pulls.items() for line in _against_refits(pulls, some)),
        *([_FEW, ""] if number < _ENOUGH else []),
        *_tails(by_pulls[max(by_pulls)]),
        "",
        version_line(each["model"] for each in outcomes),
        "",
    ]
    return _ABOUT + "\n".join(lines)


def _numbers_of(updates: Sequence[Outcome]) -> list[int]:
    return sorted({int(update["pulls"]) for update in updates}, reverse=True)


def _against_refits(pulls: int, updates: Sequence[Outcome]) -> list[str]:
    trusted = [each for each in updates if each["trusted"]]
    return [
        f"### {pulls} pulls added",
        "",
        f"Trusted as a whole: {len(trusted)} of {len(updates)}. Pareto k: "
        f"{', '.join(f'{each["pareto_k"]:.2f}' for each in updates)}. As good as draws: "
        f"{', '.join(f'{each["effective"]:.0f}' for each in updates)}.",
        "",
        "| cells | number | z, 5% end | z, median | z, 95% end | off, 5% | off, median | off, 95% | "
        "off without the update, median |",
        "|---|---|---|---|---|---|---|---|---|",
        *_rows(updates),
        "",
    ]


def _rows(outcomes: Sequence[Outcome]) -> list[str]:
    kinds: dict[str, Callable[[Outcome], NDArray[np.bool_]]] = {
        "trusted as a whole": lambda each: np.full(len(each["holds"]), each["trusted"]),
        "refit due, by weights, cell holds": lambda each: (
            np.array(each["holds"]) & each["rough"] & (not each["trusted"])
        ),
        "refit due, by weights, cell does not hold": lambda each: ~np.array(each["holds"]) & each["rough"],
        "refit due, by steps, cell holds": lambda each: np.array(each["holds"]) & (not each["rough"]),
        "refit due, by steps, cell does not hold": lambda each: (
            ~np.array(each["holds"]) & (not each["rough"])
        ),
    }
    rows = []
    for name, which in kinds.items():
        parts = {
            of: np.concatenate([np.array(each["errors"][of])[:, which(each)] for each in outcomes], axis=1)
            for of in ("z", "off", "before_off")
        }
        cells = parts["z"].shape[1]
        if not cells:
            rows.append(f"| {name} | 0 | | | | | | | |")
            continue
        size = {of: np.sqrt((values**2).mean(axis=1)) for of, values in parts.items()}
        numbers = [*(f"{z:.2f}" for z in size["z"]), *(f"{off:.2f}" for off in size["off"])]
        rows.append(f"| {name} | {cells} | {' | '.join(numbers)} | {size['before_off'][1]:.2f} |")
    return rows


def _tails(outcomes: Sequence[Outcome]) -> list[str]:
    tails = np.concatenate([each["tails"] for each in outcomes])
    exact = np.concatenate([each["exact"] for each in outcomes]).astype(bool)
    sentences = []
    for words, which in (("exact loads", exact), ("loads known between two steps or open", ~exact)):
        own = tails[which]
        if not len(own):
            continue
        shares = ", ".join(f"{(own < limit).mean():.0%} below {limit:g}" for limit in _TAILS)
        sentences.append(f"Tails of {len(own)} {words}: {shares}.")
    return [
        "## Are tails right?",
        "",
        *sentences,
        "Of exact loads as many should be below as the limit says; of others no more. Pulls of one visit",
        "share it, so these numbers wander more than as many independent ones would.",
    ]
