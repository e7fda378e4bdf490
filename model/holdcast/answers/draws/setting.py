"""The chance that an anchor digs in and what it slides at if it does not, draw by draw; known and new alike.

The sum is the model's own (:mod:`holdcast.capacity.model.setting`), effect by effect.
"""

from collections.abc import Sequence

import numpy as np
import xarray as xr

from holdcast.answers.draws.anchors import AnchorDraws, Effect, effect_of
from holdcast.answers.draws.capacity import log_entry
from holdcast.answers.draws.draws import Draws, Floats
from holdcast.answers.draws.log_odds import expit
from holdcast.answers.draws.seabeds import SeabedDraws, effect_in
from holdcast.capacity.model.design_parts import variances_by_seabed
from holdcast.capacity.model.setting_parts import again_variances, set_variances, turn_variances
from holdcast.physics.units import GRAVITY

__all__ = [
    "HALF_TURN",
    "KINDS",
    "chance_of_setting",
    "chance_of_setting_again",
    "chances_of_setting",
    "log_odds_without_entry",
    "log_sliding_load",
    "setting_of_new",
    "setting_shares",
    "share_kept",
]

KINDS = ("sets", "resets", "veer_kept")
"""What is told beside capacity: digging in, digging in again after a reversal of 180 degrees, and the share
of a straight pull's capacity that is left after a turn of 180 degrees under load."""
HALF_TURN = 2.0
"""In quarter turns, by which a turn under load is counted."""


def chance_of_setting(
    draws: Draws, anchor: AnchorDraws, seabed: SeabedDraws, mass_kg: Floats | float | None = None
) -> Floats:
    """Return the chance that the anchor of a new pull digs in, shape (sample,).

    Parameters
    ----------
    draws : Draws
    anchor, seabed : AnchorDraws, SeabedDraws
        Known or new.
    mass_kg : number or array, optional
        Another mass of the same shape [kg]; broadcasts with (sample,).  Only the tip's breaking in depends on
        it.
    """
    if mass_kg is None and anchor.at is not None and seabed.at is not None:
        return np.asarray(expit(draws["sets_log_odds"][:, anchor.at, seabed.at]))
    mass = anchor.mass_kg if mass_kg is None else mass_kg
    entry = draws["set_by_entry"] * log_entry(draws, anchor, seabed, mass)
    return np.asarray(expit(log_odds_without_entry(draws, anchor, seabed) + entry))


def chance_of_setting_again(draws: Draws, anchor: AnchorDraws, seabed: SeabedDraws) -> Floats | None:
    """Return the chance that it digs in again after a reversal of 180 degrees, shape (sample,).

    None where the log holds no reset.
    """
    if "resets_log_odds" not in draws:
        return None
    if anchor.at is not None and seabed.at is not None:
        return np.asarray(expit(draws["resets_log_odds"][:, anchor.at, seabed.at]))
    spread = again_variances(draws["again_spread"] ** 2)
    effects = [
        effect_of(draws, "again_design", "design", anchor.design, np.zeros(draws.samples), spread),
        *_features(draws, "again", anchor.features),
    ]
    entry = draws["set_by_entry"] * log_entry(draws, anchor, seabed, anchor.mass_kg)
    odds = log_odds_without_entry(draws, anchor, seabed) + entry + draws["again_shift"]
    return np.asarray(expit(odds + _sum(draws, effects, seabed)))


def share_kept(draws: Draws, anchor: AnchorDraws, seabed: SeabedDraws) -> Floats | None:
    """Return the share of a straight pull's capacity left after a turn of 180 degrees, shape (sample,).

    None where the log holds no veer.
    """
    if "turn" not in draws:
        return None
    if anchor.at is not None and seabed.at is not None:
        return np.asarray(np.exp(-HALF_TURN * draws["turn"][:, anchor.at, seabed.at]))
    spread, none = turn_variances(draws["turn_spread"] ** 2), np.zeros(draws.samples)
    effects = [
        effect_of(draws, "turn_form", "form", anchor.form, none, spread),
        effect_of(draws, "turn_design", "design", anchor.design, none, spread),
    ]
    log_turn = np.log(draws["turn_typical"]) + _sum(draws, effects, seabed)
    for feature in anchor.features:
        log_turn = log_turn + _typical(draws, "turn_feature", feature)
    return np.asarray(np.exp(-HALF_TURN * np.exp(log_turn)))


def setting_of_new(
    draws: Draws, anchor: AnchorDraws, seabed: SeabedDraws, sets: Floats | None = None
) -> dict[str, Floats]:
    """Return draws (sample,) of each of `KINDS` that the log holds tests of, for any anchor and seabed.

    ``sets`` are those of :func:`chance_of_setting`, where they are at hand.
    """
    shares = {
        "sets": chance_of_setting(draws, anchor, seabed) if sets is None else sets,
        "resets": chance_of_setting_again(draws, anchor, seabed),
        "veer_kept": share_kept(draws, anchor, seabed),
    }
    return {kind: values for kind, values in shares.items() if values is not None}


def chances_of_setting(draws: Draws) -> xr.DataArray:
    """Return the chance that each anchor of the fit digs in in each seabed, dims (sample, anchor, seabed)."""
    log_odds = draws.posterior["sets_log_odds"]
    return log_odds.copy(data=expit(log_odds.to_numpy()))


def setting_shares(draws: Draws) -> dict[str, xr.DataArray]:
    """Return of each of `KINDS` that the log holds tests of the draws [1], dims (sample, anchor, seabed)."""
    return dict(draws.once("setting shares", lambda: _setting_shares(draws)))


def _setting_shares(draws: Draws) -> dict[str, xr.DataArray]:
    posterior = draws.posterior
    shares = {"sets": chances_of_setting(draws)}
    if "resets_log_odds" in posterior:
        log_odds = posterior["resets_log_odds"]
        shares["resets"] = log_odds.copy(data=expit(log_odds.to_numpy()))
    if "turn" in posterior:
        turn = posterior["turn"]
        shares["veer_kept"] = turn.copy(data=np.exp(-HALF_TURN * turn.to_numpy()))
    return shares


def log_sliding_load(draws: Draws, mass_kg: Floats | float) -> Floats:
    """Return the middle of the log load at which an anchor slides that has not set [log N]."""
    return np.asarray(np.log(draws["sliding_efficiency"]) + np.log(np.asarray(mass_kg) * GRAVITY))


def log_odds_without_entry(draws: Draws, anchor: AnchorDraws, seabed: SeabedDraws) -> Floats:
    """Return the log odds of digging in but for the tip's breaking in, shape (sample,)."""
    shares = draws["set_share"] * draws["set_spread"][:, None] ** 2
    of = set_variances(dict(zip(draws.labels("set_part"), shares.T, strict=True)))
    none = np.zeros(draws.samples)
    effects = [
        effect_of(draws, "set_form", "form", anchor.form, none, of.form),
        effect_of(draws, "set_design", "design", anchor.design, none, of.design),
        *_features(draws, "set", anchor.features),
    ]
    own = [anchor.configuration, *(each for each in anchor.effects if each.of_design)]
    return np.asarray(
        draws["set_typical"]
        + draws["set_strength_slope"] * seabed.strength
        + seabed.set_deviation
        + draws["set_by_capacity"] * _sum(draws, own, seabed) / draws["design_spread"]
        + _sum(draws, effects, seabed)
    )


def _features(draws: Draws, kind: str, features: Sequence[str]) -> list[Effect]:
    spread = variances_by_seabed(np.zeros(draws.samples), draws[f"{kind}_feature_spread"] ** 2)
    name = f"{kind}_feature"
    return [
        effect_of(draws, name, "feature", each, _typical(draws, f"{name}_typical", each), spread)
        for each in features
    ]


def _typical(draws: Draws, name: str, feature: str) -> Floats:
    """Return what a feature does everywhere; of one that no anchor of the fit has, as its prior says."""
    if feature in draws.labels("feature"):
        return draws[name][:, draws.place("feature", feature)]
    prior = draws.priors[name]
    return prior["mean"] + prior["sd"] * draws.normals("feature", feature, name)


def _sum(draws: Draws, effects: Sequence[Effect], seabed: SeabedDraws) -> Floats:
    total = np.zeros(draws.samples)
    for effect in effects:
        total = total + effect.amount * effect_in(draws, effect, seabed)
    return total
