"""The questions that the page answers beside its chooser: asked of a fit, put into words."""

from typing import TYPE_CHECKING

from holdcast.capacity.fitting import Fit

if TYPE_CHECKING:
    import xarray as xr

    from holdcast.show.report.questions import Question

__all__ = ["page_questions"]


def page_questions(fit: Fit, ranked: "xr.Dataset", seabed: str, units: str) -> "list[Question]":
    """Return ranks, features and sizes, each with how to read it.

    Parameters
    ----------
    fit : Fit
    ranked : Dataset
        Its ranking by capacity.
    seabed : str
        The seabed of which sizes are told.
    units : {"si", "us"}
        Of loads and masses.
    """
    from holdcast.answers.sizes.round_masses import round_masses_kg
    from holdcast.answers.sizes.sizes import sizes
    from holdcast.show.report.questions import ranking_question, sizes_question
    from holdcast.show.views.rank import ranking_rows
    from holdcast.show.views.sizes import sizes_table

    questions = [ranking_question(ranked, ranking_rows(ranked, "seabed"))]
    if fit.inputs.sizes["feature"]:
        questions.append(_features(fit))
    by_mass = sizes(fit, seabeds=[seabed], mass_kg=round_masses_kg(fit))
    return [*questions, sizes_question(sizes_table(by_mass), seabed, units)]


def _features(fit: Fit) -> "Question":
    from holdcast.answers.features.features import pooled_effects
    from holdcast.answers.features.setting_effects import setting_effects
    from holdcast.commands.published.feature_rows import effects_of
    from holdcast.show.report.questions import features_question

    setting = setting_effects(fit)
    return features_question(effects_of(fit, setting), pooled_effects(fit), setting)
