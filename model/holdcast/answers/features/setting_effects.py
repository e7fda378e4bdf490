"""What a feature does to the chance of setting, of setting again and to what is kept in a turn, by seabed.

A chance moves by less the nearer it is to 0 or 1, so a change of log odds is no change of a chance by itself.
What is told is the mean over the anchors that have the feature: the chance of each as it is, less its chance
with the feature's effect taken out of the log odds (the average marginal effect on those that have it).
"""

from typing import NamedTuple

import numpy as np
import xarray as xr

from holdcast.answers.draws.bands import BAND_90, band
from holdcast.answers.draws.counts import counts
from holdcast.answers.draws.draws import Draws, draws_of
from holdcast.answers.draws.log_odds import expit
from holdcast.answers.draws.provenance import about
from holdcast.answers.draws.setting import HALF_TURN, setting_shares
from holdcast.answers.explain.learning import contraction
from holdcast.answers.features.pairs import Pair, find_pairs
from holdcast.capacity.fitting import Fit

__all__ = ["paired_setting", "setting_effects"]

_TESTED_BY = {"sets": "pulls", "resets": "reset_attempts", "veer_kept": "veers"}


class _Change(NamedTuple):
    """Draws of one feature's effect on one kind of test, dims (sample, seabed).

    Attributes
    ----------
    share : change of the chance, or of the share kept [1].
    log : the effect on the model's own scale, more is better.
    log_prior : the same from the prior.
    """

    share: xr.DataArray
    log: xr.DataArray
    log_prior: xr.DataArray


def setting_effects(fit: Fit) -> xr.Dataset:
    """Return what each feature does to the chances of setting, kind by kind and seabed by seabed.

    Returns
    -------
    Dataset, dims (kind, effect, seabed, quantile)
        ``kind``: those of :data:`holdcast.answers.draws.setting.KINDS` that the log holds tests of.
        ``change`` [1]: with the feature less without it, mean over the anchors that have it (over all where
        none has); ``overall`` (kind, effect, quantile): the mean of that over the seabeds; ``p_gain``:
        probability that it helps; ``contraction``: of its effect on log odds, or on the log of what a turn
        costs; ``pairs_tested``: pairs of which both were tested so in that seabed.  A fit without features: a
        dim ``effect`` of length 0.
    """
    draws = draws_of(fit)
    kinds, features, seabeds = list(setting_shares(draws)), _features(draws), draws.labels("seabed")
    changes = {(kind, each): _change(draws, kind, each) for kind in kinds for each in features}
    dims, labels = ("kind", "effect", "seabed"), {"kind": kinds, "effect": features, "seabed": seabeds}
    shape = tuple(map(len, labels.values()))

    def stack(parts: list[xr.DataArray], *last: str) -> tuple[tuple[str, ...], np.ndarray]:
        sizes = (len(BAND_90),) if last else ()
        return (*dims, *last), np.array([part.to_numpy() for part in parts]).reshape(*shape, *sizes)

    parts = list(changes.values())
    overall = np.array([band(part.share.mean("seabed"), BAND_90).to_numpy() for part in parts])
    effects = {
        "change": (*stack([band(part.share, BAND_90) for part in parts], "quantile"), _ABOUT["change"]),
        "overall": (
            ("kind", "effect", "quantile"),
            overall.reshape(*shape[:2], len(BAND_90)),
            _ABOUT["overall"],
        ),
        "p_gain": (*stack([(part.log > 0).mean("sample") for part in parts]), _ABOUT["p_gain"]),
        "contraction": (
            *stack([contraction(part.log, part.log_prior) for part in parts]),
            _ABOUT["contraction"],
        ),
    }
    answer = xr.Dataset(effects, {**labels, "quantile": list(BAND_90)})
    return answer.assign(pairs_tested=_pairs_tested(draws, answer))


def paired_setting(fit: Fit) -> xr.Dataset:
    """Return the difference with against without, pair by pair, kind by kind and seabed by seabed.

    Returns
    -------
    Dataset, dims (kind, pair, seabed, quantile)
        ``change`` [1]: chance of the anchor with the feature less that of the one without, draw by draw, with
        all that sets the two apart; ``p_gain``: probability that it is above 0; ``both_tested``.  Pairs as
        from :func:`holdcast.answers.features.pairs.find_pairs`; without any, a dim of length 0.
    """
    draws = draws_of(fit)
    shares, pairs = setting_shares(draws), find_pairs(fit)
    kinds, seabeds = list(shares), draws.labels("seabed")
    differences = [[_difference(shares[kind], pair) for pair in pairs] for kind in kinds]
    tested = [[_both_tested(draws, kind, pair).to_numpy() for pair in pairs] for kind in kinds]
    dims, shape = ("kind", "pair", "seabed"), (len(kinds), len(pairs), len(seabeds))

    def stack(parts: list[list[xr.DataArray]], *sizes: int) -> np.ndarray:
        return np.array([[part.to_numpy() for part in row] for row in parts], dtype=float).reshape(
            *shape, *sizes
        )

    change = stack([[band(part, BAND_90) for part in row] for row in differences], len(BAND_90))
    gain = stack([[(part > 0).mean("sample") for part in row] for row in differences])
    return xr.Dataset(
        {
            "change": ((*dims, "quantile"), change, _ABOUT["change"]),
            "p_gain": (dims, gain, _ABOUT["p_gain"]),
            "both_tested": (dims, np.array(tested, dtype=bool).reshape(shape), _ABOUT["both_tested"]),
        },
        {"kind": kinds, "pair": [pair.label for pair in pairs], "seabed": seabeds, "quantile": list(BAND_90)},
    )


_ABOUT = {
    "change": about("1", "change of the chance, or of the share kept, with the feature against without"),
    "overall": about("1", "the change, mean over the seabeds"),
    "p_gain": about("1", "probability that the feature helps"),
    "contraction": about("1", "share of the prior's variance that the data took away"),
    "pairs_tested": about("1", "pairs of which both were tested so"),
    "both_tested": about("1", "whether both were tested so in this seabed"),
}


def _features(draws: Draws) -> list[str]:
    return draws.labels("feature") if draws.inputs.sizes["feature"] else []


def _change(draws: Draws, kind: str, feature: str) -> _Change:
    has = draws.inputs["has_feature"].sel(feature=feature, drop=True).astype(float)
    log, log_prior = (_log_effect(each, kind, feature) for each in (draws.posterior, draws.prior))
    carriers = has["anchor"][has.to_numpy() > 0] if bool((has > 0).any()) else has["anchor"]
    without = _own_scale(draws, kind, carriers) - has.sel(anchor=carriers) * log
    gain = _as_share(without + log, kind) - _as_share(without, kind)
    return _Change(gain.mean("anchor").transpose("sample", "seabed"), log, log_prior)


def _log_effect(draws: xr.Dataset, kind: str, feature: str) -> xr.DataArray:
    """Return a feature's effect on log odds, or on minus the log of what a turn costs: more is better."""
    one = draws.sel(feature=feature, drop=True)
    if kind == "veer_kept":
        # The model lets a feature cost the same in a turn everywhere.
        return (0.0 * one["set_feature_effect"] - one["turn_feature"]).transpose("sample", "seabed")
    effect = one["set_feature_effect"]
    if kind == "resets":
        effect = effect + one["again_feature_effect"]
    return effect.transpose("sample", "seabed")


def _own_scale(draws: Draws, kind: str, anchors: xr.DataArray) -> xr.DataArray:
    """Return log odds, or minus the log of what a turn costs, (sample, anchor, seabed) of some anchors."""
    posterior = draws.posterior[["turn" if kind == "veer_kept" else f"{kind}_log_odds"]].sel(anchor=anchors)
    if kind == "veer_kept":
        turn = posterior["turn"]
        return turn.copy(data=-np.log(turn.to_numpy()))
    return posterior[f"{kind}_log_odds"]


def _as_share(scale: xr.DataArray, kind: str) -> xr.DataArray:
    values = scale.to_numpy()
    return scale.copy(data=np.exp(-HALF_TURN * np.exp(-values)) if kind == "veer_kept" else expit(values))


def _difference(share: xr.DataArray, pair: Pair) -> xr.DataArray:
    first, second = (share.sel(anchor=anchor, drop=True) for anchor in (pair.with_it, pair.without))
    return (first - second).transpose("sample", "seabed")


def _both_tested(draws: Draws, kind: str, pair: Pair) -> xr.DataArray:
    number = counts(draws)[_TESTED_BY[kind]].sel(anchor=[pair.with_it, pair.without])
    return (number > 0).all("anchor")


def _pairs_tested(draws: Draws, answer: xr.Dataset) -> xr.DataArray:
    number = xr.zeros_like(answer["p_gain"], dtype=int).assign_attrs(_ABOUT["pairs_tested"])
    for pair in find_pairs(draws.fit):
        for kind in answer["kind"].to_numpy():
            both = _both_tested(draws, str(kind), pair)
            number.loc[{"kind": kind, "effect": pair.feature}] += both.astype(int).to_numpy()
    return number
