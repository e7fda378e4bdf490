"""Every prior of the model as data: one table with its parameters, unit, reason and source."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from difflib import get_close_matches

import pandas as pd

from holdcast.campaign.records import CampaignError, Finding
from holdcast.capacity.model.design_parts import PARTS
from holdcast.capacity.model.prior_table import ROWS
from holdcast.capacity.model.setting_parts import SET_PARTS

__all__ = ["Prior", "default_priors", "parameter_names", "priors_table", "with_overrides"]

_PARAMETERS: Mapping[str, tuple[str, ...]] = {
    "normal": ("mean", "sd"),
    "log-normal": ("median", "log_sd"),
    "beta": ("low", "high", "a", "b"),
}
_SHARED_OVER = {"part": PARTS, "set_part": SET_PARTS}


def parameter_names(distribution: str, dims: str) -> tuple[str, ...]:
    """Return the names of a prior's parameters, in order; shares have the names of their parts."""
    return _SHARED_OVER[dims] if distribution == "dirichlet" else _PARAMETERS[distribution]


_MAY_BE_NEGATIVE = {("normal", "mean"), ("beta", "low")}


@dataclass(frozen=True)
class Prior:
    """One prior: a distribution with its parameters, and why it is so.

    Attributes
    ----------
    name : name of the model's variable.
    distribution : ``normal`` (mean, sd), ``log-normal`` (median, sd of the log), ``beta`` (on low to high,
        with shapes a and b) or ``dirichlet`` (weights of its parts).
    parameters : name of the parameter to its value.
    dims : named dimensions of the variable; blank for one number.
    unit : unit of the variable; ``1`` for none.
    reason, source : one line each.
    """

    name: str
    distribution: str
    parameters: Mapping[str, float] = field(hash=False)
    dims: str
    unit: str
    reason: str
    source: str


def default_priors() -> dict[str, Prior]:
    """Return the priors of the program by name, in the order the model meets them."""
    priors = {}
    for name, distribution, values, dims, unit, reason, source in ROWS:
        parameters = dict(zip(parameter_names(distribution, dims), values, strict=True))
        priors[name] = Prior(name, distribution, parameters, dims, unit, reason, source)
    return priors


def with_overrides(overrides: Mapping[str, Mapping[str, object]]) -> dict[str, Prior]:
    """Return the priors with some parameters replaced, as ``[priors]`` of campaign.toml asks.

    Parameters
    ----------
    overrides : mapping
        Name of a prior to a mapping from parameter to number.

    Raises
    ------
    CampaignError
        With every unknown prior (and the nearest known one), unknown parameter and value not allowed.
    """
    priors = default_priors()
    findings: list[Finding] = []
    for name, parameters in overrides.items():
        if name not in priors:
            findings.append(_fault(name, name, f"one of: {', '.join(priors)}", _nearest(name, list(priors))))
            continue
        wrong = [*_faults(priors[name], parameters)]
        findings += wrong
        if not wrong:
            numbers = {key: float(str(value)) for key, value in parameters.items()}
            merged = {**priors[name].parameters, **numbers}
            priors[name] = replace(priors[name], parameters=merged, source="campaign.toml")
    if findings:
        raise CampaignError(tuple(findings))
    return priors


def _faults(prior: Prior, parameters: object) -> list[Finding]:
    column, parameter_labels = f"priors.{prior.name}", parameter_names(prior.distribution, prior.dims)
    if not isinstance(parameters, Mapping):
        return [
            _fault(
                column, str(parameters), f"a table with {', '.join(parameter_labels)}", "write it as a table"
            )
        ]
    faults = []
    for key, value in parameters.items():
        if key not in parameter_labels:
            faults.append(
                _fault(
                    column,
                    key,
                    f"one of: {', '.join(parameter_labels)}",
                    _nearest(key, list(parameter_labels)),
                )
            )
        elif isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < 1e6:
            faults.append(_fault(f"{column}.{key}", str(value), "a number", "write a plain number"))
        elif value <= 0.0 and (prior.distribution, key) not in _MAY_BE_NEGATIVE:
            faults.append(_fault(f"{column}.{key}", str(value), "a number above 0", "write a number above 0"))
    merged = {**prior.parameters, **parameters}
    if (
        not faults
        and prior.distribution == "beta"
        and not float(str(merged["low"])) < float(str(merged["high"]))
    ):
        faults.append(_fault(column, str(parameters), "low below high", "swap them"))
    return faults


def _nearest(word: str, words: list[str]) -> str:
    close = get_close_matches(word, words, n=1, cutoff=0.0)
    return f"did you mean {close[0]}?" if close else "see the list of priors in docs/priors.md"


def _fault(column: str, found: str, allowed: str, fix: str) -> Finding:
    return Finding("fault", "campaign.toml", None, column, found, allowed, fix)


def priors_table(priors: Mapping[str, Prior]) -> pd.DataFrame:
    """Return the priors as a table, one row each: what ``docs/priors.md`` and the report show.

    Returns
    -------
    DataFrame
        Columns name, distribution, parameters, dims, unit, reason, source; all text.
    """
    rows = []
    for prior in priors.values():
        numbers = ", ".join(f"{key} {value:g}" for key, value in prior.parameters.items())
        rows.append(
            (prior.name, prior.distribution, numbers, prior.dims, prior.unit, prior.reason, prior.source)
        )
    return pd.DataFrame(
        rows, columns=["name", "distribution", "parameters", "dims", "unit", "reason", "source"]
    )
