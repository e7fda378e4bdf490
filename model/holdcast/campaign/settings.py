"""campaign.toml: title, units for the screen, the boat, thresholds, priors and weights."""

import math
import tomllib
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field

from holdcast.campaign.checks.collected import Findings, nearest, shorten
from holdcast.campaign.columns.cell_values import hidden_characters
from holdcast.campaign.columns.known_columns import TESTS
from holdcast.campaign.files.limits import MOST_DIGITS, MOST_LABEL_CHARACTERS, MOST_LEVELS
from holdcast.campaign.files.tables import decode
from holdcast.physics.units import FACTORS, to_stored

__all__ = ["FILE", "Settings", "check_weights", "read_settings"]

FILE = "campaign.toml"
_TEXTS = ("title", "author", "licence")
_TABLES = ("boat", "thresholds", "priors", "weights")
_KINDS = "kinds"
"""The table within [weights] that weighs kinds of test; a number of that name weighs a seabed so called."""
_BOAT_KEYS = {f"bow_height_{unit}": unit for unit in FACTORS["length"]}


@dataclass(frozen=True)
class Settings:
    """What campaign.toml says, or the defaults."""

    title: str = ""
    author: str = ""
    licence: str = ""
    units: str = "si"
    boat: Mapping[str, float] = field(default_factory=dict)
    thresholds: Mapping[str, float] = field(default_factory=dict)
    priors: Mapping[str, Mapping[str, object]] = field(default_factory=dict)
    weights: Mapping[str, float] = field(default_factory=dict)
    kind_weights: Mapping[str, float] = field(default_factory=dict)


def read_settings(data: bytes, findings: Findings) -> Settings:
    """Read campaign.toml, adding a fault for each key or value that is not allowed."""
    text = decode(data, FILE, findings)
    if text is None:
        return Settings()
    written = _written(text, findings)
    if written is None:
        return Settings()
    _check_keys(written, (*_TEXTS, "units", *_TABLES), "", findings)
    tables = {name: _table(written, name, findings) for name in _TABLES}
    weights = dict(tables["weights"])
    kinds = weights.pop(_KINDS) if isinstance(weights.get(_KINDS), dict) else {}
    return Settings(
        **{name: _text(written, name, findings) for name in _TEXTS},
        units=_units(written, findings),
        boat=_boat(tables["boat"], findings),
        thresholds=_thresholds(tables["thresholds"], findings),
        priors=_priors(tables["priors"], findings),
        weights=_numbers(weights, "weights", findings, positive=False),
        kind_weights=_kind_weights(kinds, findings, with_seabeds=bool(weights)),
    )


def _written(text: str, findings: Findings) -> Mapping[str, object] | None:
    """Return what a text of TOML holds, or None after a fault."""
    try:
        written = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        fix = 'Text stands in quotation marks: title = "Spring tests"; a table begins with its [name].'
        findings.fault(FILE, f"a file that is not TOML ({error})", "", fix)
    except ValueError:  # of Python, for a number of thousands of digits
        _too_long_a_number("a whole number of thousands of digits", "", findings)
    except RecursionError:
        _too_deep("", findings)
    else:
        return written if _within_limits(written, findings) else None
    return None


def _within_limits(written: Mapping[str, object], findings: Findings) -> bool:
    """Add a fault for a number too long or tables too deep to be shown; true when there is none."""
    waiting: list[tuple[str, object, int]] = [(key, value, 1) for key, value in written.items()]
    for key, value, level in waiting:  # which grows meanwhile
        if level > MOST_LEVELS:
            _too_deep(key.split(".")[0], findings)
            return False
        if isinstance(value, dict):
            waiting += [(f"{key}.{name}", inner, level + 1) for name, inner in value.items()]
        elif isinstance(value, list):
            waiting += [(key, inner, level + 1) for inner in value]
        elif isinstance(value, int) and abs(value) >= 10**MOST_DIGITS:
            _too_long_a_number(f"a whole number of over {MOST_DIGITS} digits", key, findings)
            return False
    return True


def _too_long_a_number(number: str, key: str, findings: Findings) -> None:
    fix = "Write a shorter number, or a text in quotation marks."
    findings.fault(FILE, number, f"up to {MOST_DIGITS} digits", fix, column=key[:MOST_LABEL_CHARACTERS])


def _too_deep(key: str, findings: Findings) -> None:
    found, fix = "tables or lists within each other", "No setting needs more than three levels."
    findings.fault(FILE, found, f"up to {MOST_LEVELS} levels", fix, column=key[:MOST_LABEL_CHARACTERS])


def check_weights(weights: Mapping[str, float], seabeds: Collection[str], findings: Findings) -> None:
    """Add a fault for each weight of an unknown seabed, and when no weight is above zero."""
    for name in weights:
        if name not in seabeds:
            likely = nearest(name, seabeds)
            fix = f"Did you mean {likely}?" if likely else "Write a seabed's name as seabeds.csv has it."
            findings.fault(
                FILE, f"the unknown seabed {shorten(name)}", "names in seabeds.csv", fix, column="weights"
            )
    if weights and not any(weight > 0 for weight in weights.values()):
        fix = "Give at least one seabed a weight, or remove the table."
        findings.fault(FILE, "no weight above zero", "a number above 0", fix, column="weights")


def _check_keys(written: Mapping[str, object], keys: Collection[str], table: str, findings: Findings) -> None:
    for key in written:
        if key not in keys:
            likely = nearest(key, keys)
            fix = f"Did you mean {likely}?" if likely else "Remove it."
            findings.fault(FILE, f"the unknown key {shorten(key)}", ", ".join(keys), fix, column=table)


def _wrong(key: str, value: object, allowed: str, fix: str, findings: Findings) -> None:
    findings.fault(FILE, shorten(str(value)), allowed, fix, column=key)


def _text(written: Mapping[str, object], key: str, findings: Findings) -> str:
    value = written.get(key, "")
    if not isinstance(value, str):
        _wrong(key, value, "text", f'Put it in quotation marks: {key} = "…".', findings)
        return ""
    if hidden := hidden_characters(value, line_breaks=False):
        _wrong(key, value, "printable text on one line", f"Remove {hidden}.", findings)
        return ""
    if len(value) > MOST_LABEL_CHARACTERS:
        fix = "Keep it to one line; a longer text has its place in a file of its own."
        found = f"{shorten(value)}, {len(value):,} characters"
        findings.fault(FILE, found, f"up to {MOST_LABEL_CHARACTERS} characters", fix, column=key)
        return ""
    return value.strip()


def _units(written: Mapping[str, object], findings: Findings) -> str:
    value = written.get("units", "si")
    if value in ("si", "us"):
        return str(value)
    _wrong(
        "units",
        value,
        '"si" or "us"',
        "It sets the units of the screen only; columns name their own.",
        findings,
    )
    return "si"


def _table(written: Mapping[str, object], name: str, findings: Findings) -> Mapping[str, object]:
    value = written.get(name, {})
    if isinstance(value, dict):
        return value
    _wrong(
        name,
        value,
        f"a table that begins with [{name}]",
        f"Write [{name}] on a line, its keys below.",
        findings,
    )
    return {}


def _numbers(
    table: Mapping[str, object], name: str, findings: Findings, *, positive: bool
) -> dict[str, float]:
    """Return the table's finite numbers; anything else is a fault."""
    numbers: dict[str, float] = {}
    allowed = "a number above 0" if positive else "a number, 0 or more"
    for key, value in table.items():
        number = _finite(value)
        if number is None or number < 0 or (positive and number == 0):
            _wrong(f"{name}.{key}", value, allowed, "Write a plain number without quotation marks.", findings)
        else:
            numbers[key] = number
    return numbers


def _kind_weights(table: object, findings: Findings, *, with_seabeds: bool) -> dict[str, float]:
    """Return the weights of kinds of test, adding a fault where they weigh nothing."""
    if not isinstance(table, dict) or not table:
        return {}
    name = f"weights.{_KINDS}"
    _check_keys(table, TESTS, name, findings)
    of_a_kind = {key: value for key, value in table.items() if key in TESTS}
    numbers = _numbers(of_a_kind, name, findings, positive=False)
    if not with_seabeds:
        fix = 'Give seabeds weights too, in [weights]: "creek silt" = 1.'
        findings.fault(FILE, "weights of kinds of test, and of no seabed", "both", fix, column=name)
    elif len(numbers) == len(table) and not any(number > 0 for number in numbers.values()):
        fix = "Give at least one kind of test a weight, or remove the table."
        findings.fault(FILE, "no weight above zero", "a number above 0", fix, column=name)
    return numbers


def _finite(value: object) -> float | None:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    try:
        number = float(value)
    except OverflowError:
        return None
    return number if math.isfinite(number) else None


def _boat(table: Mapping[str, object], findings: Findings) -> dict[str, float]:
    _check_keys(table, _BOAT_KEYS, "boat", findings)
    numbers = _numbers({k: v for k, v in table.items() if k in _BOAT_KEYS}, "boat", findings, positive=False)
    if len(numbers) > 1:
        fix = "Keep one of them."
        findings.fault(
            FILE, f"one quantity in two units ({', '.join(numbers)})", "one unit", fix, column="boat"
        )
    heights = {k: to_stored(value, "length", _BOAT_KEYS[k]) for k, value in numbers.items()}
    for key, height in heights.items():
        if height > 100.0:
            fix = "Check the unit: it is the height of the bow roller above the water."
            _wrong(f"boat.{key}", numbers[key], "not over 100 m", fix, findings)
    return {"bow_height_m": next(iter(heights.values()))} if heights else {}


def _thresholds(table: Mapping[str, object], findings: Findings) -> dict[str, float]:
    _check_keys(table, ("efficiency",), "thresholds", findings)
    return _numbers(
        {k: v for k, v in table.items() if k == "efficiency"}, "thresholds", findings, positive=True
    )


def _priors(table: Mapping[str, object], findings: Findings) -> dict[str, Mapping[str, object]]:
    priors: dict[str, Mapping[str, object]] = {}
    for name, value in table.items():
        if isinstance(value, dict):
            priors[name] = value
        else:
            _wrong(f"priors.{name}", value, "a table", f"Write [priors.{name}] and its keys below.", findings)
    return priors
