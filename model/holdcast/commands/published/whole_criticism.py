"""The whole criticism of a fit, as ``criticise`` and the page show it, and the file it is kept in."""

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd
    import xarray as xr

    from holdcast.capacity.fitting import Fit
    from holdcast.show.views.criticise.sentences import Criticism

__all__ = ["CRITICISM_FILE", "RESIDUALS_FILE", "compared_before", "criticism_of", "models_written"]

CRITICISM_FILE, RESIDUALS_FILE = "criticism.csv", "residuals.csv"


def criticism_of(fit: "Fit", variants: "dict[str, xr.DataArray] | None" = None) -> "Criticism":
    """Return what a fit misses of its own log; ``variants`` are log likelihoods of models to compare."""
    from holdcast.answers.criticise.chances import chances_seen
    from holdcast.answers.criticise.covariates import covariates
    from holdcast.answers.criticise.model_comparison import model_comparison
    from holdcast.answers.criticise.reset_veer_residuals import reset_residuals, veer_residuals
    from holdcast.answers.criticise.residuals import residuals
    from holdcast.answers.criticise.scatter import seabed_scatter, setting_scatter
    from holdcast.answers.criticise.trends import residual_trends, smooth_residuals
    from holdcast.show.views.criticise.sentences import Criticism
    from holdcast.show.views.criticise.setting import SettingCriticism

    pulls, resets, veers = residuals(fit), reset_residuals(fit), veer_residuals(fit)
    against = covariates(fit, pulls)
    clusters = [fit.inputs[name].to_numpy() for name in ("visit_of", "anchor_of")]
    return Criticism(
        pulls,
        against,
        residual_trends(pulls, against),
        smooth_residuals(pulls, against),
        seabed_scatter(fit, pulls),
        model_comparison(variants, clusters) if variants and len(variants) > 1 else None,
        SettingCriticism(resets, veers, setting_scatter(resets, veers), chances_seen(fit, pulls, resets)),
    )


def compared_before(folder: Path, fit: "Fit", answer: "Criticism") -> "pd.DataFrame":
    """Return the rows about models that an earlier run wrote of this same fit; none when it was another.

    Refitting without a part takes minutes, and what it found holds as long as the fit does.  The residuals of
    the pulls follow from the fit, their random places included, so a file that differs is of another fit.

    Parameters
    ----------
    folder : Path
        Of the results.
    fit : Fit
    answer : Criticism
        What was found of it now.
    """
    from holdcast.show.text.cells_csv import table_csv
    from holdcast.show.views.criticise.tables import criticism_rows, residual_rows

    nothing = criticism_rows(answer).iloc[:0]
    models = models_written(folder)
    try:
        seen = (folder / RESIDUALS_FILE).read_text(encoding="utf-8")
    except (OSError, ValueError):  # no file, or none of ours
        return nothing
    same = seen == table_csv(residual_rows(answer), approximate=fit.verdict.approximate)
    return models[list(nothing)] if same and set(nothing) <= set(models) else nothing


def models_written(folder: Path) -> "pd.DataFrame":
    """Return the rows about models in a folder's criticism, of whatever fit; none where there is none."""
    import io

    import pandas as pd

    try:
        table = pd.read_csv(io.StringIO((folder / CRITICISM_FILE).read_text(encoding="utf-8")))
    except (OSError, ValueError):  # no file, or none of ours
        return pd.DataFrame()
    return table[table["check"] == "model"].reset_index(drop=True) if "check" in table else pd.DataFrame()
