"""``holdcast criticise``: what the model misses of the log's own pulls."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from holdcast.commands.answering import Results, records, say_answer, wrapped, write_csv
from holdcast.commands.common import AsJson, InputError, Units, progress, say_json, warn

if TYPE_CHECKING:
    import xarray as xr

    from holdcast.campaign.records import Campaign
    from holdcast.capacity.fitting import Fit
    from holdcast.show.criticism_sentences import Criticism

__all__ = ["criticise"]

_FULL = "full model"


def criticise(
    results: Results,
    variants: Annotated[
        bool, typer.Option("--variants", help="Also refit without a part of the model, and compare: minutes.")
    ] = False,
    campaign: Annotated[
        Path | None, typer.Option(help="Campaign of these results, for --variants (default: beside them).")
    ] = None,
    units: Units = None,
    as_json: AsJson = False,
) -> None:
    """Criticise the model by the log's own pulls: trends it misses, scatter it gets wrong, simpler models.

    Example: holdcast criticise my-log/results --variants
    """
    from holdcast.capacity.store import load
    from holdcast.show.criticism_figure import save_criticism_figures
    from holdcast.show.criticism_sentences import HOW_TO_READ_CRITICISM, criticism_sentences
    from holdcast.show.criticism_tables import criticism_lines, criticism_rows, residual_rows

    fit = load(results)
    # Read before anything is computed: a wrong folder should be told at once.
    read = _same_campaign(fit, results, campaign) if variants else None
    answer = _criticism(fit, _variants(fit, read) if read is not None else None)
    rows, sentences = criticism_rows(answer), criticism_sentences(answer)
    write_csv(residual_rows(answer), results / "residuals.csv", approximate=fit.verdict.approximate)
    write_csv(rows, results / "criticism.csv", approximate=fit.verdict.approximate)
    save_criticism_figures(answer, results / "figures", units or "si", reliable=fit.verdict.ok)
    if as_json:
        marks = {"reliable": fit.verdict.ok, "approximate": fit.verdict.approximate}
        say_json({**marks, "sentences": sentences, "rows": records(rows)})
        return
    lines = [*wrapped(HOW_TO_READ_CRITICISM), "", *criticism_lines(answer), "", *wrapped(sentences)]
    say_answer(fit, lines)


def _criticism(fit: "Fit", variants: "dict[str, xr.DataArray] | None") -> "Criticism":
    from holdcast.answers.covariates import covariates
    from holdcast.answers.model_comparison import model_comparison
    from holdcast.answers.residual_scatter import seabed_scatter
    from holdcast.answers.residual_trends import residual_trends, smooth_residuals
    from holdcast.answers.residuals import residuals
    from holdcast.show.criticism_sentences import Criticism

    found = residuals(fit)
    against = covariates(fit, found)
    clusters = [fit.inputs[name].to_numpy() for name in ("visit_of", "anchor_of")]
    return Criticism(
        found,
        against,
        residual_trends(found, against),
        smooth_residuals(found, against),
        seabed_scatter(fit, found),
        model_comparison(variants, clusters) if variants and len(variants) > 1 else None,
    )


def _same_campaign(fit: "Fit", results: Path, campaign: Path | None) -> "Campaign":
    """Return the campaign that the results were made from.

    Raises
    ------
    InputError
        When the files are not those of the fit.
    """
    from holdcast.commands.reading import read_checked

    folder = campaign or results.resolve().parent
    read = read_checked(folder)
    if read.digest != fit.tree.attrs["input_hash"]:
        raise InputError(
            f"{folder} is not what these results were made from, or was changed since; run holdcast fit "
            "again, or name the right campaign with --campaign"
        )
    return read


def _variants(fit: "Fit", read: "Campaign") -> "dict[str, xr.DataArray]":
    """Return the log likelihood of each pull under the full model and under each with a part left out."""
    from holdcast.capacity import variants

    evaluated = {_FULL: fit.tree["log_likelihood"].to_dataset()["log_load"]}
    for variant in variants.VARIANTS:
        if variant == variants.WITHOUT_FEATURES and not fit.inputs.sizes["feature"]:
            progress("no anchor of the log has a feature: nothing to leave out")
            continue
        progress(f"fitting the model {variant}")
        refit = variants.fit_variant(read, variant, seed=int(fit.tree.attrs["seed"]), progress=progress)
        if not refit.verdict.ok:
            warn(
                f"UNRELIABLE: the sampler's checks failed for the model {variant}; left out of the comparison"
            )
            continue
        evaluated[variant] = refit.tree["log_likelihood"].to_dataset()["log_load"]
    return evaluated
