"""Whether an anchor digs in, whether it digs in again after a reversal, and what a turn of the load costs it.

    log odds of digging in [a, s] = typical + slope · strength[s] + cover[s] + seabed[s] + entry + capacity
                                    + form[f, s] + features[a, s] + design[d, s]
    log odds of digging in again  = log odds of digging in + shift + features'[a, s] + design'[d, s]
    log of what a turn costs      = typical + form[f, s] + features[a] + design[d, s]

*Entry* is the log of what penetration leaves of the capacity, times a slope: a tip that cannot break in does
not set.  *Capacity* is what the anchor's pulls show of its design, in spreads, times a slope that may be of
either sign.  The equations and why they are so stand in ``docs/model.md``.
"""

from collections.abc import Hashable, Mapping
from typing import NamedTuple

import pymc as pm
import pytensor.tensor as pt

from holdcast.capacity.model.blocks import effects, levelled_normal, variable
from holdcast.capacity.model.design_parts import Variances, variances_by_seabed
from holdcast.capacity.model.priors import Prior
from holdcast.capacity.model.seabed_likeness import alike_effects
from holdcast.capacity.model.setting_parts import SET_PARTS, again_variances, set_variances, turn_variances
from holdcast.capacity.symbols import Tensor

__all__ = ["Setting", "setting"]

_Data = Mapping[str, Tensor]
_Priors = Mapping[str, Prior]


class Setting(NamedTuple):
    """Tensors with dims (anchor, seabed); None for a kind of test that the log does not hold.

    Attributes
    ----------
    odds, odds_again : log odds of digging in, and again after a reversal of 180 degrees.
    turn : log of the load before a turn of 90 degrees over that after it [1].
    """

    odds: Tensor
    odds_again: Tensor | None
    turn: Tensor | None


def setting(
    data: _Data,
    priors: _Priors,
    sizes: Mapping[Hashable, int],
    *,
    strength: Tensor,
    entry: Tensor,
    own: Tensor,
) -> Setting:
    """Return the chances of setting of all anchors in all seabeds, as parts of the model at hand.

    Parameters
    ----------
    data : mapping of tensors
        ``form_of``, ``design_of``, ``has_feature``, ``has_cover``, ``set_weight``, ``alike_value``,
        ``alike_vector``.
    priors : mapping
        By name.
    sizes : mapping
        How many resets and veers there are.
    strength : tensor, dim seabed
        Strength index [1].
    entry : tensor, dims (anchor, seabed)
        Log of what penetration leaves of the capacity [1], at most 0.
    own : tensor, dims (anchor, seabed)
        What pulls show of design, traits and configuration, in spreads of designs [1].
    """
    cells = ("anchor", "seabed")
    odds = _odds(data, priors, strength, entry, own)
    pm.Deterministic("sets_log_odds", odds, dims=cells)
    again, turn = None, None
    if sizes["reset"]:
        again = odds + variable(priors, "again_shift") + _again(data, priors)
        pm.Deterministic("resets_log_odds", again, dims=cells)
    if sizes["veer"]:
        turn = pm.Deterministic("turn", pt.exp(_log_turn(data, priors)), dims=cells)
    return Setting(odds, again, turn)


def _odds(data: _Data, priors: _Priors, strength: Tensor, entry: Tensor, own: Tensor) -> Tensor:
    spread, share = variable(priors, "set_spread"), variable(priors, "set_share")
    of = set_variances({part: spread**2 * share[at] for at, part in enumerate(SET_PARTS)})
    seabed = effects("set_seabed", pt.sqrt(of.seabed), ("seabed",))
    pm.Deterministic("set_seabed_effect", seabed, dims="seabed")
    on_top = data["has_cover"] @ variable(priors, "cover_setting")
    without_typical = (
        (variable(priors, "set_strength_slope") * strength + on_top + seabed)[None, :]
        + variable(priors, "set_by_entry") * entry
        + variable(priors, "set_by_capacity") * own
        + _over_seabeds(data, "set_form", "form", of.form)[data["form_of"]]
        + _over_seabeds(data, "set_design", "design", of.design)[data["design_of"]]
        + _features(data, priors, "set")
    )
    prior = priors["set_typical"].parameters
    # The tests fix the mean over what was pulled, not the typical chance apart from what seabeds add to it.
    level = -(without_typical * data["set_weight"]).sum()
    return levelled_normal("set_typical", prior["mean"], prior["sd"], level) + without_typical


def _again(data: _Data, priors: _Priors) -> Tensor:
    of = again_variances(variable(priors, "again_spread") ** 2)
    apart = _over_seabeds(data, "again_design", "design", of)[data["design_of"]]
    return apart + _features(data, priors, "again")


def _log_turn(data: _Data, priors: _Priors) -> Tensor:
    of = turn_variances(variable(priors, "turn_spread") ** 2)
    return (
        pt.log(variable(priors, "turn_typical"))
        + _over_seabeds(data, "turn_form", "form", of)[data["form_of"]]
        + _over_seabeds(data, "turn_design", "design", of)[data["design_of"]]
        + (data["has_feature"] @ variable(priors, "turn_feature"))[:, None]
    )


def _features(data: _Data, priors: _Priors, kind: str) -> Tensor:
    """Return what features do to log odds, dims (anchor, seabed)."""
    of = variances_by_seabed(0.0, variable(priors, f"{kind}_feature_spread") ** 2)
    apart = _apart(data, f"{kind}_feature_seabed", "feature", of)
    effect = variable(priors, f"{kind}_feature_typical")[:, None] + apart
    pm.Deterministic(f"{kind}_feature_effect", effect, dims=("feature", "seabed"))
    return data["has_feature"] @ effect


def _over_seabeds(data: _Data, name: str, kind: str, of: Variances) -> Tensor:
    """Return effects of members of a kind, dims (kind, seabed), kept as ``{name}_effect``."""
    main = effects(f"{name}_main", pt.sqrt(of.main), (kind,))
    effect = main[:, None] + _apart(data, f"{name}_seabed", kind, of)
    return pm.Deterministic(f"{name}_effect", effect, dims=(kind, "seabed"))


def _apart(data: _Data, name: str, kind: str, of: Variances) -> Tensor:
    standard = effects(name, 1.0, (kind, "component"))
    return alike_effects(standard, data["alike_value"], data["alike_vector"], of.alike, of.own)
