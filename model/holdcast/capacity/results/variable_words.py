"""What each variable of a fit is, in words and units, for whoever opens ``posterior.nc`` with other tools.

Units are written as UDUNITS writes them, so that tools of the NetCDF conventions can read them:
``ln(re 1 N)`` is the natural logarithm of a load over one newton.
"""

from collections.abc import Mapping

import xarray as xr

__all__ = ["LOG_NEWTON", "described"]

LOG_NEWTON, _LOG_KILOGRAM, _NONE = "ln(re 1 N)", "ln(re 1 kg)", "1"

_WORDS: Mapping[str, str] = {
    # capacity
    "log_capacity": "log capacity: median load, over visits, at which a pull that set breaks out",
    "ground_typical": "log capacity of a typical 10 kg anchor in typical ground",
    "ground_soil": "effect of the soil on log capacity",
    "ground_strength_slope": "change of log capacity with one step of the strength index",
    "ground_spread": "spread of seabeds' own ground about soil and strength",
    "ground": "log capacity of a typical 10 kg anchor in this seabed",
    "strength": "strength index of the seabed",
    "size_exponent": "exponent of mass at a fixed geometry",
    "size_exponent_deviation": "deviation of the exponent of mass in this seabed",
    "area_exponent": "exponent of fluke area beyond geometric similarity",
    "resistance_typical": "log tip load that halves the capacity of a 10 kg anchor, typical",
    "resistance_soil": "effect of the soil on the log resistance to penetration",
    "resistance_strength_slope": "change of the log resistance with one step of the strength index",
    "cover_resistance": "effect of what lies on top on the log resistance to penetration",
    "resistance_deviation": "deviation of the seabed's log resistance",
    "log_resistance": "log tip load that halves the capacity of a 10 kg anchor in this seabed",
    "penetration_steepness": "power with which capacity is lost where the tip cannot break in",
    "tip_growth": "power of mass with which the section of the tip grows",
    "form_spread": "spread of forms' effects on log capacity",
    "form_seabed_spread": "spread of forms' effects by seabed",
    "form_typical": "effect of the form on log capacity over all seabeds",
    "form_effect": "effect of the form on log capacity in this seabed",
    "feature_typical": "effect of the feature on log capacity over all seabeds",
    "feature_seabed_spread": "spread of features' effects by seabed",
    "feature_effect": "effect of the feature on log capacity in this seabed",
    "fluke_angle_deviation": "independent part of a steeper fluke's effect beyond what is expected",
    "fluke_angle_slope": "effect of a fluke 15 degrees steeper on log capacity in this kind of ground",
    "design_spread": "total spread of designs' effects on log capacity in one seabed",
    "design_share": "share of the variance of designs' effects",
    "design_effect": "effect of the design on log capacity, traits apart",
    "configuration_effect": "what sets this size and set of parts apart from its design",
    "trait_loading": "what a seabed makes of a hidden trait",
    "trait_score": "how much of a hidden trait a design has",
    "trait_effect": "effect of the design's hidden traits on log capacity",
    "anchor_log_tip_load": "log tip load of the anchor",
    "anchor_log_area_excess": "log fluke area over that of a typical anchor of its mass",
    # readings
    "visit_spread": "spread of visits on log load",
    "visit_effect": "effect of the visit on log load",
    "spot_spread": "spread of spots of a visit on log load",
    "spot_effect": "effect on log load of a spot of more than one test, its instrument's error included",
    "instrument_error": "log of reading over load of the instrument",
    "pull_scatter_typical": "scale of the scatter of pulls, typical",
    "log_pull_scatter": "log scale of the scatter of pulls in this seabed",
    "pull_scatter": "scale of the scatter of pulls in this seabed",
    "rate_per_decade": "share by which a reading rises for a tenfold drag speed",
    "strength_of_fall": "strength of the fall of capacity with uplift",
    "log_load": "log load at which a pull lets go",
    # setting
    "set_typical": "log odds that a typical pull sets",
    "set_strength_slope": "change of the log odds of setting with one step of the strength index",
    "set_by_entry": "slope of the log odds of setting on what penetration leaves of log capacity",
    "set_by_capacity": "slope of the log odds of setting on what pulls show of the design",
    "set_spread": "total spread of the log odds of setting",
    "set_share": "share of the variance of the log odds of setting",
    "set_concentration": "concentration of a visit's chances about the cell's",
    "cover_setting": "effect of what lies on top on the log odds of setting",
    "set_seabed_effect": "effect of the seabed on the log odds of setting",
    "set_form_effect": "effect of the form on the log odds of setting",
    "set_design_effect": "effect of the design on the log odds of setting",
    "set_feature_typical": "effect of the feature on the log odds of setting over all seabeds",
    "set_feature_spread": "spread of features' effects on the log odds of setting by seabed",
    "set_feature_effect": "effect of the feature on the log odds of setting in this seabed",
    "sets_log_odds": "log odds that the anchor of a new pull digs in",
    "sliding_efficiency": "load at which an anchor that did not set slides, over its weight",
    "sliding_scatter": "spread of the log load at which an anchor that did not set slides",
    "had_set": "chance that this pull's anchor had set, given all readings",
    # setting again, and turns
    "again_shift": "change of the log odds of digging in after a reversal",
    "again_spread": "spread of designs' log odds of digging in again",
    "again_design_effect": "effect of the design on the log odds of digging in again",
    "again_feature_typical": "effect of the feature on the log odds of digging in again over all seabeds",
    "again_feature_spread": "spread of features' effects on the log odds of digging in again by seabed",
    "again_feature_effect": "effect of the feature on the log odds of digging in again in this seabed",
    "resets_log_odds": "log odds that the anchor digs in again after a reversal of 180 degrees",
    "turn_typical": "log share of capacity that a turn of 90 degrees takes away, typical",
    "turn_spread": "spread of the log of what a turn takes away",
    "turn_form_effect": "effect of the form on the log of what a turn takes away",
    "turn_design_effect": "effect of the design on the log of what a turn takes away",
    "turn_feature": "effect of the feature on the log of what a turn takes away",
    "turn": "minus log share of capacity left after a turn of 90 degrees under load",
    # the sampler
    "diverging": "whether the step to this draw diverged",
    "energy": "energy of the sampler at this draw",
    "n_steps": "steps to this draw",
    "step_size": "length of a step",
}

_UNITS: Mapping[str, str] = {
    **dict.fromkeys(("log_capacity", "ground_typical", "ground", "log_load"), LOG_NEWTON),
    **dict.fromkeys(("resistance_typical", "log_resistance", "anchor_log_tip_load"), _LOG_KILOGRAM),
}


def described(draws: xr.Dataset) -> xr.Dataset:
    """Return variables with ``units`` and ``long_name``.

    Raises
    ------
    KeyError
        When a variable has no words here.
    """
    words = {str(name): _WORDS[str(name)] for name in draws.data_vars}
    return draws.assign(
        {
            name: draws[name].assign_attrs(units=_UNITS.get(name, _NONE), long_name=words[name])
            for name in words
        }
    )
