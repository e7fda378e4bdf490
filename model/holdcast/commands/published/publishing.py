"""From a fit to everything a results folder holds beside the fit itself."""

import json
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd
import xarray as xr

from holdcast.answers.boat.buried_chain import buried_chain
from holdcast.answers.doubts.accounting import corrections, excluded_rows, row_counts
from holdcast.answers.doubts.doubts import result_doubts
from holdcast.answers.doubts.result_doubt import ResultDoubt
from holdcast.campaign.columns.carried_columns import own_columns
from holdcast.campaign.columns.known_columns import ANCHORS
from holdcast.campaign.records import Finding, PullToCheck
from holdcast.capacity.fitting import Fit
from holdcast.capacity.model.priors import default_priors, priors_table, with_overrides
from holdcast.capacity.store import save
from holdcast.commands.folders.results import write_whole
from holdcast.commands.published.carried import carried_of
from holdcast.commands.published.look_again import beside_pulls, look_again, write_pulls
from holdcast.commands.published.page_questions import page_questions
from holdcast.commands.published.pictures import all_rounder_of, save_all_rounders
from holdcast.commands.published.whole_criticism import compared_before, criticism_of
from holdcast.commands.shared.common import Progress
from holdcast.show.package.data_package import PACKAGE_FILE, data_package
from holdcast.show.text.cells_csv import as_csv, cells_csv
from holdcast.show.text.sentences import accounting_sentence, correction_sentences
from holdcast.show.views.buried_chain import buried_chain_sentences

if TYPE_CHECKING:
    from holdcast.show.report import ModelCheck, Pictures, Reader

__all__ = [
    "correction_lines",
    "write_page",
    "write_results",
    "write_tables",
]

_FIRST_LENGTH_M, _FIRST_WIND_KN = 10.0, 30.0
"""The boat that stands on the page before anybody asks: a common size, a working wind (a choice)."""


def write_tables(
    fit: Fit, table: xr.Dataset, pulls: Sequence[PullToCheck], folder: Path, progress: Progress
) -> None:
    """Write a fit and its tables into an empty folder.

    ``table`` are its cells, ``pulls`` those to look at again.
    """
    progress("writing the posterior")
    save(fit, folder)
    text = cells_csv(table, approximate=fit.verdict.approximate, carried=carried_of(fit))
    (folder / "cells.csv").write_text(text, encoding="utf-8")
    excluded = excluded_rows(fit)
    rows = excluded.itertuples(index=False, name=None)
    (folder / "excluded.csv").write_text(as_csv(["trial", "reason"], rows), encoding="utf-8")
    write_pulls(pulls, folder, approximate=fit.verdict.approximate)
    (folder / PACKAGE_FILE).write_text(data_package(folder, fit.tree.attrs), encoding="utf-8")


def write_results(
    fit: Fit,
    table: xr.Dataset,
    doubts: Sequence[ResultDoubt],
    pulls: Sequence[PullToCheck],
    folder: Path,
    units: str,
    progress: Progress,
) -> None:
    """Write a fit and all its tables, figures and the page into an empty folder.

    ``table`` are its cells, ``doubts`` those about its results, ``pulls`` those to look at again.
    """
    write_tables(fit, table, pulls, folder, progress)
    progress("drawing the figures and the page")
    from holdcast.show.figures.capacity import save_figures
    from holdcast.show.views.setting_again import save_setting_again

    figures = folder / "figures"
    figures.mkdir()
    drawn = save_figures(table, figures, units, reliable=fit.verdict.ok)
    again = save_setting_again(table, figures, reliable=fit.verdict.ok)
    pictures = (*drawn, *again, *save_all_rounders(fit, figures))
    wide = [path.name for path in pictures if path.suffix == ".png" and "narrow" not in path.name]
    progress(f"drawn in {figures.name}/: {', '.join(wide)}")
    from holdcast.show.report import Pictures

    write_page(fit, table, folder, units, Pictures(_pairs(drawn), _pairs(again)), doubts, pulls)


def _pairs(drawn: Sequence[Path]) -> list[tuple[str, str]]:
    """Return the SVG texts of a picture: all wide pages were written first, then as many narrow ones."""
    texts = [path.read_text(encoding="utf-8") for path in drawn if path.suffix == ".svg"]
    return list(zip(texts[: len(texts) // 2], texts[len(texts) // 2 :], strict=True))


def write_page(
    fit: Fit,
    table: xr.Dataset,
    folder: Path,
    units: str,
    pictures: "Pictures | None" = None,
    doubts: Sequence[ResultDoubt] | None = None,
    pulls: Sequence[PullToCheck] | None = None,
) -> Path:
    """Write ``report.html`` into a folder and return its path.

    ``table`` are the fit's cells; ``pictures`` drawn when not given;
    ``doubts`` those about its results and ``pulls`` those to look at again, found when not given.
    """
    from holdcast.show.report import LogFacts, report_html

    overrides = json.loads(fit.tree.attrs["priors"])
    changed = {
        name: values
        for name, values in overrides.items()
        if dict(default_priors()[name].parameters) != values
    }
    text = report_html(
        _with_thresholds(fit, table),
        fit.verdict.as_dict(),
        LogFacts(
            " ".join([accounting_sentence(*row_counts(fit)), *correction_lines(fit, units)]),
            excluded_rows(fit),
            beside_pulls(fit, (Finding(**fields) for fields in json.loads(fit.tree.attrs["doubts"]))),
            result_doubts(fit, table) if doubts is None else doubts,
            look_again(fit) if pulls is None else pulls,
        ),
        priors_table(with_overrides(changed)),
        _pictures(fit, table, units) if pictures is None else pictures,
        _model_check(fit, folder),
        units,
        _reader(fit, _with_thresholds(fit, table), units),
    )
    path = folder / "report.html"
    write_whole(path, text)  # a reader never meets half a page
    return path


def _pictures(fit: Fit, table: xr.Dataset, units: str) -> "Pictures":
    from holdcast.show.figures.capacity import figure_svgs
    from holdcast.show.report import Pictures
    from holdcast.show.views.setting_again import setting_again_svgs

    capacity = figure_svgs(table, units, reliable=fit.verdict.ok)
    return Pictures(capacity, setting_again_svgs(table, reliable=fit.verdict.ok))


def _with_thresholds(fit: Fit, table: xr.Dataset) -> xr.Dataset:
    return table.assign_attrs(thresholds=fit.tree.attrs["thresholds"])


def _reader(fit: Fit, table: xr.Dataset, units: str) -> "Reader":
    """Return what a reader can ask and look up on the page."""
    from holdcast.answers.page.joint_draws import holding_chance, joint_draws
    from holdcast.answers.page.size_curves import size_curves
    from holdcast.answers.rank.rank import ranking
    from holdcast.physics.tackle.wind import mooring_load_n
    from holdcast.physics.units import MPS_PER_KNOT
    from holdcast.show.report import Reader

    draws = joint_draws(fit)
    length, wind = _FIRST_LENGTH_M, _FIRST_WIND_KN * MPS_PER_KNOT
    load_n = float(mooring_load_n(length, wind))
    # The seabed with most tests is asked about first; the others stand behind it in the campaign's order.
    most = str(table["pulls"].sum("anchor").idxmax("seabed").item())
    seabeds = sorted(map(str, table["seabed"].to_numpy()), key=lambda name: name != most)
    ranked = ranking(fit)
    return Reader(
        draws,
        holding_chance(draws, load_n, seabeds),
        (length, wind, load_n),
        _known_columns(fit),
        fit.tree["trials"].to_dataset().to_dataframe(),
        carried_of(fit)["anchor"],
        ranked,
        page_questions(fit, ranked, most, units),
        size_curves(fit),
        all_rounder_of(fit),
    )


def _known_columns(fit: Fit) -> pd.DataFrame:
    """Return the anchors' table without the tester's own columns, which stand apart."""
    table = fit.tree["anchors"].to_dataset().to_dataframe()
    return table.drop(columns=own_columns(ANCHORS, map(str, table.columns)))


def _model_check(fit: Fit, folder: Path) -> "ModelCheck":
    """Return what the model misses of the log, and the models that ``criticise --variants`` compared here."""
    from holdcast.show.report import ModelCheck
    from holdcast.show.views.criticise.sentences import HOW_TO_READ_CRITICISM, criticism_sentences
    from holdcast.show.views.criticise.tables import criticism_tables

    answer = criticism_of(fit)
    tables = criticism_tables(answer, compared_before(folder, fit, answer))
    return ModelCheck(HOW_TO_READ_CRITICISM, criticism_sentences(answer), tables)


def correction_lines(fit: Fit, units: str = "si") -> list[str]:
    """Return which corrections could be made to the pulls, and which could not, as sentences."""
    chain = buried_chain_sentences(buried_chain(fit), units)
    return [*correction_sentences(*corrections(fit)), *chain]
