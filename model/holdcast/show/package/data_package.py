"""``datapackage.json``: the tables of a results folder, described for other programs.

A Tabular Data Package as of the Frictionless specification (Data Package 1, Tabular Data Resource 1, Table
Schema 1; https://specs.frictionlessdata.io, value from memory): one resource for each table that lies there,
with the kind, unit and meaning of each of its columns.
"""

import csv
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from holdcast.show.package.columns import KEYS, TABLES, Column

__all__ = ["PACKAGE_FILE", "data_package", "with_new_tables"]

PACKAGE_FILE = "datapackage.json"
_APPROXIMATE = Column("boolean", "yes in every row of a quick fit; a full one has no such column")
_ABOUT = (
    "Holding capacity of anchors with its uncertainty: typical test pulls, no guarantee and no safety "
    "factor. All numbers are in SI units."
)
_OWN = "a column of the tester's own, as it stands in their files"


def data_package(folder: Path, attributes: Mapping[Any, object]) -> str:
    """Return the content of ``datapackage.json`` for the tables that lie in a folder.

    Parameters
    ----------
    folder : Path
        Of results; the first row of each of its tables is read.
    attributes : mapping
        ``title``, ``licence`` and ``version`` of the fit, as at the root of its tree; blank: left out.

    Returns
    -------
    str
        JSON; tables in a fixed order.

    Raises
    ------
    OSError
        When a table cannot be read.
    """
    title, licence, version = (str(attributes.get(key, "")) for key in ("title", "licence", "version"))
    package: dict[str, object] = {
        "profile": "tabular-data-package",
        "name": "holdcast-results",
        **({"title": title} if title else {}),
        "description": _ABOUT,
        **({"version": version} if version else {}),
        **({"licenses": [{"name": licence}]} if licence else {}),
        "resources": _resources(folder),
    }
    return _text(package)


def with_new_tables(content: str, folder: Path) -> str:
    """Return the content of ``datapackage.json`` with the tables that lie in its folder now.

    Raises
    ------
    ValueError
        When the content is no such file.
    OSError
        When a table cannot be read.
    """
    package = json.loads(content)
    if not isinstance(package, dict) or "resources" not in package:
        raise ValueError(f"{PACKAGE_FILE} describes no tables")
    return _text({**package, "resources": _resources(folder)})


def _text(package: Mapping[str, object]) -> str:
    return json.dumps(package, indent=1, ensure_ascii=False) + "\n"


def _resources(folder: Path) -> list[dict[str, object]]:
    return [_resource(folder, name) for name in TABLES if (folder / name).is_file()]


def _resource(folder: Path, name: str) -> dict[str, object]:
    with (folder / name).open(encoding="utf-8", newline="") as stream:
        header = next(csv.reader(stream), [])
    schema: dict[str, object] = {"fields": [_field(name, each) for each in header], "missingValues": [""]}
    if name in KEYS:
        schema["primaryKey"] = list(KEYS[name])
    return {
        "name": name.removesuffix(".csv").replace("/", "-").replace("_", "-"),
        "path": name,
        "profile": "tabular-data-resource",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "schema": schema,
    }


def _field(table: str, header: str) -> dict[str, object]:
    column = _APPROXIMATE if header == "approximate" else TABLES[table].get(header)
    if column is None:
        return {"name": header, "type": "any", "description": _OWN}
    field: dict[str, object] = {"name": header, "type": column.kind, "description": column.words}
    if column.unit:
        field["unit"] = column.unit
    if column.kind == "boolean":
        field |= {"trueValues": ["yes"], "falseValues": ["no"]}
    return field
