"""What the groups of ``posterior.nc`` hold, as data: variables by their dims, kinds and ranges."""

from collections.abc import Mapping

from holdcast.campaign.columns.known_columns import FORMS, SOIL_WORDS
from holdcast.capacity.model.design_parts import PARTS, TRAITS
from holdcast.capacity.model.setting_parts import SET_PARTS
from holdcast.physics.ground.fluke_angle import ANGLE_GROUNDS

__all__ = [
    "DRAWS",
    "INPUTS",
    "LARGEST_LOG_CAPACITY",
    "LEAST_DRAWS",
    "MODEL_LABELS",
    "ONLY_WITH",
    "POSITIONS",
    "SAMPLE",
    "SMALLEST_LOG_CAPACITY",
    "TRUTHS",
    "WHOLE",
    "WORDS",
]

SAMPLE = ("chain", "draw")
LEAST_DRAWS = 50
"""Fewer draws than this make no band; a quick fit has 600 (a choice)."""
SMALLEST_LOG_CAPACITY, LARGEST_LOG_CAPACITY = -25.0, 50.0
"""Of a draw of log capacity [log N]: far beyond what anchors and their priors reach (a choice)."""

DRAWS: Mapping[tuple[str, ...], str] = {
    (): "again_feature_spread again_shift again_spread area_exponent design_spread feature_seabed_spread "
    "form_seabed_spread form_spread ground_spread ground_strength_slope ground_typical penetration_steepness "
    "pull_scatter_typical resistance_strength_slope resistance_typical set_by_capacity set_by_entry "
    "set_concentration set_feature_spread set_spread set_strength_slope set_typical size_exponent "
    "sliding_efficiency sliding_scatter spot_spread strength_of_fall tip_growth turn_spread turn_typical "
    "visit_spread",
    ("soil",): "ground_soil rate_per_decade resistance_soil",
    ("seabed",): "ground log_pull_scatter log_resistance pull_scatter resistance_deviation set_seabed_effect "
    "size_exponent_deviation strength",
    ("feature",): "again_feature_typical feature_typical set_feature_typical turn_feature",
    ("angle_ground",): "fluke_angle_deviation fluke_angle_slope",
    ("cover",): "cover_resistance cover_setting",
    ("part",): "design_share",
    ("form",): "form_typical",
    ("set_part",): "set_share",
    ("trait", "seabed"): "trait_loading",
    ("anchor",): "anchor_log_area_excess anchor_log_tip_load",
    ("feature", "seabed"): "again_feature_effect feature_effect set_feature_effect",
    ("form", "seabed"): "form_effect set_form_effect turn_form_effect",
    ("visit",): "visit_effect",
    ("instrument",): "instrument_error",
    ("shared_spot",): "spot_effect",
    ("anchor", "seabed"): "configuration_effect log_capacity resets_log_odds sets_log_odds turn",
    (
        "design",
        "seabed",
    ): "again_design_effect design_effect set_design_effect trait_effect turn_design_effect",
    ("design", "trait"): "trait_score",
}
"""Variables of posterior and prior by their dims after chain and draw; all are finite numbers."""

MODEL_LABELS: Mapping[str, tuple[str, ...]] = {"part": PARTS, "set_part": SET_PARTS, "trait": TRAITS}
"""Labels of draws that are the model's own, in its order."""

WORDS: Mapping[str, tuple[str, ...]] = {
    "angle_ground": ANGLE_GROUNDS,
    "angle_ground_other": ANGLE_GROUNDS,
    "form": FORMS,
    "soil": SOIL_WORDS,
}
"""Labels of inputs that are words of the campaign's columns."""

ONLY_WITH: Mapping[str, str] = {
    "feature_": "feature",
    "fluke_angle_": "angle_ground",
    "cover_": "cover",
    "spot_effect": "shared_spot",
    "again_": "reset",
    "resets_": "reset",
    "turn": "veer",
}
"""Beginning of a name, and the dim of the inputs that must not be empty for a fit to have the variable."""

INPUTS: Mapping[tuple[str, ...], str] = {
    ("anchor",): "anchors_in_mean design_mirror design_of fluke_angle_steps form_of log_area_excess "
    "log_area_excess_spread log_mass_ratio log_tip_load log_tip_load_spread log_weight",
    ("anchor", "feature"): "has_feature",
    ("seabed",): "mean_fall soil_of strength_index strength_index_spread",
    ("seabed", "cover"): "has_cover",
    ("component",): "alike_value",
    ("seabed", "component"): "alike_vector",
    ("angle_ground",): "fluke_angle_expected",
    ("angle_ground", "angle_ground_other"): "fluke_angle_mixture",
    ("angle_ground", "seabed"): "angle_ground_share",
    ("spot",): "spot_alone spot_anchor spot_first spot_pulls spot_seabed spot_visit",
    ("shared_spot",): "shared_spot_at",
    ("instrument",): "instrument_error_sd",
    ("spot", "instrument"): "instrument_share",
    (
        "trial",
    ): "anchor_of fall_lower fall_slope fall_upper kind lower pull_order rode_known seabed_of setting "
    "speed spot_of upper visit_of",
    (
        "reset",
    ): "attempts reset_anchor reset_fall reset_held reset_judged reset_seabed reset_spot reset_visit "
    "reversal successes",
    ("veer",): "turn_lower turn_upper veer_anchor veer_fall_lower veer_fall_slope veer_fall_upper veer_kind "
    "veer_lower veer_seabed veer_speed veer_spot veer_upper veer_visit",
    ("anchor", "seabed"): "pull_weight set_weight",
    ("visit", "seabed"): "visit_weight",
    ("instrument", "seabed"): "instrument_weight",
    ("form", "anchor", "seabed"): "form_weight",
}
"""Variables of constant_data by their dims; finite numbers but for `TRUTHS`."""

TRUTHS = frozenset({"rode_known"})
WHOLE: Mapping[str, tuple[int, int | None]] = {
    "kind": (0, 4),
    "setting": (0, 2),
    "veer_kind": (0, 4),
    "reset_judged": (0, 4),
    "attempts": (1, None),
    "successes": (0, None),
    "spot_pulls": (0, None),
    "spot_first": (0, None),
    "spot_alone": (0, 1),
}
"""Whole numbers of constant_data with the least and the greatest (`holdcast.capacity.likelihood.kinds`)."""
POSITIONS: Mapping[str, str] = {
    "design_of": "design",
    "form_of": "form",
    "soil_of": "soil",
    "pull_order": "trial",
    "shared_spot_at": "spot",
    **{f"{name}_of": name for name in ("anchor", "seabed", "visit", "spot")},
    **{f"spot_{name}": name for name in ("anchor", "seabed", "visit")},
    **{
        f"{test}_{name}": name for test in ("reset", "veer") for name in ("anchor", "seabed", "visit", "spot")
    },
}
"""Whole numbers of constant_data that are places along a dim: compiled loops use them without asking."""
