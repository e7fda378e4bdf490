"""``holdcast features``: what a feature, tip weight or area does, where, and how that is known."""

from pathlib import Path
from typing import TYPE_CHECKING

from holdcast.commands.shared.answering import (
    Results,
    records,
    say_answer,
    say_reading,
    say_written,
    wrapped,
    write_csv,
)
from holdcast.commands.shared.common import AsJson, Units, say_json

if TYPE_CHECKING:
    import pandas as pd

    from holdcast.capacity.fitting import Fit

__all__ = ["features"]

_ASKED = (
    "size_exponent",
    "area_exponent",
    "tip_growth",
    "penetration_steepness",
    "log_resistance",
    "feature_typical",
    "feature_seabed_spread",
)


def features(results: Results, units: Units = None, as_json: AsJson = False) -> None:
    """Show what each feature, tip weight and fluke area do to capacity in each seabed, and how that is known.

    Example: holdcast features my-log/results
    """
    say_reading(results)
    from holdcast.answers.explain.learning import LITTLE_LEARNT, how_far_moved
    from holdcast.answers.features.features import features_together
    from holdcast.capacity.store import load
    from holdcast.show.text.learning import learning_lines, learning_rows
    from holdcast.show.views.features import (
        HOW_TO_READ_EFFECTS,
        effect_lines,
        effect_sentences,
        together_sentences,
    )

    fit = load(results)
    table = _effects(fit)
    some = bool(fit.inputs.sizes["feature"])
    warnings = together_sentences(features_together(fit)) if some else ["No anchor of the log has a feature."]
    learnt = learning_rows(how_far_moved(fit, _ASKED))
    _write(fit, results, table)
    if as_json:
        marks = {"ok": fit.verdict.ok, "reliable": fit.verdict.ok, "approximate": fit.verdict.approximate}
        answer = {"warnings": warnings, "rows": records(table), "parameters": records(learnt)}
        say_json({**marks, **answer})
        return
    summary = wrapped([*effect_sentences(table), *(f"Warning: {text}" for text in warnings)])
    beside = wrapped(
        ["Parameters beside their priors; a resistance or an exponent says little without this."]
    )
    say_answer(
        fit,
        [
            *wrapped(HOW_TO_READ_EFFECTS),
            *effect_lines(table),
            "",
            *summary,
            "",
            *beside,
            *learning_lines(learnt, LITTLE_LEARNT),
        ],
    )


def _effects(fit: "Fit") -> "pd.DataFrame":
    """Return the rows of all effects: features net, pairs in total, measurements."""
    import pandas as pd

    from holdcast.answers.features.features import feature_effects, measurement_effects
    from holdcast.answers.features.pairs import paired_contrasts
    from holdcast.show.views.features import effect_rows, pair_rows

    rows = [effect_rows(measurement_effects(fit), "measurement")]
    contrasts = paired_contrasts(fit)
    if contrasts.sizes["pair"]:
        rows.insert(0, pair_rows(contrasts))
    if fit.inputs.sizes["feature"]:
        rows.insert(0, effect_rows(feature_effects(fit), "net"))
    return pd.concat(rows, ignore_index=True)


def _write(fit: "Fit", results: Path, table: "pd.DataFrame") -> None:
    from holdcast.show.figures.intervals import save_figure
    from holdcast.show.views.features import effects_sheet

    write_csv(table, results / "features.csv", approximate=fit.verdict.approximate)
    sheet = effects_sheet(table, fit.tree.attrs, reliable=fit.verdict.ok)
    say_written(save_figure(sheet, results / "figures", "features"))
