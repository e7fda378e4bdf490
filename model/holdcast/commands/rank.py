"""``holdcast rank``: which anchor holds more, as far as the draws can tell."""

from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from holdcast.commands.shared.answering import (
    Everything,
    Picture,
    PictureSizes,
    Results,
    ask,
    records,
    say_answer,
    say_drawn,
    say_reading,
    wrapped,
    write_csv,
)
from holdcast.commands.shared.common import AsJson, InputError, Units, say_json

if TYPE_CHECKING:
    import pandas as pd
    import xarray as xr

    from holdcast.answers.rank.measures import Measure
    from holdcast.capacity.fitting import Fit
    from holdcast.show.figures.sheet import PictureSize

__all__ = ["rank"]

_MEASURES: "dict[str, Measure]" = {
    "pulls": "capacity",
    "capacity": "capacity",
    "efficiency": "efficiency",
    "resets": "resets",
    "veers": "veers",
}


OneSeabed = Annotated[list[str] | None, typer.Option(help="Only this seabed; may be repeated.")]
Weight = Annotated[
    list[str] | None, typer.Option(help="A seabed's weight in an overall ranking, as SEABED=NUMBER.")
]
KindWeight = Annotated[
    list[str] | None,
    typer.Option(help="A kind of test's weight in it, as KIND=NUMBER; kinds: pull, reset, veer."),
]
Efficiency = Annotated[
    float | None, typer.Option(help="Also: probability that every seabed exceeds this holding efficiency.")
]
Without = Annotated[list[str] | None, typer.Option(help="Leave this seabed out; may be repeated.")]
By = Annotated[
    Literal["pulls", "resets", "veers", "capacity", "efficiency"],
    typer.Option(
        help="What is ranked: pulls (the same as capacity), setting again, what is kept in a turn, or "
        "capacity over weight."
    ),
]


def rank(  # noqa: PLR0913  every option of the command line is an argument
    results: Results,
    seabed: OneSeabed = None,
    weight: Weight = None,
    kind_weight: KindWeight = None,
    efficiency: Efficiency = None,
    without: Without = None,
    by: By = "pulls",
    everything: Everything = False,
    picture: Picture = False,
    picture_size: PictureSizes = None,
    units: Units = None,
    as_json: AsJson = False,
) -> None:
    """Rank the anchors in each seabed: median rank and band, chance of being best, what cannot be told apart.

    Example: holdcast rank my-log/results --weight "creek silt=1" --weight "north bar sand=2" --kind-weight
    pull=1 --kind-weight reset=0.5 --without "stony spit"

    Resets alone: holdcast rank my-log/results --by resets
    """
    say_reading(results)
    from holdcast.answers.rank.all_rounder import all_rounder
    from holdcast.answers.rank.rank import ranking, weighted_ranking
    from holdcast.capacity.store import load

    fit = load(results)
    left_out, measure = without or [], _MEASURES[by]
    weights = _seabed_weights(fit, weight or [], left_out)
    kinds = _kind_weights(fit, kind_weight or []) if _of_loads(measure) else {}
    ranked = ask(lambda: ranking(fit, _chosen(fit, seabed or [], left_out), measure=measure))
    over = partial(weighted_ranking, fit, weights, kinds=kinds, measure=measure)
    weighted = ask(over) if weights else None
    every = ask(lambda: all_rounder(fit, efficiency, without=left_out)) if efficiency is not None else None
    rows = _rows(ranked, weighted)
    table = _write(fit, results, rows, every, (picture, picture_size))
    _say(
        fit,
        rows,
        (ranked, weighted, every),
        _json(fit, weights, kinds, table, every) if as_json else None,
        everything,
    )


def _say(
    fit: "Fit",
    rows: "list[pd.DataFrame]",
    answers: "tuple[xr.Dataset, xr.Dataset | None, xr.Dataset | None]",
    as_json: dict[str, object] | None,
    everything: bool,
) -> None:
    if as_json is not None:
        say_json(as_json)
        return
    say_answer(fit, _lines(rows, *answers, everything=everything))


def _json(
    fit: "Fit",
    weights: dict[str, float],
    kinds: dict[str, float],
    table: "pd.DataFrame",
    every: "xr.Dataset | None",
) -> dict[str, object]:
    names = ("efficiency", "seabeds", "left_out")
    extra = {} if every is None else {name: every.attrs[name] for name in names}
    marks = {"reliable": fit.verdict.ok, "approximate": fit.verdict.approximate}
    return {**marks, "weights": weights, "kind_weights": kinds, "rows": records(table), **extra}


def _rows(ranked: "xr.Dataset", weighted: "xr.Dataset | None") -> "list[pd.DataFrame]":
    """Return the rows of the seabeds, then the weighted ones; those of a single seabed by median rank."""
    from holdcast.show.views.rank import by_median, ranking_rows

    rows = ranking_rows(ranked, "seabed")
    first = by_median(rows) if ranked.sizes["seabed"] == 1 else rows
    return [first] if weighted is None else [first, ranking_rows(weighted, "weighted")]


def _write(
    fit: "Fit",
    results: Path,
    rows: "list[pd.DataFrame]",
    every: "xr.Dataset | None",
    pictures: "tuple[bool, Sequence[PictureSize] | None]",
) -> "pd.DataFrame":
    """Write ranking.csv, and the pictures if asked for; return the whole table."""
    import pandas as pd

    from holdcast.show.views.rank import every_rows

    table = pd.concat([*rows, *([] if every is None else [every_rows(every)])], ignore_index=True)
    write_csv(table, results / "ranking.csv", approximate=fit.verdict.approximate)
    say_drawn(partial(_draw, fit, rows, every, results / "figures"), *pictures)
    return table


def _draw(
    fit: "Fit",
    rows: "list[pd.DataFrame]",
    every: "xr.Dataset | None",
    folder: Path,
    shapes: "Sequence[PictureSize]",
) -> list[Path]:
    import pandas as pd

    from holdcast.show.figures.intervals import save_figure
    from holdcast.show.views.all_rounder import save_all_rounder
    from holdcast.show.views.rank import ranking_sheet

    single, reliable = len(set(rows[0]["seabed"])) == 1, fit.verdict.ok
    drawn = rows[0] if single else pd.concat(rows, ignore_index=True)
    written = save_figure(ranking_sheet(drawn, fit.tree.attrs, reliable=reliable), folder, "rank", shapes)
    if every is not None:
        written += save_all_rounder(every, folder, reliable=reliable, sizes=shapes)
    return written


def _lines(
    rows: "list[pd.DataFrame]",
    ranked: "xr.Dataset",
    weighted: "xr.Dataset | None",
    every: "xr.Dataset | None",
    *,
    everything: bool,
) -> list[str]:
    """Return the overall ranking first where one was asked for, then the seabeds."""
    from holdcast.show.views.rank import every_lines, overall_lines, ranking_lines, wrong_pairs_sentence
    from holdcast.show.views.rank_words import ranked_by_sentence

    lines = wrapped([ranked_by_sentence(_measure_of(rows[0]))])
    pairs = ["", *wrapped([wrong_pairs_sentence(ranked)])]
    if weighted is not None:
        show = ranking_lines if everything else overall_lines
        lines += show(rows[1], _weighted_heading(weighted))
        if weighted.attrs["left_out"]:
            lines += wrapped([f"The log holds no test of kind {weighted.attrs['left_out']}: left out."])
    if every is not None:
        lines += every_lines(every)
    single = len(set(rows[0]["seabed"])) == 1
    if everything or single:
        return [*lines, *_tables(rows[0], single=single), *pairs]
    if weighted is None and every is None:
        lines += ["", *_short(rows[0])]
    return [*lines, *wrapped(["Every anchor in every seabed: ranking.csv, or --all."]), *pairs]


def _weighted_heading(weighted: "xr.Dataset") -> str:
    kinds = weighted.attrs["kinds"]
    return f"Weighted: {weighted.attrs['weights']}" + (f" (kinds of test: {kinds})" if kinds else "")


def _of_loads(measure: str) -> bool:
    return measure in ("capacity", "efficiency")


def _tables(rows: "pd.DataFrame", *, single: bool) -> list[str]:
    from holdcast.show.text.sentences import BY_FORM_AND_NAME
    from holdcast.show.views.rank import ranking_lines
    from holdcast.show.views.rank_words import how_to_read_ranks

    order = "Rows stand by median rank; read it with its band." if single else BY_FORM_AND_NAME
    tables = [
        line
        for seabed, part in rows.groupby("seabed", sort=False)
        for line in ranking_lines(part, str(seabed))
    ]
    return [*tables, "", *wrapped([*how_to_read_ranks(_measure_of(rows)), order])]


def _short(rows: "pd.DataFrame") -> list[str]:
    from holdcast.show.text.sentences import BY_FORM_AND_NAME
    from holdcast.show.views.rank import short_ranking_lines
    from holdcast.show.views.rank_words import how_to_read_short_ranks

    notes = [*how_to_read_short_ranks(_measure_of(rows)), BY_FORM_AND_NAME]
    return [*short_ranking_lines(rows), "", *wrapped(notes)]


def _measure_of(rows: "pd.DataFrame") -> str:
    return str(rows["measure"].iloc[0])


def _chosen(fit: "Fit", seabeds: list[str], without: list[str]) -> list[str]:
    """Return the seabeds to rank in, in the campaign's order.

    Raises
    ------
    KeyError
        When one is not known.
    ValueError
        When none is left.
    """
    from holdcast.answers.draws.draws import draws_of

    draws = draws_of(fit)
    draws.labels("seabed", [*seabeds, *without])
    seabeds_ranked = [
        name for name in draws.labels("seabed") if (not seabeds or name in seabeds) and name not in without
    ]
    if not seabeds_ranked:
        raise ValueError("every seabed asked for is left out by --without, so nothing is left to rank")
    return seabeds_ranked


def _seabed_weights(fit: "Fit", written: list[str], without: list[str]) -> dict[str, float]:
    """Return the weights of the command line, else those of campaign.toml, without the seabeds left out.

    Raises
    ------
    InputError
        With every weight that cannot be read.
    """
    weights = _read_weights(written, '--weight needs SEABED=NUMBER, such as "creek silt=0.5"')
    weights = weights or _of_campaign(fit, "weights")
    return {seabed: value for seabed, value in weights.items() if seabed not in without}


def _kind_weights(fit: "Fit", written: list[str]) -> dict[str, float]:
    """Return the weights of kinds of test of the command line, else those of campaign.toml."""
    weights = _read_weights(written, "--kind-weight needs KIND=NUMBER, such as reset=0.5")
    return weights or _of_campaign(fit, "kind_weights")


def _of_campaign(fit: "Fit", name: str) -> dict[str, float]:
    import json

    weights = json.loads(str(fit.tree.attrs.get(name, "{}")))
    return {str(label): float(weight) for label, weight in weights.items() if weight > 0}


def _read_weights(written: list[str], needs: str) -> dict[str, float]:
    weights: dict[str, float] = {}
    wrong = []
    for text in written:
        name, equals, number = text.rpartition("=")
        try:
            weights[name.strip()] = float(number)
        except ValueError:
            equals = ""
        if not equals or not name.strip():
            wrong.append(text)
    if wrong:
        raise InputError(f"{needs}; got {', '.join(map(repr, wrong))}")
    return weights
