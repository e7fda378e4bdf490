"""How small can an error be in the invented worlds? A bound that no method of learning can beat.

    python scripts/evidence/worlds_floor.py --outcomes docs/worlds.jsonl --out docs/worlds_floor.md

The best possible of `worlds.py` knows every world but the designs' own effects, so that a method which has to
learn seabeds, forms and features from the same pulls cannot come near it.  How near could it come?  The bound
is the Bayesian Cramér-Rao bound of van Trees (1968, *Detection, Estimation, and Modulation Theory, part I*,
section 2.4, value from memory): the mean square error of any estimator is at least the inverse of the prior's
information plus the data's.  Here all that is unknown is normal and enters log capacity as a sum, and a pull
that scatters as Student's t with n degrees of freedom has information (n + 1) / ((n + 3) scale^2) (Lange,
Little & Taylor 1989, *J. Am. Stat. Assoc.* 84:881, value from memory; checked by quadrature in the tests).
Of a pull that stops at the boat's limit only that it held is known, so its expected information is the
score's square averaged over loads below the limit, plus f^2 / (1 - F) at the limit (an identity; f and F of
the scatter), averaged over where the learner expects the cell before any pull.  So the bound is the posterior
variance of a normal model, its scatter's variance the inverse of that information.  It need not be attained.

The learner of the bound is told more than any tester could know: the laws of the world and every spread, the
stiffness of each seabed, how its tips enter, the exact loads, which pulls are fouled and by what factor, who
is of which family (and in the world of the lone feature, what features do).  What is left to learn is what a
seabed adds and its size exponent, what forms and features do, visits, and the designs' own effects.
"""

import argparse
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from scipy import integrate, stats

from holdcast.evaluate.outcomes import OutcomesError, read_outcomes
from invented.campaign import draw_campaign
from invented.log import FOULED_LOG, Log
from invented.truth import (
    DESIGN_OF,
    FORMS,
    SPREAD,
    TAIL_FREEDOM,
    VISIT_SPREAD,
    WORLDS,
    Array,
    Truth,
    World,
)
from pages.version import version_line
from pages.worlds_table import BEST, OURS, markdown_table, ratio, scores

__all__ = ["expected_errors", "information", "least_over_best", "left_variance", "page"]

_FAR = 60.0
"""Scales from the location within which a pull's information is added up; beyond is a billionth of it."""


def learnt_covariance(world: World, truth: Truth) -> Array:
    """Return the prior covariance, over cells anchor by anchor, of what the bound's learner must learn."""
    anchors, seabeds = truth.mean.shape
    anchor, seabed = np.repeat(np.arange(anchors), seabeds), np.tile(np.arange(seabeds), anchors)
    form = np.array([FORMS[design] for design in DESIGN_OF])[anchor]
    size, features = np.log(truth.mass / 10.0)[anchor], truth.has_feature[anchor]
    here, same_form = seabed[:, None] == seabed, form[:, None] == form
    ground = SPREAD["ground_peak" if world.peak else "ground"] ** 2
    covariance = here * (ground + SPREAD["exponent"] ** 2 * np.multiply.outer(size, size))
    covariance = covariance + same_form * (SPREAD["form"] ** 2 + SPREAD["form_seabed"] ** 2 * here)
    if not world.lone_feature:
        shared = SPREAD["feature"] ** 2 + SPREAD["feature_seabed"] ** 2 * here
        covariance = covariance + (features @ features.T) * shared
    return np.asarray(covariance, dtype=np.float64)


def left_variance(covariance: Array, noise: Array, cell: np.ndarray) -> Array:
    """Return each cell's posterior variance, given pulls in the cells ``cell`` with covariance ``noise``."""
    variance = covariance[np.ix_(cell, cell)] + noise
    gain = np.linalg.solve(variance, covariance[cell])
    return np.asarray(np.diag(covariance) - (covariance[:, cell] * gain.T).sum(axis=1))


def information(limit: Array, spread: Array, scale: Array) -> Array:
    """Return the mean information of each pull about its location, for a scale of one.

    Parameters
    ----------
    limit : array, shape (pull,)
        Log of the boat's limit less the expected location.
    spread, scale : arrays, shape (pull,)
        Of the location before any pull, and of the pull about it.
    """
    reach = np.linspace(-_FAR, _FAR, 6001)
    density = stats.t.pdf(reach, TAIL_FREEDOM)
    score = (TAIL_FREEDOM + 1.0) * reach / (TAIL_FREEDOM + reach**2)
    below = integrate.cumulative_simpson(score**2 * density, x=reach, initial=0.0)
    learnt = below + density**2 / stats.t.sf(reach, TAIL_FREEDOM)
    place = np.linspace(-6.0, 6.0, 241)
    weight = stats.norm.pdf(place)
    at = (limit[:, None] - spread[:, None] * place) / scale[:, None]
    return np.asarray(np.interp(at, reach, learnt) @ weight / weight.sum())


def expected_errors(world: World, truth: Truth, log: Log, hidden: np.ndarray) -> tuple[float, float]:
    """Return the best possible's expected rms error in the hidden cells, and the bound of any learner."""
    cell = log.anchor_of * truth.mean.shape[1] + log.seabed_of
    scale2, clean = truth.scatter[log.seabed_of] ** 2, ~log.fouled
    # The best possible takes the t for a normal of the same variance, so its error goes with that variance.
    variance = scale2[clean] * TAIL_FREEDOM / (TAIL_FREEDOM - 2.0)
    best = left_variance(truth.covariance, np.diag(variance), cell[clean])
    covariance = truth.covariance + learnt_covariance(world, truth)
    # A learner told which pulls are fouled, and by what factor, can use them as well as any other.
    expected = truth.learnable.ravel()[cell] + log.fouled * FOULED_LOG
    spread = np.sqrt(np.diag(covariance)[cell] + VISIT_SPREAD**2)
    limit = np.log(world.boat_limit_n) - expected
    informed = np.diag(scale2 / information(limit, spread, np.sqrt(scale2)))
    noise = informed + VISIT_SPREAD**2 * (log.visit_of[:, None] == log.visit_of)
    least = left_variance(covariance, noise, cell)
    is_hidden = hidden.ravel()
    return float(np.sqrt(best[is_hidden].mean())), float(np.sqrt(least[is_hidden].mean()))


PAGE = """# How small can an error be in these worlds?

Made by `{command}`; the code
gives the account of the bound. Each row is one world of [worlds.md](worlds.md); errors are root-mean-square
errors of log capacity in the hidden cells.

- **best possible**: what the method of that name expects to miss by; it is told all but the
  designs' own effects, and the loads above the boat's limit too.
- **bound**: no method misses by less, on average over campaigns, if what seabeds, forms, features and visits
  add has to be learnt from the same pulls (van Trees' bound, which need not be attained). The learner of the
  bound is told the laws, every spread, the stiffness of each seabed, how tips enter, exact loads up to the
  boat's limit, and which pulls are fouled and by what factor.

{table}

So an error of 1.25 times the best possible, which was wanted, is **{verdict}**: over all worlds no
method can come below {over_all:.2f} in root mean square (the geometric mean of a few campaigns may fall
below it by chance). Holdcast has to find out what the bound's learner is told, and some of that (the place
of a cliff, the right class, the true tip load) no tester would have written down.

{version}
"""


def page(outcomes: list[dict[str, Any]], command: str) -> str:
    """Return the page: the bound of every campaign in the file beside what Holdcast reached."""
    frame = pd.DataFrame([row for outcome in outcomes for row in scores(outcome)])
    rows, logs = [], []
    for world, errors in _bounds(outcomes).items():
        logs.append(np.log(errors[1] / errors[0]))
        rows.append(_row(world, errors, _reached(frame[frame["world"] == world])))
    over_all, reached = float(np.exp(np.concatenate(logs).mean())), _reached(frame)
    rows.append(["all", "", "", f"{over_all:.2f}", f"{reached:.2f}", f"{reached / over_all:.2f}"])
    shares = [f"{OURS} / best", f"{OURS} / bound"]
    head = ["world", "best possible", "bound", "bound / best", *shares]
    lowest = min(float(np.exp(each.mean())) for each in logs)
    verdict = "out of reach in every world" if lowest > 1.25 else "not out of reach in every world"
    version = version_line(outcome["model"] for outcome in outcomes)
    table = markdown_table(head, rows)
    return PAGE.format(command=command, table=table, verdict=verdict, over_all=over_all, version=version)


def least_over_best(outcomes: list[dict[str, Any]]) -> dict[str, float]:
    """Return the bound over the best possible's error, world by world (geometric mean)."""
    return {world: _ratio(errors) for world, errors in _bounds(outcomes).items()}


def _bounds(outcomes: list[dict[str, Any]]) -> dict[str, Array]:
    """Return expected errors of the best possible and of the bound, shape (2, campaign), world by world."""
    worlds = dict.fromkeys(outcome["world"] for outcome in outcomes)
    return {
        world: np.array([_bound(outcome) for outcome in outcomes if outcome["world"] == world]).T
        for world in worlds
    }


def _ratio(errors: Array) -> float:
    best, least = errors
    return float(np.exp(np.log(least / best).mean()))


def _bound(outcome: dict[str, Any]) -> tuple[float, float]:
    truth, log, hidden, _ = draw_campaign(outcome["world"], outcome["campaign"], outcome["seed"])
    return expected_errors(WORLDS[outcome["world"]], truth, log, hidden)


def _reached(frame: pd.DataFrame) -> float:
    return float(np.exp(ratio(frame, BEST)[OURS][0]))


def _row(world: str, errors: Array, reached: float) -> list[str]:
    least_ratio = _ratio(errors)
    texts = [f"{np.sqrt((error**2).mean()):.3f}" for error in errors]
    return [world, *texts, f"{least_ratio:.2f}", f"{reached:.2f}", f"{reached / least_ratio:.2f}"]


def main() -> int:
    """Write the page, or print it."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--outcomes", type=Path, required=True, help="outcomes of worlds.py")
    parser.add_argument("--out", type=Path, help="page to write; without it the page is printed")
    options = parser.parse_args()
    try:
        outcomes = read_outcomes(options.outcomes)
    except OutcomesError as error:
        print(f"worlds_floor: {error}", file=sys.stderr)
        return 2
    if not outcomes:
        fix = f"run scripts/evidence/worlds.py --out {options.outcomes}"
        print(f"worlds_floor: {options.outcomes} holds no campaign; {fix}", file=sys.stderr)
        return 2
    text = page(outcomes, f"python scripts/evidence/worlds_floor.py --outcomes {options.outcomes}")
    if options.out is None:
        print(text)
    else:
        options.out.write_text(text, encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
