"""The command add: new trials without a refit."""

import os
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Annotated

import typer

from holdcast.commands.folders.locking import only_writer
from holdcast.commands.folders.package import describe_new_tables
from holdcast.commands.folders.results import swap_in
from holdcast.commands.shared.answering import (
    Results,
    ask,
    finite_or_none,
    records,
    say_answer,
    say_reading,
    say_written,
    shown_units,
)
from holdcast.commands.shared.common import (
    AsJson,
    InputError,
    Units,
    progress,
    say_json,
    show_findings,
    warn,
)

if TYPE_CHECKING:
    import xarray as xr

    from holdcast.answers.readings.added import Added
    from holdcast.campaign.new_trials import KnownLog, NewTrials
    from holdcast.capacity.fitting import Fit

__all__ = ["add"]

_FILES = ("cells.csv", "surprise.csv")
_LOG = "trials.csv"

Trials = Annotated[
    Path,
    typer.Argument(help="CSV file of new tests, in the columns of trials.csv.", show_default=False),
]
Out = Annotated[
    Path | None, typer.Option("--out", help="Folder for the two tables (default: RESULTS/added).")
]
Into = Annotated[
    Path | None,
    typer.Option("--into", help="Campaign folder: also write the rows behind those of its trials.csv."),
]


def add(
    results: Results,
    trials: Trials,
    out: Out = None,
    into: Into = None,
    units: Units = None,
    as_json: AsJson = False,
) -> None:
    """Add new trials without a refit: what they change, and which pulls are worth making again.

    The draws of the fit are weighted by how likely they make the new tests. The answer says whether that can
    be relied on, for which cells it still holds if not, and when a refit is due.

    Example: holdcast add my-campaign/results day.csv --into my-campaign
    """
    folder = _target(results, out)
    say_reading(results)
    # Read when the library is loaded: halves of an update share the cores, and threads beneath them wait.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    from holdcast.answers.readings.added import add as add_tests
    from holdcast.capacity.pointwise.new_tests import told_of_compiling
    from holdcast.capacity.store import load

    fit = load(results)
    new = _read(fit, trials, into)
    append = _appending(into, new, fit) if into is not None else None
    show_findings(new.doubts, "About the new rows as they were read:")
    own_data = _own_data(results, fit)
    with told_of_compiling(progress):
        added = ask(lambda: add_tests(fit, new.rows, own_data))
    backup = _write(fit, added, folder, append)
    say_written([folder / name for name in _FILES])
    if backup:
        progress(f"{len(new.rows)} rows stand behind those of {into}/{_LOG}; as it was: {backup[0].name}")
    _answer(fit, added, folder, shown_units(fit, units), as_json=as_json)


def _target(results: Path, out: Path | None) -> Path:
    """Return the folder of the two tables, after checking that nothing else would be lost.

    Raises
    ------
    InputError
        When it is a file, or holds something else.
    """
    folder = results / "added" if out is None else out
    if folder.exists() and not folder.is_dir():
        raise InputError(f"--out {folder} is a file; name a folder for the two tables")
    if folder.is_dir():
        names = {entry.name for entry in folder.iterdir() if not entry.name.startswith(".")}
        foreign = sorted(names - set(_FILES))
        if foreign:
            raise InputError(
                f"{folder} holds something else than tables of add ({', '.join(foreign[:5])}), which would "
                "be lost; name another folder with --out"
            )
    if out is not None and not folder.absolute().parent.is_dir():
        raise InputError(f"--out {folder}: there is no folder {folder.parent}; make it, or name another one")
    return folder


def _read(fit: "Fit", path: Path, into: Path | None) -> "NewTrials":
    from holdcast.campaign.new_trials import read_new_trials

    if not path.is_file():
        raise InputError(f"{path}: there is no such file; name the CSV file of the new tests")
    return read_new_trials(path, _log_of(fit, into))


def _log_of(fit: "Fit", into: Path | None) -> "KnownLog":
    """Return the log that the rows come to: that of the fit, and the trials written down since."""
    import pandas as pd

    from holdcast.answers.draws.rode import boat_bow_height_m, rode_table
    from holdcast.campaign import read_campaign
    from holdcast.campaign.new_trials import KnownLog
    from holdcast.capacity.log_tables import log_table

    anchors, seabeds, trials = (log_table(fit.tree, name) for name in ("anchors", "seabeds", "trials"))
    names = trials[[]]
    if into is not None:
        _check_campaign(into)
        names = pd.concat([names, read_campaign(into).trials[[]]])
    bow = boat_bow_height_m(fit)
    return KnownLog(anchors, seabeds, rode_table(fit), names, bow if bow > 0.0 else float("nan"))


def _check_campaign(into: Path) -> None:
    if into.is_file():
        raise InputError(
            f"--into {into}: rows are only written into a folder's {_LOG}; paste them into the workbook, or "
            "leave --into away"
        )
    if not (into / _LOG).is_file():
        raise InputError(f"--into {into}: there is no {_LOG} in it; name the campaign's folder")


def _appending(into: Path, new: "NewTrials", fit: "Fit") -> Callable[[], Path]:
    """Return what writes the rows into the campaign, after checking the log as it will be.

    Raises
    ------
    CampaignError
        When the log would have faults.
    """
    from holdcast.campaign import read_campaign
    from holdcast.campaign.columns.known_columns import FILES
    from holdcast.campaign.files.appending import ChangedMeanwhileError, appended, replace_kept
    from holdcast.campaign.settings import FILE as SETTINGS

    log = into / _LOG
    before = log.read_bytes()
    if read_campaign(into).digest != fit.tree.attrs["input_hash"]:
        warn(f"  {into} has changed since this fit: the update does not know of those changes, a refit does")
    after = appended(before, new.table)
    with TemporaryDirectory() as beside:
        for name in (SETTINGS, *(spec.file for spec in FILES)):
            if name != _LOG and (into / name).is_file():
                (Path(beside) / name).write_bytes((into / name).read_bytes())
        (Path(beside) / _LOG).write_bytes(after)
        read_campaign(beside)

    def append() -> Path:
        with only_writer(log.with_name(f".{_LOG}-lock")):
            try:
                return replace_kept(log, before, after)
            except ChangedMeanwhileError as error:
                raise InputError(
                    f"{error} changed while this ran; nothing was written. Look at it and run again"
                ) from error

    return append


def _own_data(results: Path, fit: "Fit") -> "xr.DataArray | None":
    """Return the column own_data of a results folder's table; None where it cannot be read."""
    import pandas as pd

    from holdcast.show.text.cells_csv import plain_cell

    try:
        table = pd.read_csv(
            results / "cells.csv", dtype={"anchor": str, "seabed": str}, keep_default_na=False
        )
        column = pd.to_numeric(table.set_index(["anchor", "seabed"])["own_data"], errors="coerce")
        labels = [[str(name) for name in fit.inputs[dim].to_numpy()] for dim in ("anchor", "seabed")]
        written = pd.MultiIndex.from_product([[plain_cell(name) for name in names] for names in labels])
        cells = pd.MultiIndex.from_product(labels, names=["anchor", "seabed"])
        ordered = column.reindex(written).set_axis(cells)
    except (OSError, ValueError, KeyError):
        warn(f"  {results / 'cells.csv'} cannot be read: own_data stays blank")
        return None
    return ordered.to_xarray()


def _write(fit: "Fit", added: "Added", folder: Path, append: Callable[[], Path] | None) -> list[Path]:
    """Write the two tables and, as the last thing that can fail, the rows into the campaign."""
    from holdcast.commands.published.carried import carried_of
    from holdcast.show.text.cells_csv import cells_csv, table_csv

    approximate = fit.verdict.approximate
    cells = cells_csv(added.cells, approximate=approximate, carried=carried_of(fit))
    backups: list[Path] = []

    def write(beside: Path) -> None:
        (beside / _FILES[0]).write_text(cells, encoding="utf-8")
        text = table_csv(added.surprise, approximate=approximate)
        (beside / _FILES[1]).write_text(text, encoding="utf-8")
        if append is not None:
            backups.append(append())

    with only_writer(folder.absolute().with_name(f".{folder.name}-lock")):
        swap_in(folder, write)
    describe_new_tables(folder.parent)
    return backups


def _answer(fit: "Fit", added: "Added", folder: Path, units: str, *, as_json: bool) -> None:
    from holdcast.answers.explain.influence import TRUSTED_K
    from holdcast.answers.readings.added import LEAST_DRAWS
    from holdcast.show.views.add import add_lines

    weights = added.weights
    update: dict[str, float] = {
        "trusted": weights.trusted,
        "pareto_k": weights.pareto_k,
        "effective_draws": weights.effective,
        "trusted_k": TRUSTED_K,
        "least_draws": LEAST_DRAWS,
        "by_steps": added.by_steps,
        "cells_held": int(added.cells["update_holds"].sum()),
    }
    if as_json:
        plain = {name: finite_or_none(value) for name, value in update.items()}
        marks = {"ok": fit.verdict.ok, "approximate": fit.verdict.approximate, "results": str(folder)}
        tables = {"surprise": added.surprise, "moves": added.moves, "left_out": added.left_out}
        say_json({**marks, "update": plain, **{name: records(table) for name, table in tables.items()}})
        return
    say_answer(fit, add_lines(added.surprise, added.moves, added.left_out, update, units))
