"""What a reader asks and looks up, as text for the page's template."""

import json

import xarray as xr

from holdcast.physics.units import MPS_PER_KNOT
from holdcast.show.report.all_rounder import all_rounder_content
from holdcast.show.report.anchor_sheets import anchor_sheets
from holdcast.show.report.page_data import Reader, price_column
from holdcast.show.report.score_sheet import anchor_order, chances_table, score_sheet
from holdcast.show.text.cell_rows import words
from holdcast.show.text.numbers import format_load, load_unit, on_screen, to_screen_load

__all__ = ["reader_content"]


def reader_content(cells: xr.Dataset, reader: Reader, units: str) -> dict[str, object]:
    """Return the content of chooser, score sheet and anchors' sheets; the page escapes all of it."""
    order = anchor_order(cells)
    length, wind, load = reader.first_boat
    unit, _ = on_screen("kg", units)
    metre_unit, metre = on_screen("m", units)
    sheet = score_sheet(cells, reader, units, _threshold(cells))
    price = price_column(reader.carried)
    return {
        "sheet": sheet,
        "questions": reader.questions,
        "every": all_rounder_content(reader.all_rounder, order),
        "curves": reader.curves is not None,
        "sheets": anchor_sheets(cells, reader, order, units),
        "mass_unit": f"mass, {unit}",
        "reader": {
            "length": f"{length / metre:.3g}",
            "length_unit": metre_unit,
            "units": units,
            "wind": f"{wind / MPS_PER_KNOT:.3g}",
            "load": f"{format_load(load, units)} {load_unit(units)}",
            "load_number": f"{to_screen_load(load, units):.3g}",
            "chances": chances_table(reader, order),
            "first_seabeds": [str(name) for name in reader.first_chances["seabed"].to_numpy() if name][:1],
            "price": words(price),
        },
    }


def _threshold(cells: xr.Dataset) -> float | None:
    threshold = json.loads(str(cells.attrs.get("thresholds", "{}"))).get("efficiency")
    return None if threshold is None else float(threshold)
