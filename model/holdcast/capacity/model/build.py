"""The capacity model: from labelled inputs and priors to a PyMC model.

    log capacity[a, s] = ground[s] + size + area + penetration + form[f, s] + features[a, s]
                         + angle[a, s] + design[d, s] + traits[d, s] + configuration[a, s]
    log load of a pull that set = log capacity + visit + spot + scatter (Student t, 4 degrees of freedom),
    a spot's number holding the error of the instrument that read it; spots of one pull are summed over

Whether it sets, sets again and what a turn of the load costs stand in :mod:`.setting`.
The equations and why they are so stand in ``docs/model.md``; the priors in ``docs/priors.md``.
"""

from collections.abc import Hashable, Mapping
from dataclasses import dataclass

import numpy as np
import pymc as pm
import pytensor.tensor as pt
import xarray as xr

from holdcast.capacity.likelihood.kinds import DEGREES_OF_FREEDOM
from holdcast.capacity.likelihood.log_likelihoods import TESTS, log_likelihood_of
from holdcast.capacity.likelihood.pull_loop import ALONE
from holdcast.capacity.model.blocks import effects, levelled_normal, variable
from holdcast.capacity.model.design_parts import PARTS, TRAITS, design_variances, variances_by_seabed
from holdcast.capacity.model.design_split import ANCHOR_EFFECT
from holdcast.capacity.model.designs import from_means_and_contrasts
from holdcast.capacity.model.priors import Prior
from holdcast.capacity.model.seabed_likeness import alike_effects
from holdcast.capacity.model.setting import setting
from holdcast.capacity.model.setting_parts import SET_PARTS
from holdcast.capacity.model.traits import trait_loadings
from holdcast.capacity.symbols import Tensor
from holdcast.physics.ground.penetration import log_penetration_factor
from holdcast.physics.size import log_size_factor

__all__ = ["build_model"]

_Data = Mapping[str, Tensor]


@dataclass(frozen=True)
class _Ground:
    """What seabeds bring, tensors with dim seabed: what soil and strength let expect, and strength."""

    expected: Tensor
    strength: Tensor


def build_model(inputs: xr.Dataset, priors: Mapping[str, Prior], *, penetration: bool = True) -> pm.Model:
    """Return the model of a campaign.

    Parameters
    ----------
    inputs : Dataset
        As made by :func:`holdcast.capacity.inputs.layout.lay_out`.
    priors : mapping
        As made by :func:`holdcast.capacity.model.priors.with_overrides`.
    penetration : bool
        False leaves the penetration limit out: for judging what that term is worth on a campaign.

    Returns
    -------
    pymc.Model
        With ``log_capacity`` [log N], dims (anchor, seabed), and ``log_load`` [log N], dim trial, observed:
        its log probability is one number for all pulls; :mod:`holdcast.capacity.pointwise.pulls` gives
        each.
    """
    coords = {str(dim): inputs[dim].to_numpy() for dim in inputs.dims}
    with pm.Model(
        coords={**coords, "part": list(PARTS), "set_part": list(SET_PARTS), "trait": list(TRAITS)}
    ) as model:
        data = {
            str(name): pm.Data(str(name), values.to_numpy(), dims=tuple(map(str, values.dims)))
            for name, values in inputs.data_vars.items()
            if values.dtype != bool
        }
        ground = _ground(data, priors)
        spread = variable(priors, "design_spread")
        design = _design(data, priors, spread, model.dim_lengths["design"])
        without_ground = _size(data, priors) + design
        entry = _penetration(data, priors, ground.strength) if penetration else pt.zeros_like(without_ground)
        without_ground = without_ground + entry
        # No branch for a campaign without features, angles or covers: the dim has length 0, the code is one.
        without_ground = without_ground + _features(data, priors) + _fluke_angle(data, priors)
        without_ground = without_ground + _form(data, priors, without_ground)
        moving = _circumstances(data, priors, inputs)
        level = _level(data, without_ground, moving)
        own = _own_ground(priors, ground.expected, level)
        capacity = pm.Deterministic("log_capacity", own[None, :] + without_ground, dims=("anchor", "seabed"))
        sets = setting(data, priors, inputs.sizes, strength=ground.strength, entry=entry, own=design / spread)
        _observe(data, {**moving, "capacity": capacity, **sets._asdict()}, inputs.sizes)
    return model


def _ground(data: _Data, priors: Mapping[str, Prior]) -> _Ground:
    """Return what soil and strength class add to the typical ground, and the strength of each seabed."""
    inside = pm.Normal("strength_z", 0.0, 1.0, dims="seabed")
    strength = pm.Deterministic(
        "strength", data["strength_index"] + data["strength_index_spread"] * inside, dims="seabed"
    )
    soil = variable(priors, "ground_soil")[data["soil_of"]]
    return _Ground(soil + variable(priors, "ground_strength_slope") * strength, strength)


def _own_ground(priors: Mapping[str, Prior], expected: Tensor, level: Tensor) -> Tensor:
    """Return the ground of each seabed, given the level of everything else there, dim seabed."""
    # The data fix the sum of ground and level in each seabed that was pulled, and so their mean.
    typical = _typical(priors, "ground_typical", expected + level)
    return levelled_normal("ground", typical + expected, variable(priors, "ground_spread"), -level, "seabed")


def _typical(priors: Mapping[str, Prior], name: str, others: Tensor) -> Tensor:
    """Return a typical value over seabeds, which the sampler sees with the mean of the rest added.

    Seabeds without pulls count too: of them nothing is known that would do better.
    """
    prior = priors[name].parameters
    return levelled_normal(name, prior["mean"], prior["sd"], -others.mean())


def _size(data: _Data, priors: Mapping[str, Prior]) -> Tensor:
    """Return what mass and fluke area do, dims (anchor, seabed)."""
    exponent = variable(priors, "size_exponent") + variable(priors, "size_exponent_deviation")
    area = variable(priors, "area_exponent") * _measured(data, "log_area_excess")
    return log_size_factor(data["log_mass_ratio"][:, None], exponent[None, :]) + area[:, None]


def _penetration(data: _Data, priors: Mapping[str, Prior], strength: Tensor) -> Tensor:
    """Return what is lost where the tip load is small for the ground, dims (anchor, seabed)."""
    soil = variable(priors, "resistance_soil")[data["soil_of"]]
    on_top = data["has_cover"] @ variable(priors, "cover_resistance")
    by_kind = soil + variable(priors, "resistance_strength_slope") * strength + on_top
    expected = _typical(priors, "resistance_typical", by_kind) + by_kind
    own = priors["resistance_deviation"].parameters
    # The data fix the resistance of a seabed, not what it is made up of: so that is what the sampler moves.
    deviation = levelled_normal("resistance_deviation", own["mean"], own["sd"], -expected, "seabed")
    resistance = pm.Deterministic("log_resistance", expected + deviation, dims="seabed")
    return log_penetration_factor(
        _measured(data, "log_tip_load")[:, None],
        data["log_mass_ratio"][:, None],
        resistance[None, :],
        variable(priors, "penetration_steepness"),
        variable(priors, "tip_growth"),
    )


def _measured(data: _Data, name: str) -> Tensor:
    """Return a measurement; where it was not made (spread above 0) it is an unknown."""
    value = data[name] + effects(name, data[f"{name}_spread"], ("anchor",))
    return pm.Deterministic(f"anchor_{name}", value, dims="anchor")


def _by_seabed(data: _Data, priors: Mapping[str, Prior], kind: str) -> Tensor:
    """Return what members of a kind (form, feature) have by seabed, dims (kind, seabed)."""
    scaled = effects(f"{kind}_seabed", variable(priors, f"{kind}_seabed_spread"), (kind, "component"))
    _, alike, own = variances_by_seabed(0.0, 1.0)
    return alike_effects(scaled, data["alike_value"], data["alike_vector"], alike, own)


def _form(data: _Data, priors: Mapping[str, Prior], others: Tensor) -> Tensor:
    """Return effects of forms, given the rest of log capacity but the ground, dims (anchor, seabed)."""
    apart = _by_seabed(data, priors, "form")
    others = others + apart[data["form_of"]]
    weight = data["form_weight"]
    level = weight.reshape((weight.shape[0], -1)) @ others.ravel()
    spread = variable(priors, "form_spread")
    # What all forms have in common the ground takes up, since it is levelled too.
    main = levelled_normal("form_typical", 0.0, spread, -level, "form", mean_apart=True)
    by_seabed = main[:, None] + apart
    return pm.Deterministic("form_effect", by_seabed, dims=("form", "seabed"))[data["form_of"]]


def _features(data: _Data, priors: Mapping[str, Prior]) -> Tensor:
    apart = _by_seabed(data, priors, "feature")
    own = priors["feature_typical"].parameters
    # The data fix what a feature does on average over the campaign's seabeds, which its own deviations move.
    main = levelled_normal("feature_typical", own["mean"], own["sd"], -apart.mean(axis=1), "feature")
    effect = pm.Deterministic("feature_effect", main[:, None] + apart, dims=("feature", "seabed"))
    return data["has_feature"] @ effect


def _fluke_angle(data: _Data, priors: Mapping[str, Prior]) -> Tensor:
    """Return what a fluke steeper than others of its design does, dims (anchor, seabed)."""
    parts = variable(priors, "fluke_angle_deviation")
    slope = data["fluke_angle_expected"] + data["fluke_angle_mixture"] @ parts
    slope = pm.Deterministic("fluke_angle_slope", slope, dims="angle_ground")
    return data["fluke_angle_steps"][:, None] * (slope @ data["angle_ground_share"])[None, :]


def _design(data: _Data, priors: Mapping[str, Prior], total: Tensor, designs: Tensor) -> Tensor:
    """Return the effects of designs, of their hidden traits and configurations, dims (anchor, seabed).

    One total spread, shared out over six parts.
    """
    share = variable(priors, "design_share")
    design, configuration, trait = design_variances({part: share[at] for at, part in enumerate(PARTS)})
    number = data["anchors_in_mean"][:, None]
    everywhere = pt.sqrt(number * design.main + configuration.main) * data["alike_vector"].sum(axis=0)
    loadings = trait_loadings(data, total, trait)
    rows = alike_effects(
        effects("anchor_seabed", total, ("anchor", "component")),
        data["alike_value"],
        data["alike_vector"],
        number * design.alike + configuration.alike,
        number * design.own + configuration.own,
        [everywhere, *(pt.sqrt(number) * loading for loading in loadings)],
    )
    whole = from_means_and_contrasts(rows, data["design_mirror"], data["design_of"], designs)
    return pm.Deterministic(ANCHOR_EFFECT, whole, dims=("anchor", "seabed"))


def _level(data: _Data, without_ground: Tensor, moving: Mapping[str, Tensor]) -> Tensor:
    """Return the mean of everything but the ground over the pulls in each seabed: what the data fix best."""
    pulls = (without_ground * data["pull_weight"]).sum(axis=0)
    read = moving["visit"] @ data["visit_weight"] + moving["error"] @ data["instrument_weight"]
    return pulls + read - moving["fall"] * data["mean_fall"]


def _circumstances(data: _Data, priors: Mapping[str, Prior], inputs: xr.Dataset) -> dict[str, Tensor]:
    """Return what moves a reading beside anchor and ground, by the names of the likelihoods' effects."""
    visit = effects("visit", variable(priors, "visit_spread"), ("visit",))
    error = effects("instrument", data["instrument_error_sd"], ("instrument",))
    pm.Deterministic("instrument_error", error, dims="instrument")
    # Readings of a spot move together by its instrument's error, so the two stand in one number; what else
    # the spot of a single pull does is summed over in its likelihood.
    spot_spread = variable(priors, "spot_spread")
    shared = effects("spot", spot_spread, ("shared_spot",))
    spot = pt.inc_subtensor((data["instrument_share"] @ error)[data["shared_spot_at"]], shared)
    pm.Deterministic("visit_effect", visit, dims="visit")
    pm.Deterministic("spot_effect", spot[data["shared_spot_at"]], dims="shared_spot")
    typical = pt.log(variable(priors, "pull_scatter_typical"))
    deviation = priors["pull_scatter_deviation"].parameters
    # Centred: every seabed has enough pulls to fix its own scatter.
    log_scatter = pm.Normal("log_pull_scatter", typical + deviation["mean"], deviation["sd"], dims="seabed")
    rates = [priors[f"rate_per_decade_{soil}"].parameters for soil in inputs["soil"].to_numpy()]
    rate = pm.LogNormal(
        "rate_per_decade",
        np.log([each["median"] for each in rates]),
        np.array([each["log_sd"] for each in rates]),
        dims="soil",
    )
    return {
        "visit": visit,
        "spot": spot,
        "spot_spread": spot_spread,
        "error": error,
        "scatter": pm.Deterministic("pull_scatter", pt.exp(log_scatter), dims="seabed"),
        "fall": variable(priors, "strength_of_fall"),
        "rate": rate[data["soil_of"]],
        "concentration": variable(priors, "set_concentration"),
        "sliding": pt.log(variable(priors, "sliding_efficiency")) + data["log_weight"],
        "sliding_scatter": variable(priors, "sliding_scatter"),
    }


def _observe(data: _Data, moving: Mapping[str, Tensor], sizes: Mapping[Hashable, int]) -> None:
    """Add what was observed: pulls as a distribution, resets and veers as terms of the log density."""
    pulls = TESTS["pull"]
    inputs = [*(moving[name] for name in pulls.effects), *(data[name] for name in pulls.columns)]
    pm.CustomDist(
        "log_load",
        *inputs,
        data["anchor_of"],
        data["seabed_of"],
        data["spot_of"],
        dist=_scatter,
        logp=_log_likelihood,
        observed=data["upper"],
        dims="trial",
    )
    for test in ("reset", "veer"):
        if sizes[test]:
            pm.Potential(f"{test}s", log_likelihood_of(test, moving, data))


def _scatter(*inputs: Tensor) -> Tensor:
    """Return loads of pulls that set, at reference conditions: fall and rate move readings, not loads."""
    *numbers, anchor_of, seabed_of, spot_of, size = inputs
    pulls = TESTS["pull"]
    values = dict(zip((*pulls.effects, *pulls.columns), numbers, strict=True))
    visit_of = values["spot_visit"][spot_of]
    location = values["capacity"][anchor_of, seabed_of] + values["visit"][visit_of] + values["spot"][spot_of]
    location = location + pm.Normal.dist(0.0, (values["spot_spread"] * values[ALONE])[spot_of])
    spread = values["scatter"][seabed_of]
    return pm.StudentT.dist(nu=DEGREES_OF_FREEDOM, mu=location, sigma=spread, size=size)


def _log_likelihood(value: Tensor, *inputs: Tensor) -> Tensor:
    """Return the log likelihood of all pulls in one number: what is observed stands in the columns."""
    pulls = TESTS["pull"]
    values = dict(zip((*pulls.effects, *pulls.columns), inputs[:-3], strict=True))
    return log_likelihood_of("pull", values, values)
