"""Questions asked of a fit, each one function from a fit to a labelled Dataset.  The contents page.

Every name below is loaded when it is first used, so that asking for one does not load the rest.
"""

from importlib import import_module

_FOUND_IN = {
    "cells": "cells.cells",
    "to_frame": "cells.wide",
    "predict": "predict.predict",
    "sizes": "sizes.sizes",
    "mass_for_load": "sizes.sizes",
    "equal_mass": "sizes.sizes",
    "feature_effects": "features.features",
    "measurement_effects": "features.features",
    "features_together": "features.features",
    "paired_contrasts": "features.pairs",
    "pooled_effects": "features.features",
    "setting_effects": "features.setting_effects",
    "paired_setting": "features.setting_effects",
    "ranking": "rank.rank",
    "weighted_ranking": "rank.rank",
    "every_seabed": "rank.rank",
    "all_rounder": "rank.all_rounder",
    "boat": "boat.boat",
    "lightest": "boat.boat",
    "buried_chain": "boat.buried_chain",
    "class_test": "classtest.classtest",
    "class_requirements": "classtest.requirements",
    "explain": "explain.explain",
    "band_sources": "explain.band_sources",
    "influential_trials": "explain.influence",
    "pull_check": "explain.influence",
    "prior_sensitivity": "explain.prior_sensitivity",
    "spread_priors": "explain.spread_priors",
    "setting_evidence": "explain.setting_evidence",
    "setting_sources": "explain.setting_evidence",
    "how_far_moved": "explain.learning",
    "cells_moved": "compare.compare",
    "effects_moved": "compare.compare",
    "ranks_moved": "compare.compare",
    "chances_moved": "compare.compare",
    "trials_changed": "compare.log_changes",
    "residuals": "criticise.residuals",
    "covariates": "criticise.covariates",
    "residual_trends": "criticise.trends",
    "smooth_residuals": "criticise.trends",
    "seabed_scatter": "criticise.scatter",
    "model_comparison": "criticise.model_comparison",
    "result_doubts": "doubts.doubts",
}
"""Question to the module of this room that answers it."""

__all__ = sorted(_FOUND_IN)


def __getattr__(name: str) -> object:
    if name not in _FOUND_IN:
        raise AttributeError(f"module 'holdcast.answers' has no attribute {name!r}")
    return getattr(import_module(f"holdcast.answers.{_FOUND_IN[name]}"), name)
