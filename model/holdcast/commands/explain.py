"""``holdcast explain``: where the band of one anchor in one seabed comes from."""

from functools import partial
from typing import TYPE_CHECKING, Annotated

import typer

from holdcast.commands.shared.answering import (
    Everything,
    Picture,
    PictureSizes,
    Results,
    ask,
    finite_or_none,
    say_answer,
    say_reading,
    say_sheet,
    shown_units,
)
from holdcast.commands.shared.common import AsJson, Units, say_json

if TYPE_CHECKING:
    from holdcast.capacity.fitting import Fit
    from holdcast.show.views.explain.cell import Explained

__all__ = ["explain"]


def explain(
    results: Results,
    anchor: Annotated[str, typer.Option(help="The anchor.", show_default=False)],
    seabed: Annotated[str, typer.Option(help="The seabed.", show_default=False)],
    everything: Everything = False,
    picture: Picture = False,
    picture_size: PictureSizes = None,
    units: Units = None,
    as_json: AsJson = False,
) -> None:
    """Explain one cell: where its bands come from, which tests carry them, how far they lean on the priors.

    Example: holdcast explain my-log/results --anchor A-10 --seabed "creek silt"
    """
    say_reading(results)
    from holdcast.answers.explain.influence import TRUSTED_K
    from holdcast.answers.explain.learning import LITTLE_LEARNT
    from holdcast.capacity.store import load
    from holdcast.show.views.explain.cell import explain_lines, explain_sheet

    fit = load(results)
    screen = shown_units(fit, units)
    answer = ask(lambda: _explained(fit, anchor, seabed))
    sheet = partial(explain_sheet, answer, screen, fit.tree.attrs, reliable=fit.verdict.ok)
    say_sheet(sheet, results, "explain", picture, picture_size)
    if as_json:
        marks = {"ok": fit.verdict.ok, "reliable": fit.verdict.ok, "approximate": fit.verdict.approximate}
        say_json({**marks, "anchor": anchor, "seabed": seabed, **_plain(answer)})
        return
    say_answer(fit, explain_lines(answer, screen, TRUSTED_K, LITTLE_LEARNT, everything=everything))


def _explained(fit: "Fit", anchor: str, seabed: str) -> "Explained":
    from holdcast.answers.explain.band_sources import band_sources
    from holdcast.answers.explain.explain import explain as explain_cell
    from holdcast.answers.explain.influence import influential_trials, leave_out_weights, pull_check
    from holdcast.answers.explain.prior_sensitivity import prior_sensitivity
    from holdcast.answers.explain.setting_evidence import setting_evidence, setting_sources
    from holdcast.answers.explain.spread_priors import spread_priors
    from holdcast.show.views.explain.cell import Explained

    cell, weights = explain_cell(fit, anchor, seabed), leave_out_weights(fit)
    return Explained(
        cell,
        band_sources(fit, anchor, seabed),
        influential_trials(fit, anchor, seabed, weights=weights),
        pull_check(fit, anchor, seabed, weights=weights),
        prior_sensitivity(fit, anchor, seabed),
        spread_priors(fit, anchor, seabed),
        setting_evidence(fit, anchor, seabed),
        setting_sources(fit, anchor, seabed),
    )


def _plain(answer: "Explained") -> dict[str, object]:
    """Return the answer as plain numbers by name; loads in N, spreads of the log."""
    plain: dict[str, object] = {}
    for name, data in answer._asdict().items():
        values = {
            str(key): _nested(array.to_numpy().tolist())
            for key, array in {**data.coords, **data.data_vars}.items()
        }
        plain[name] = values
    return plain


def _nested(value: object) -> object:
    return [_nested(item) for item in value] if isinstance(value, list) else finite_or_none(value)
