"""What others would make of the same counts: chances of setting, and of setting again, of every cell.

Every rival is told which pulls set and how resets came out. Each answer has shape (3, anchor, seabed): the
mean and the ends of a 90% band.
"""

import warnings

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats
from scipy.special import expit

from invented.log import ATTEMPTS, Log, Resets
from invented.truth import ANCHORS, CLASSES, DESIGN_OF, FEATURES, SEABEDS, SOILS, STIFFNESS, Truth

__all__ = ["cell_shares", "mixed_model"]

Array = NDArray[np.float64]
SHAPE = (len(ANCHORS), len(SEABEDS))


def counts(log: Log, resets: Resets) -> dict[str, tuple[Array, Array]]:
    """Return successes and attempts of each cell, by kind of test."""
    by_kind = {}
    for kind, cell, won, tried in (
        ("sets", (log.anchor_of, log.seabed_of), log.did_set, np.ones(len(log.did_set))),
        (
            "resets",
            (resets.anchor_of, resets.seabed_of),
            resets.successes,
            np.full(len(resets.successes), ATTEMPTS),
        ),
    ):
        successes, attempts = np.zeros(SHAPE), np.zeros(SHAPE)
        np.add.at(successes, cell, won)
        np.add.at(attempts, cell, tried)
        by_kind[kind] = successes, attempts
    return by_kind


def cell_shares(log: Log, resets: Resets) -> dict[str, Array]:
    """Guess a cell's share with half a success and half a failure more; untested, that of its seabed.

    The beta of that prior (Jeffreys) gives the band.
    """
    by_kind = {}
    for kind, (successes, attempts) in counts(log, resets).items():
        tested = attempts > 0
        k = np.where(tested, successes, successes.sum(axis=0)) + 0.5
        n = np.where(tested, attempts, attempts.sum(axis=0)) + 1.0
        band = [stats.beta.ppf(q, k, n - k) for q in (0.05, 0.95)]
        by_kind[kind] = np.stack([k / n, *band])
    return by_kind


def mixed_model(truth: Truth, log: Log, resets: Resets, draws: int = 2000) -> dict[str, Array]:
    """Guess by a logistic mixed model of all attempts, as a formula writes it, fitted by a library.

    success ~ again + tip + stiffness class + features + again : edge
              + (1 | anchor) + (1 | design) + (1 | seabed) + (1 | design : seabed) + (1 | design : again)

    statsmodels' Bayesian binomial mixed model, variational, with its own default priors.
    """
    from statsmodels.genmod.bayes_mixed_glm import BinomialBayesMixedGLM

    table = _attempts(log, resets)
    columns = _columns(truth, table)
    fixed = "0 + one + again + tip + strength + " + " + ".join(FEATURES) + " + again:upturned_edge"
    groups = ("anchor", "design", "seabed", "design_seabed", "design_again")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        fit = BinomialBayesMixedGLM.from_formula(
            f"success ~ {fixed}", {name: f"0 + C({name})" for name in groups}, columns
        ).fit_vb()
    generator = np.random.default_rng(0)
    slope = fit.fe_mean + fit.fe_sd * generator.standard_normal((draws, len(fit.fe_mean)))
    effect = fit.vc_mean + fit.vc_sd * generator.standard_normal((draws, len(fit.vc_mean)))
    spread = np.exp(fit.vcp_mean + fit.vcp_sd * generator.standard_normal((draws, len(fit.vcp_mean))))
    names = [name.split("[")[-1].rstrip("]") for name in fit.model.vc_names]
    kinds = [groups[at] for at in fit.model.ident]
    known_effect = {pair: effect[:, at] for at, pair in enumerate(zip(kinds, names, strict=True))}
    by_kind = {}
    for kind in ("sets", "resets"):
        rows = _columns(truth, _every_cell(kind == "resets"))
        odds = slope @ _fixed(rows).T
        for at, group in enumerate(groups):
            for level in rows[group].unique():
                inside = (rows[group] == level).to_numpy()
                unseen = spread[:, at] * generator.standard_normal(draws)
                odds[:, inside] += known_effect.get((group, str(level)), unseen)[:, None]
        chance = expit(odds)
        parts = [chance.mean(axis=0), *np.quantile(chance, (0.05, 0.95), axis=0)]
        by_kind[kind] = np.stack(parts).reshape(3, *SHAPE)
    return by_kind


def _attempts(log: Log, resets: Resets) -> pd.DataFrame:
    """Return one row an attempt: pulls, then resets."""
    row = np.repeat(np.arange(len(resets.successes)), ATTEMPTS)
    won = np.tile(np.arange(ATTEMPTS), len(resets.successes)) < resets.successes[row]
    return pd.DataFrame(
        {
            "a": np.concatenate([log.anchor_of, resets.anchor_of[row]]),
            "s": np.concatenate([log.seabed_of, resets.seabed_of[row]]),
            "again": np.repeat([0.0, 1.0], [len(log.did_set), len(row)]),
            "success": np.concatenate([log.did_set, won]).astype(float),
        }
    )


def _every_cell(again: bool) -> pd.DataFrame:
    anchor, seabed = np.divmod(np.arange(SHAPE[0] * SHAPE[1]), SHAPE[1])
    return pd.DataFrame({"a": anchor, "s": seabed, "again": float(again)})


def _columns(truth: Truth, table: pd.DataFrame) -> pd.DataFrame:
    """Return the table with what a tester knows of anchor and seabed."""
    tip = np.log(truth.tip_load)
    classes = np.array([f"{soil} {word}" for soil, word in zip(SOILS, CLASSES, strict=True)])
    order = STIFFNESS[[list(classes).index(each) for each in classes]]
    a, s = table["a"].to_numpy(), table["s"].to_numpy()
    again = np.where(table["again"] > 0, "again", "first")
    return table.assign(
        one=1.0,
        tip=((tip - tip.mean()) / tip.std())[a],
        strength=order[s],
        **{name: truth.has_feature[a, column] for column, name in enumerate(FEATURES)},
        anchor=a,
        design=DESIGN_OF[a],
        seabed=s,
        design_seabed=[f"{d} {b}" for d, b in zip(DESIGN_OF[a], s, strict=True)],
        design_again=[f"{d} {w}" for d, w in zip(DESIGN_OF[a], again, strict=True)],
    )


def _fixed(rows: pd.DataFrame) -> Array:
    names = ["one", "again", "tip", "strength", *FEATURES]
    return np.column_stack([rows[names], rows["again"] * rows["upturned_edge"]]).astype(np.float64)
