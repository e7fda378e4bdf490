"""``holdcast criticise``: what the model misses of the log's own pulls."""

from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from holdcast.commands.published.look_again import PULLS_FILE, look_again, write_pulls
from holdcast.commands.published.whole_criticism import (
    CRITICISM_FILE,
    RESIDUALS_FILE,
    compared_before,
    criticism_of,
    models_written,
)
from holdcast.commands.shared.answering import (
    Picture,
    PictureSizes,
    Results,
    records,
    say_answer,
    say_drawn,
    say_reading,
    say_written,
    shown_units,
    wrapped,
    write_csv,
)
from holdcast.commands.shared.common import AsJson, InputError, Units, progress, say_json, warn

if TYPE_CHECKING:
    import pandas as pd
    import xarray as xr

    from holdcast.campaign.records import Campaign
    from holdcast.capacity.fitting import Fit
    from holdcast.show.figures.sheet import PictureSize
    from holdcast.show.views.criticise.sentences import Criticism

__all__ = ["criticise"]

_FULL = "full model"
Variants = Annotated[
    bool,
    typer.Option("--variants", help="Also refit with a part of the model left out, and compare. Minutes."),
]


def criticise(
    results: Results,
    variants: Variants = False,
    campaign: Annotated[
        Path | None, typer.Option(help="Campaign of these results, for --variants (default: beside them).")
    ] = None,
    picture: Picture = False,
    picture_size: PictureSizes = None,
    units: Units = None,
    as_json: AsJson = False,
) -> None:
    """Criticise the model by the log's own tests: trends it misses, scatter and chances it gets wrong.

    It also lists the pulls to look at again.

    Example: holdcast criticise my-log/results --variants
    """
    say_reading(results)
    from holdcast.capacity.store import load
    from holdcast.show.text.result_doubts import pulls_to_check_rows, pulls_to_check_table
    from holdcast.show.views.criticise.sentences import HOW_TO_READ_CRITICISM, criticism_sentences
    from holdcast.show.views.criticise.tables import criticism_lines, residual_rows

    fit = load(results)
    # Read before anything is computed: a wrong folder should be told at once.
    read = _same_campaign(fit, results, campaign) if variants else None
    answer = criticism_of(fit, _variants(fit, read) if read is not None else None)
    pulls = look_again(fit)
    rows, sentences = _rows(fit, answer, results), criticism_sentences(answer)
    # The residuals last: a run cut off between the two leaves nothing that looks like one of this fit.
    write_csv(rows, results / CRITICISM_FILE, approximate=fit.verdict.approximate)
    write_csv(residual_rows(answer), results / RESIDUALS_FILE, approximate=fit.verdict.approximate)
    screen = shown_units(fit, units)
    say_written([write_pulls(pulls, results, approximate=fit.verdict.approximate)])
    say_drawn(partial(_draw, fit, answer, results / "figures", screen), picture, picture_size)
    if as_json:
        marks = {"reliable": fit.verdict.ok, "approximate": fit.verdict.approximate}
        look = {"pulls_to_check": pulls_to_check_rows(pulls)}
        say_json({**marks, "sentences": sentences, "rows": records(rows), **look})
        return
    lines = [*wrapped(HOW_TO_READ_CRITICISM), "", *criticism_lines(answer), "", *wrapped(sentences)]
    lines += ["", *pulls_to_check_table(pulls, screen, str(results / PULLS_FILE))]
    say_answer(fit, lines)


def _draw(
    fit: "Fit", answer: "Criticism", folder: Path, units: str, shapes: "Sequence[PictureSize]"
) -> list[Path]:
    from holdcast.show.figures.criticism import save_criticism_figures

    return save_criticism_figures(answer, folder, units, reliable=fit.verdict.ok, sizes=shapes)


def _rows(fit: "Fit", answer: "Criticism", results: Path) -> "pd.DataFrame":
    """Return all rows, with those about models that an earlier run left where this one compared none."""
    import pandas as pd

    from holdcast.show.views.criticise.tables import criticism_rows

    rows = criticism_rows(answer)
    if answer.comparison is not None:
        return rows
    earlier = compared_before(results, fit, answer)
    if earlier.empty:
        if len(models_written(results)):
            progress(
                "the comparison of models in the folder was of another fit, and is gone: --variants makes one"
            )
        return rows
    progress(f"{CRITICISM_FILE} keeps the comparison of models of an earlier run with --variants")
    return pd.concat([rows, earlier], ignore_index=True)


def _same_campaign(fit: "Fit", results: Path, campaign: Path | None) -> "Campaign":
    """Return the campaign that the results were made from.

    Raises
    ------
    InputError
        When the files are not those of the fit.
    """
    from holdcast.commands.shared.checked_campaign import campaign_beside, read_checked

    folder = campaign or campaign_beside(results.resolve())
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
