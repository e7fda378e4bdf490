"""What a reader asks next, as sentences and tables for the page: who ranks where, features, sizes."""

from collections.abc import Sequence
from typing import NamedTuple

import pandas as pd
import xarray as xr

from holdcast.show.text.cell_rows import words
from holdcast.show.text.numbers import format_load, load_unit, on_screen
from holdcast.show.text.plain_table import TableRow, TextTable, each_row
from holdcast.show.views.features.screen import (
    HOW_TO_READ_SHORT_EFFECTS,
    feature_table,
    no_tests_sentences,
)
from holdcast.show.views.rank import best_sentence, rank_cell, wrong_pairs_sentence
from holdcast.show.views.rank_words import RANKS_APART, ranked_by_sentence, untested_sentence
from holdcast.show.views.sizes import mass_text

__all__ = ["Question", "features_question", "ranking_question", "sizes_question"]


_ROUNDING = 1e-9


class Question(NamedTuple):
    """One question: its place in the page's contents, how to read the answer, the answer.

    Attributes
    ----------
    mark : str
        Name of the place, for links.
    short, title : str
        For the contents, and the heading.
    sentences : sequence of str
        How to read the tables, and what they say.
    tables : sequence of TextTable
        Their first column names the row.
    """

    mark: str
    short: str
    title: str
    sentences: Sequence[str]
    tables: Sequence[TextTable]


def ranking_question(ranked: xr.Dataset, rows: pd.DataFrame) -> Question:
    """Return median ranks and their bands by seabed, and who may be best in each.

    Parameters
    ----------
    ranked : Dataset
        As from ``holdcast.answers.rank``.
    rows : DataFrame
        The same as ``ranking_rows`` gives it.
    """
    measure = str(ranked.attrs["measure"])
    by_cell = rows.set_index(["anchor", "seabed"])
    seabeds = list(dict.fromkeys(rows["seabed"]))
    body = [
        [name, *(rank_cell(by_cell.loc[(name, seabed)]) for seabed in seabeds)]
        for name in dict.fromkeys(rows["anchor"])
    ]
    sentences = (
        f"{ranked_by_sentence(measure)} Rank 1 is the best: the median rank first, then its 90% band. "
        f"{RANKS_APART} {wrong_pairs_sentence(ranked)} {untested_sentence(measure)}",
        *(best_sentence(part, str(seabed)) for seabed, part in rows.groupby("seabed", sort=False)),
    )
    title = "Who holds more, and who cannot be told apart"
    return Question("ranks", "ranks", title, sentences, [TextTable("Ranks", ["anchor", *seabeds], body)])


def features_question(rows: pd.DataFrame, pooled: xr.Dataset, setting: xr.Dataset) -> Question:
    """Return what each feature does to capacity, to setting, to setting again and in a turn.

    Parameters
    ----------
    rows : DataFrame
        From ``with_setting``.
    pooled : Dataset
        From ``pooled_effects``.
    setting : Dataset
        From ``setting_effects``.
    """
    header, body = feature_table(rows, pooled, setting)
    return Question(
        "features",
        "features",
        "What a feature does",
        (*HOW_TO_READ_SHORT_EFFECTS, *no_tests_sentences(setting)),
        [TextTable("What features do", header, body)],
    )


def sizes_question(sizes: pd.DataFrame, seabed: str, units: str) -> Question:
    """Return capacity of each design at round masses in one seabed.

    Parameters
    ----------
    sizes : DataFrame
        From ``sizes_table``, one seabed.
    seabed : str
        Which.
    units : {"si", "us"}
        Of masses and loads.
    """
    unit = on_screen("kg", units)[0]
    masses = sorted(set(sizes["mass_kg"]))
    body = []
    for shape, part in sizes.groupby("shape", sort=False):
        own = {row.mass_kg: row for row in each_row(part)}
        cells = [_size_cell(own[mass], units) for mass in masses]
        body.append(
            [words(str(shape)), "tested" if own[masses[0]].evidence == "tested" else "untested", *cells]
        )
    header = ["design", f"in {seabed}", *(f"{mass_text(mass, units)} {unit}" for mass in masses)]
    sentence = (
        f"Capacity in {load_unit(units)} of each design at other masses of the same shape, in {seabed}: the "
        "median, then the 90% band. *: beyond the tested masses of the design, an extrapolation. The command "
        "sizes tells of other masses and seabeds, and what mass a load needs."
    )
    return Question(
        "sizes",
        "sizes",
        "What another size would hold",
        [sentence],
        [TextTable("Capacity by mass", header, body)],
    )


def _size_cell(row: TableRow, units: str) -> str:
    quantiles = (row.capacity_n_q05, row.capacity_n_q50, row.capacity_n_q95)
    low, middle, high = (format_load(load, units) for load in quantiles)
    beyond = row.times_largest > 1.0 + _ROUNDING or row.times_smallest < 1.0 - _ROUNDING
    return f"{middle}{'*' if beyond else ''} ({low} to {high})"
