"""Whether the sampler's draws can be relied on, in numbers and in sentences."""

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass

import numpy as np
import xarray as xr

__all__ = ["LIMITS", "Limits", "Verdict", "judge"]


@dataclass(frozen=True)
class Limits:
    """What a good verdict asks for, and of what, as the sentence of a good verdict calls it.

    Effective sample sizes of 400 and R-hat near 1: Vehtari, Gelman, Simpson, Carpenter & Bürkner 2021,
    *Bayesian Analysis* 16:667 (they ask for 1.01; value from memory).  BFMI of 0.3: Betancourt 2016,
    arXiv:1604.00695 (value from memory).
    """

    ess: float = 400.0
    rhat: float = 1.02
    bfmi: float = 0.3
    divergences_per_1000: float = 1.0
    asked_of: str = "every cell and every hyperparameter"


LIMITS = Limits()


@dataclass(frozen=True)
class Verdict:
    """The sampler's verdict; see the fields of ``verdict.json``.

    ``approximate`` marks a quick fit: few draws, judged by its cells alone.
    """

    ok: bool
    sentences: tuple[str, ...]
    divergences: int
    rhat_max: float
    ess_bulk_min: float
    ess_tail_min: float
    bfmi_min: float
    draws: int
    attempts: int = 1
    seconds_compile: float = 0.0
    seconds_sample: float = 0.0
    approximate: bool = False

    def as_dict(self) -> dict[str, object]:
        """Return plain numbers and words, as written to ``verdict.json``; None for what is not a number."""
        plain = {**asdict(self), "sentences": list(self.sentences)}
        return {
            key: None if isinstance(value, float) and not math.isfinite(value) else value
            for key, value in plain.items()
        }


def judge(tree: xr.DataTree, judged: Sequence[str], limits: Limits = LIMITS) -> Verdict:
    """Return the verdict on the draws of some variables.

    Parameters
    ----------
    tree : DataTree
        With groups posterior and sample_stats.
    judged : sequence of str
        Names of the variables to judge: ``log_capacity`` and every hyperparameter.
    limits : Limits
        What is asked for.

    Raises
    ------
    KeyError
        When a variable is not in the posterior.
    """
    posterior = tree["posterior"].dataset[list(judged)]
    stats = tree["sample_stats"].dataset
    divergences, draws = int(stats["diverging"].sum()), int(stats["diverging"].size)
    broken = _not_finite(posterior)
    (spread, spread_at), (bulk, bulk_at), (tail, tail_at) = _mixing(posterior)
    bfmi = float(np.min(_bfmi(stats["energy"])))
    allowed = limits.divergences_per_1000 * draws / 1000.0
    checks = (
        # Ranks hide an infinite draw from the measures below.
        (not broken, f"a draw of {broken} is not a number"),
        (divergences <= allowed, f"{divergences} of {draws} draws diverged; at most {allowed:.0f} may"),
        (
            spread <= limits.rhat,
            f"the chains disagree: R-hat is {spread:.3f} for {spread_at}; at most {limits.rhat} may",
        ),
        (
            bulk >= limits.ess,
            f"too few independent draws of {bulk_at}: {bulk:.0f}; {limits.ess:.0f} are needed",
        ),
        (
            tail >= limits.ess,
            f"too few independent draws in the tails of {tail_at}: {tail:.0f}; {limits.ess:.0f} are needed",
        ),
        (
            bfmi >= limits.bfmi,
            f"the sampler moves badly between energies: BFMI is {bfmi:.2f}; it must be {limits.bfmi} or more",
        ),
    )
    # A comparison with NaN is false, so a constant or broken variable fails here and is named.
    failures = tuple(sentence for passed, sentence in checks if not passed)
    good = (
        f"{limits.asked_of} has at least {min(bulk, tail):.0f} independent draws, "
        f"the chains agree (R-hat at most {spread:.3f}) and {divergences} of {draws} draws diverged"
    )
    sentences = tuple(f"{text[0].upper()}{text[1:]}." for text in failures or (good,))
    return Verdict(not failures, sentences, divergences, spread, bulk, tail, bfmi, draws)


def _mixing(posterior: xr.Dataset) -> tuple[tuple[float, str], ...]:
    """Return the worst R-hat, bulk and tail effective sample size, each with where it is."""
    # Imported here, since a saved verdict is read without it.
    from arviz_stats import ess, rhat

    with np.errstate(divide="ignore", invalid="ignore"):  # R-hat of a constant is not a number, and fails
        return (
            _worst(rhat(posterior), largest=True),
            _worst(ess(posterior, method="bulk"), largest=False),
            _worst(ess(posterior, method="tail"), largest=False),
        )


def _worst(values: xr.Dataset, *, largest: bool) -> tuple[float, str]:
    """Return the worst value over all variables and where it is; NaN counts as worst."""
    worst, where = (-np.inf if largest else np.inf), ""
    for array in values.data_vars.values():
        flat = array.to_numpy().ravel()
        if not flat.size:
            continue
        if np.isnan(flat).any():
            return float("nan"), _place(array, int(np.isnan(flat).argmax()))
        place = int(flat.argmax() if largest else flat.argmin())
        if (flat[place] > worst) == largest and flat[place] != worst:
            worst, where = float(flat[place]), _place(array, place)
    return worst, where


def _not_finite(draws: xr.Dataset) -> str:
    """Return the first place with a draw that is NaN or infinite; blank when there is none."""
    for array in draws.data_vars.values():
        finite = (abs(array) < np.inf).all(("chain", "draw"))
        if not finite.all():
            return _place(finite, int(finite.to_numpy().ravel().argmin()))
    return ""


def _place(array: xr.DataArray, flat: int) -> str:
    places = np.unravel_index(flat, array.shape) if array.dims else ()
    labels = ", ".join(
        str(array[dim].to_numpy()[place]) for dim, place in zip(array.dims, places, strict=True)
    )
    return f"{array.name} ({labels})" if labels else str(array.name)


def _bfmi(energy: xr.DataArray) -> np.ndarray:
    """Return the estimated Bayesian fraction of missing information of each chain (Betancourt 2016)."""
    values = energy.transpose("chain", "draw").to_numpy()
    return np.asarray((np.diff(values, axis=1) ** 2).mean(axis=1) / values.var(axis=1))
