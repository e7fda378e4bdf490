"""The report page: from labelled data and sentences to one HTML file that needs nothing else."""

from collections.abc import Mapping, Sequence
from numbers import Integral, Real
from typing import TYPE_CHECKING, NamedTuple

import pandas as pd
import xarray as xr
from markupsafe import Markup

from holdcast.campaign.records import gathered_by_cell
from holdcast.findings import one_of_each_kind
from holdcast.plain_numbers import significant
from holdcast.show.report.offline import file_text, render, source_hash, trusted
from holdcast.show.report.page_data import Reader, data_json
from holdcast.show.report.reader import reader_content
from holdcast.show.report.score_sheet import anchor_order
from holdcast.show.text.cautions import CAUTIONS, SHORT_CAUTION
from holdcast.show.text.cell_rows import cell_rows, seabed_label, words
from holdcast.show.text.numbers import (
    align_decimals,
    format_chance,
    format_efficiency,
    format_load,
    format_share,
    load_unit,
)
from holdcast.show.text.result_doubts import (
    MOST_PULLS,
    PULLS_TO_CHECK_MEANING,
    pull_to_check_cells,
    pulls_to_check_header,
)
from holdcast.show.text.sentences import (
    CAPACITY_MEANING,
    ORDER_NOTE,
    READING_A_BAND,
    UNRELIABLE,
    WARNING,
    provenance_sentence,
    verdict_sentences,
)

if TYPE_CHECKING:
    from holdcast.answers.doubts.result_doubt import ResultDoubt
    from holdcast.campaign.records import Finding, PullToCheck
    from holdcast.show.text.plain_table import TextTable

__all__ = ["LogFacts", "ModelCheck", "Pictures", "report_html"]

_PACKAGE = "holdcast.show.report"
_QUANTILES = ("q05", "q25", "q50", "q75", "q95")
# Spaces exactly as wide as a digit and as a point, so that numbers set to the right align at the point.
_FIGURE_SPACE, _POINT_SPACE = "\u2007", "\u2008"
_IN_AN_ADDRESS = {ord(letter): f"%{ord(letter):02X}" for letter in '%<>"#&\\\n\r\t'}
"""What would end the attribute, or mean something else in an address (RFC 3986, 2.1)."""
_SCRIPTS = ("shared.js", "chooser.js", "sheet.js", "curves.js", "every.js")
"""In this order, since the first is used by the others."""
_FACTS = ("title", "author", "licence", "version", "newest_trial", "seed", "input_hash")


class LogFacts(NamedTuple):
    """What became of the log.

    Attributes
    ----------
    accounting : str
        Where every row went, as from ``accounting_sentence``.
    excluded : pandas.DataFrame
        Columns ``trial`` and ``reason``.
    doubts : sequence of Finding
        What the check wondered about, odd pulls apart.
    result_doubts : sequence of ResultDoubt
        What speaks against a capacity that came out.
    pulls_to_check : sequence of PullToCheck
        Pulls to look at again.
    """

    accounting: str
    excluded: pd.DataFrame
    doubts: "Sequence[Finding]" = ()
    result_doubts: "Sequence[ResultDoubt]" = ()
    pulls_to_check: "Sequence[PullToCheck]" = ()


class Pictures(NamedTuple):
    """Pictures as SVG text, of each a wide and a narrow one for each page of anchors.

    Attributes
    ----------
    capacity : sequence of (str, str)
        As from ``figure_svgs``.
    setting : sequence of (str, str)
        Of setting again and of what a turn leaves; none where the log holds no such tests.
    """

    capacity: Sequence[tuple[str, str]]
    setting: Sequence[tuple[str, str]] = ()


class ModelCheck(NamedTuple):
    """What the model misses of the log's own pulls: how to read it, what was found, and the tables of it."""

    reading: Sequence[str]
    sentences: Sequence[str]
    tables: "Sequence[TextTable]"


def report_html(
    cells: xr.Dataset,
    verdict: Mapping[str, object],
    log: LogFacts,
    priors: pd.DataFrame,
    pictures: Pictures,
    check: ModelCheck,
    units: str = "si",
    reader: Reader | None = None,
) -> str:
    """Return the report as one HTML document: nothing is fetched, figures inside, one script of our own.

    The policy of the page lets that script and its style through by their hashes, and nothing else.

    Parameters
    ----------
    cells : xarray.Dataset
        Dims ``anchor``, ``seabed``, ``quantile``, loads in N. Attributes ``title``, ``author``, ``licence``,
        ``version``, ``newest_trial`` (ISO date), ``seed`` and ``input_hash`` are printed; one that is missing
        reads "not recorded".
    verdict : mapping
        ``ok`` and ``sentences``; when ``ok`` is false the page is marked unreliable throughout.
    log : LogFacts
        What became of its rows, and the doubts about it.
    priors : pandas.DataFrame
        Printed as it comes, column by column, without its index.
    pictures : Pictures
        SVG text.
    check : ModelCheck
        How well the model fits the log.
    units : {"si", "us"}, default "si"
        kN or lbf.
    reader : Reader, optional
        What a reader can ask and look up; without it the page holds the record alone, and no script.


    Raises
    ------
    ValueError
        When a capacity comes without its band, the units are unknown, or ``log.excluded`` lacks a column.
    """
    missing = sorted({"trial", "reason"} - set(log.excluded.columns))
    if missing:
        raise ValueError(f"the table of excluded trials lacks {', '.join(missing)}")
    heading, *sentences = verdict_sentences(verdict)
    content = {
        "facts": {name: _fact(cells.attrs, name) for name in _FACTS},
        "provenance": provenance_sentence(cells.attrs),
        "reliable": verdict["ok"],
        "verdict_heading": heading,
        "verdict": sentences,
        "mark": UNRELIABLE,
        "warning": WARNING,
        "meaning": CAPACITY_MEANING,
        "cautions": CAUTIONS,
        "order_note": ORDER_NOTE,
        "reading": READING_A_BAND,
        "pictures": [
            {"about": about, "pages": [tuple(map(_data_address, pair)) for pair in pairs]}
            for about, pairs in pictures._asdict().items()
            if pairs
        ],
        "unit": load_unit(units),
        **_cell_content(cells, units),
        "check": check,
        **_log_content(log, units),
        "priors": _plain_table(priors),
        **_own_parts(cells, reader, units),
    }
    return render(_PACKAGE, "page.html.jinja", content)


def _log_content(log: LogFacts, units: str) -> dict[str, object]:
    """Return what became of the log's rows, doubts about them, and the pulls to look at again."""
    return {
        "accounting": log.accounting,
        "excluded": list(zip(log.excluded["trial"], log.excluded["reason"], strict=True)),
        "doubts": one_of_each_kind(log.doubts),
        "result_doubts": log.result_doubts,
        "pulls_to_check": [pull_to_check_cells(pull, units) for pull in gathered_by_cell(log.pulls_to_check)],
        "most_pulls": MOST_PULLS,
        "pulls_to_check_header": pulls_to_check_header(units),
        "pulls_to_check_meaning": PULLS_TO_CHECK_MEANING,
    }


def _own_parts(cells: xr.Dataset, reader: Reader | None, units: str) -> dict[str, object]:
    """Return style, script and data, the hashes that let them through, and what the reader's parts say."""
    style = file_text(_PACKAGE, "page.css") + file_text(_PACKAGE, "reader.css")
    parts: dict[str, object] = {
        "style": trusted(style),
        "style_source": trusted(source_hash(style)),
        "short_caution": SHORT_CAUTION,
        "script": "",
    }
    if reader is None:
        return parts
    script = "".join(file_text(_PACKAGE, name) for name in _SCRIPTS)
    return parts | {
        "script": trusted(script),
        "script_source": trusted(source_hash(script)),
        "data": trusted(data_json(reader, anchor_order(cells), units)),
        **reader_content(cells, reader, units),
    }


def _fact(attributes: Mapping[object, object], name: str) -> str:
    text = str(attributes.get(name, "")).strip()
    return text or ("Test campaign" if name == "title" else "not recorded")


def _data_address(svg: str) -> Markup:
    """Write an image into its own address, so that nothing is fetched and no script in it can run.

    What could end the attribute is written as percent and number: a tenth more text, where base64 is a third.
    """
    address = "data:image/svg+xml," + svg.translate(_IN_AN_ADDRESS)
    return Markup(address)  # noqa: S704  holds no quote, bracket or ampersand


def _aligned(texts: Sequence[str]) -> list[str]:
    return align_decimals(texts, digit=_FIGURE_SPACE, point=_POINT_SPACE)


def _cell_content(cells: xr.Dataset, units: str) -> dict[str, object]:
    """Return the cells as text by seabed and form, and whether columns that are often empty are needed."""
    rows = cell_rows(cells)
    columns: dict[str, Sequence[object]] = {
        name: rows[name].tolist() for name in ("anchor", "evidence", "pulls", "visits")
    }
    columns["bounded"] = [
        "never set" if never else sides if sides in ("at least", "at most") else ""
        for never, sides in zip(rows["never_set"], rows["bounded"], strict=True)
    ]
    columns["outside"] = (rows["range"] == "outside").tolist()
    columns["own_data"] = [
        ("~" if rough else "") + format_share(share) if share else ""
        for share, rough in zip(rows["own_data"], rows["own_data_rough"], strict=True)
    ]
    columns["above"] = ["" if pd.isna(share) else format_chance(share) for share in rows["above_threshold"]]
    for name in (*(f"capacity_n_{quantile}" for quantile in _QUANTILES), "new_pull_n_q05"):
        columns[name] = _aligned([format_load(load, units) for load in rows[name]])
    for name in ("efficiency_q05", "efficiency_q50", "efficiency_q95"):
        columns[name] = _aligned([format_efficiency(ratio) for ratio in rows[name]])
    texts = pd.DataFrame(columns, index=rows.index, dtype=object)
    blocks = [_seabed_content(part, texts.loc[part.index]) for _, part in rows.groupby("seabed", sort=False)]
    return {
        "seabeds": blocks,
        "any_rough": any(text.startswith("~") for text in map(str, columns["own_data"])),
        "any_outside": bool((rows["range"] == "outside").any()),
        "any_threshold": bool(rows["above_threshold"].notna().any()),
    }


def _seabed_content(rows: pd.DataFrame, texts: pd.DataFrame) -> dict[str, object]:
    first = rows.iloc[0]
    forms = [
        (words(str(form)), texts.loc[part.index].to_dict("records"))
        for form, part in rows.groupby("form", sort=False)
    ]
    return {
        "name": first["seabed"],
        "made_of": seabed_label(first["soil"], first["strength"]),
        "forms": forms,
    }


def _plain_table(table: pd.DataFrame) -> dict[str, object]:
    """Headings and rows as text, with each cell's class: numbers go to the right."""
    rows = [[_table_cell(value) for value in row] for row in table.itertuples(index=False, name=None)]
    return {"headings": [words(str(name)) for name in table.columns], "rows": rows}


def _table_cell(value: object) -> tuple[str, str]:
    if isinstance(value, bool) or not isinstance(value, Real):
        return ("" if value is None else str(value), "text")
    if isinstance(value, Integral):
        return (str(value), "number")
    return ("" if pd.isna(float(value)) else significant(float(value)), "number")
