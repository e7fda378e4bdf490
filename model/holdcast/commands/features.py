"""``holdcast features``: what a part, tip weight or area does, where, and how that is known."""

from functools import partial
from typing import TYPE_CHECKING

from holdcast.commands.shared.answering import (
    Everything,
    Picture,
    PictureSizes,
    Results,
    records,
    say_answer,
    say_reading,
    say_sheet,
    wrapped,
    write_csv,
)
from holdcast.commands.shared.common import AsJson, Units, say_json

if TYPE_CHECKING:
    import pandas as pd
    import xarray as xr

    from holdcast.capacity.fitting import Fit

__all__ = ["features"]

_PARAMETERS = (
    "size_exponent",
    "area_exponent",
    "tip_growth",
    "penetration_steepness",
    "log_resistance",
    "fluke_angle_slope",
    "feature_typical",
    "feature_seabed_spread",
)
_NO_FEATURE = "No anchor of the log has a feature."


def features(
    results: Results,
    everything: Everything = False,
    picture: Picture = False,
    picture_size: PictureSizes = None,
    units: Units = None,
    as_json: AsJson = False,
) -> None:
    """Show what each feature, tip weight and fluke area do, and how that is known.

    Beside capacity: what a feature does to the chance of setting, of setting again after a reversal, and to
    what is kept in a turn.

    Example: holdcast features my-log/results
    """
    say_reading(results)
    from holdcast.answers.explain.learning import how_far_moved
    from holdcast.answers.features.features import features_together
    from holdcast.answers.features.setting_effects import setting_effects
    from holdcast.capacity.store import load
    from holdcast.commands.published.feature_rows import effects_of
    from holdcast.show.text.learning import learning_rows
    from holdcast.show.views.features.effects import effects_sheet, together_sentences

    fit = load(results)
    setting = setting_effects(fit)
    table = effects_of(fit, setting)
    some = bool(fit.inputs.sizes["feature"])
    warnings = together_sentences(features_together(fit)) if some else [_NO_FEATURE]
    learnt = learning_rows(how_far_moved(fit, _PARAMETERS))
    write_csv(table, results / "features.csv", approximate=fit.verdict.approximate)
    sheet = partial(effects_sheet, table, fit.tree.attrs, reliable=fit.verdict.ok)
    say_sheet(sheet, results, "features", picture, picture_size)
    if as_json:
        marks = {"ok": fit.verdict.ok, "reliable": fit.verdict.ok, "approximate": fit.verdict.approximate}
        answer = {"warnings": warnings, "rows": records(table), "parameters": records(learnt)}
        say_json({**marks, **answer})
        return
    lines = _everything(table, learnt) if everything or not some else _screen(fit, table, setting)
    say_answer(fit, [*lines, *wrapped(_warnings(warnings, setting, some=some))])


def _warnings(warnings: list[str], setting: "xr.Dataset", *, some: bool) -> list[str]:
    from holdcast.show.views.features.screen import no_tests_sentences

    return [*(f"Warning: {text}" for text in warnings), *(no_tests_sentences(setting) if some else [])]


def _screen(fit: "Fit", table: "pd.DataFrame", setting: "xr.Dataset") -> list[str]:
    from holdcast.answers.features.features import pooled_effects
    from holdcast.show.views.features.screen import HOW_TO_READ_SHORT_EFFECTS, feature_screen

    whole = "Each seabed, each pair and what the log taught: features.csv, or --all."
    return [
        *wrapped(HOW_TO_READ_SHORT_EFFECTS),
        "",
        *feature_screen(table, pooled_effects(fit), setting),
        *wrapped([whole]),
    ]


def _everything(table: "pd.DataFrame", learnt: "pd.DataFrame") -> list[str]:
    from holdcast.answers.explain.learning import LITTLE_LEARNT
    from holdcast.show.text.learning import learning_lines
    from holdcast.show.views.features.effects import HOW_TO_READ_EFFECTS, effect_lines, effect_sentences
    from holdcast.show.views.features.setting import setting_lines

    heading = ["Parameters beside their priors; a resistance or an exponent says little without this."]
    return [
        *wrapped(HOW_TO_READ_EFFECTS),
        *effect_lines(table),
        *setting_lines(table),
        "",
        *wrapped([*effect_sentences(table), ""]),
        *wrapped(heading),
        *learning_lines(learnt, LITTLE_LEARNT),
        "",
    ]
