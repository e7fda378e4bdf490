"""A campaign as labelled arrays: all that the model is told, in one Dataset."""

import numpy as np
import pandas as pd
import xarray as xr

from holdcast.campaign.records import Campaign
from holdcast.capacity.inputs.cover import cover_inputs
from holdcast.capacity.inputs.design_layout import design_layout
from holdcast.capacity.inputs.fluke_angles import angle_inputs
from holdcast.capacity.inputs.instruments import instrument_inputs
from holdcast.capacity.inputs.labels import positions
from holdcast.capacity.inputs.level_weights import level_weights
from holdcast.capacity.inputs.likeness import alike_kernel, kernel_parts
from holdcast.capacity.inputs.loads import LEAST_LOAD_N, loads_at_anchor, used_pulls, used_tests
from holdcast.capacity.inputs.lone_spots import lone_spot_inputs
from holdcast.capacity.inputs.missing_measurements import fill_in
from holdcast.capacity.inputs.setting_tests import (
    reset_inputs,
    setting_of,
    spot_inputs,
    spots_of,
    veer_inputs,
    visits_of,
)
from holdcast.capacity.likelihood.kinds import ABOVE, BELOW, BETWEEN, EXACT, UNREAD
from holdcast.physics.ground.strength_index import strength_index
from holdcast.physics.size import AREA_EXPONENT, REFERENCE_MASS_KG, log_area_excess

__all__ = ["REFERENCE_AREA_M2", "anchor_inputs", "lay_out", "seabed_inputs", "trial_ends"]

REFERENCE_AREA_M2 = 0.017 * REFERENCE_MASS_KG**AREA_EXPONENT
"""Fluke area of a typical 10 kg anchor [m²]: 0.013 to 0.022 m² per kg^(2/3) (value from memory)."""
_TIP_FRACTION = (np.log(0.27), 0.35)
"""Log tip fraction: fractions run from about 0.12 to 0.50 (common practice, no source)."""
_AREA = (np.log(0.017), 0.3)
"""Log fluke area over mass^(2/3) [m², kg]; same source as `REFERENCE_AREA_M2`."""


def lay_out(campaign: Campaign) -> xr.Dataset:
    """Return what the model is told of a campaign.

    Returns
    -------
    Dataset
        Dims anchor, design, seabed, form, feature, angle_ground, cover, soil, visit, trial and component (of
        the likeness of seabeds); see :func:`anchor_inputs`, :func:`seabed_inputs`,
        :func:`holdcast.capacity.inputs.fluke_angles.angle_inputs`,
        :func:`holdcast.capacity.inputs.cover.cover_inputs` and :func:`trial_ends`.  Positions
        (``design_of`` and the like) were looked up by label.

    Raises
    ------
    KeyError
        When a label is not known.
    """
    anchors, seabeds = anchor_inputs(campaign.anchors), seabed_inputs(campaign.seabeds)
    designs = list(dict.fromkeys(campaign.anchors["design"]))
    forms = list(dict.fromkeys(campaign.anchors["form"]))
    soils = list(dict.fromkeys(campaign.seabeds["soil"]))
    pulls = used_pulls(campaign)
    visits = list(dict.fromkeys(visits_of(used_tests(campaign))))
    spots = spot_inputs(campaign, visits, list(spots_of(pulls)))
    angles = angle_inputs(campaign.anchors, list(campaign.seabeds["soil"]), seabeds)
    seabeds = seabeds.merge(cover_inputs(campaign.seabeds))
    inputs = xr.merge([anchors, angles, seabeds, spots, trial_ends(loads_at_anchor(campaign, pulls))])
    inputs = inputs.assign_coords(design=designs, form=forms, soil=soils, visit=visits)
    inputs = inputs.assign(
        design_of=("anchor", positions(campaign.anchors["design"], designs, "design")),
        form_of=("anchor", positions(campaign.anchors["form"], forms, "form")),
        soil_of=("seabed", positions(campaign.seabeds["soil"], soils, "soil")),
        anchor_of=("trial", positions(pulls["anchor"], list(campaign.anchors.index), "anchor")),
        seabed_of=("trial", positions(pulls["seabed"], list(campaign.seabeds.index), "seabed")),
        visit_of=("trial", positions(visits_of(pulls), visits, "visit")),
    )
    inputs = inputs.assign(
        spot_of=("trial", positions(spots_of(pulls), list(inputs["spot"].to_numpy()), "spot")),
        setting=("trial", setting_of(pulls)),
    )
    inputs = inputs.merge(instrument_inputs(campaign, list(inputs["spot"].to_numpy())))
    inputs = inputs.merge(design_layout(inputs["design_of"].to_numpy()))
    inputs = inputs.merge(reset_inputs(campaign, inputs)).merge(veer_inputs(campaign, inputs))
    inputs = inputs.merge(lone_spot_inputs(inputs))
    return inputs.assign(level_weights(inputs, np.ones(len(pulls), dtype=bool)))


def anchor_inputs(anchors: pd.DataFrame) -> xr.Dataset:
    """Return the measurements of anchors on the scales of the model.

    Returns
    -------
    Dataset, dims (anchor, feature)
        ``log_mass_ratio``; ``log_tip_load`` [log kg] and ``log_area_excess`` with their spreads (0 where
        measured); ``has_feature`` (1 or 0) over the features that some anchor has.
    """
    mass = anchors["mass_kg"].to_numpy(dtype=float)
    log_mass = np.log(mass / REFERENCE_MASS_KG)
    kind = anchors["design"].to_numpy(dtype=str), anchors["form"].to_numpy(dtype=str)
    fraction = fill_in(np.log(anchors["tip_load_kg"].to_numpy(dtype=float) / mass), *kind, *_TIP_FRACTION)
    area = anchors["fluke_area_m2"].to_numpy(dtype=float)
    shape = fill_in(np.log(area / mass**AREA_EXPONENT), *kind, *_AREA)
    log_area = shape.mean + AREA_EXPONENT * np.log(mass)
    flags = [column for column in anchors if str(column).startswith("flag_") and anchors[column].any()]
    return xr.Dataset(
        {
            "log_mass_ratio": ("anchor", log_mass),
            "log_tip_load": ("anchor", fraction.mean + np.log(mass)),
            "log_tip_load_spread": ("anchor", fraction.sd),
            "log_area_excess": ("anchor", log_area_excess(log_area, log_mass, np.log(REFERENCE_AREA_M2))),
            "log_area_excess_spread": ("anchor", shape.sd),
            "has_feature": (("anchor", "feature"), anchors[flags].to_numpy(dtype=float)),
        },
        coords={
            "anchor": list(anchors.index),
            "feature": [str(flag).removeprefix("flag_") for flag in flags],
        },
    )


def seabed_inputs(seabeds: pd.DataFrame) -> xr.Dataset:
    """Return the strength index of seabeds with its spread, and how alike they are.

    Returns
    -------
    Dataset, dims (seabed, component)
        ``strength_index``, ``strength_index_spread`` [1]; ``alike_value`` (component) and ``alike_vector``
        (seabed, component), see :func:`holdcast.capacity.inputs.likeness.kernel_parts`.
    """
    pairs = [_strength(row) for _, row in seabeds.iterrows()]
    mean, spread = np.array(pairs, dtype=float).reshape(-1, 2).T
    value, vector = kernel_parts(alike_kernel(mean, list(seabeds["soil"])))
    return xr.Dataset(
        {
            "strength_index": ("seabed", mean),
            "strength_index_spread": ("seabed", spread),
            "alike_value": ("component", value),
            "alike_vector": (("seabed", "component"), vector),
        },
        coords={"seabed": list(seabeds.index), "component": np.arange(len(mean))},
    )


def _strength(row: pd.Series) -> tuple[float, float]:
    # Rock has no strength classes; a word given all the same was doubted when the campaign was read.
    return strength_index(
        str(row["soil"]),
        "" if row["soil"] == "rock" else str(row["strength"]),
        str(row["strength_scheme"]) or "iso_14688_2",
        strength_basis=str(row["strength_basis"]),
        undrained_strength_kpa=float(row["undrained_strength_kpa"]),
        friction_angle_deg=float(row["friction_angle_deg"]),
    )


def trial_ends(loads: pd.DataFrame) -> xr.Dataset:
    """Return the ends of each pull's log load, its kind, and what its corrections need.

    Returns
    -------
    Dataset, dim trial
        ``lower``, ``upper`` [log N], finite (an open end repeats the other); ``kind``, see
        :mod:`holdcast.capacity.likelihood.interval`; ``fall_lower``, ``fall_upper``, ``fall_slope`` [1];
        ``speed`` [m/s]; ``rode_known``: whether the rode's geometry was given.
    """
    lower_n, upper_n = loads["lower_n"].to_numpy(), loads["upper_n"].to_numpy()
    open_below, open_above = lower_n < LEAST_LOAD_N, np.isinf(upper_n)
    unread = open_below & open_above
    kind = np.select(
        [unread, open_below, open_above, lower_n == upper_n], [UNREAD, BELOW, ABOVE, EXACT], BETWEEN
    )
    lower_n = np.where(unread, LEAST_LOAD_N, lower_n)
    upper_n = np.where(unread, LEAST_LOAD_N, upper_n)
    lower, upper = np.where(open_below, upper_n, lower_n), np.where(open_above, lower_n, upper_n)
    columns = ("fall_lower", "fall_upper", "fall_slope", "speed")
    return xr.Dataset(
        {
            "rode_known": ("trial", loads["rode_known"].to_numpy(dtype=bool)),
            "lower": ("trial", np.log(lower)),
            "upper": ("trial", np.log(upper)),
            "kind": ("trial", kind.astype(np.int64)),
            **{name: ("trial", loads[name].to_numpy()) for name in columns},
        },
        coords={"trial": list(loads.index)},
    )
