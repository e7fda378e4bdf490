"""The attributes at the root of ``posterior.nc``: how the fit was made, their types and limits."""

from collections.abc import Mapping
from typing import Annotated, Literal

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, Json, ValidationError

from holdcast.campaign.files.limits import MOST_LABEL_CHARACTERS, MOST_TEXT_CHARACTERS
from holdcast.capacity.model.priors import with_overrides
from holdcast.capacity.results.pair import RESULTS_VERSION
from holdcast.capacity.results.verdict_file import first_fault
from holdcast.findings import CampaignError

__all__ = ["VERDICT_ATTRIBUTE", "attributes_fault"]

VERDICT_ATTRIBUTE = "verdict"
"""Holds the verdict as JSON, so that neither file can be believed without the other."""
_MARK_OF_A_QUICK_FIT = 100
_Line = Annotated[str, Field(max_length=MOST_LABEL_CHARACTERS)]
_Text = Annotated[str, Field(max_length=MOST_TEXT_CHARACTERS)]
_Finite = Annotated[float, Field(allow_inf_nan=False)]
_Positive = Annotated[float, Field(gt=0.0, allow_inf_nan=False)]
_NotNegative = Annotated[float, Field(ge=0.0, allow_inf_nan=False)]


class _Doubt(BaseModel):
    """The fields of `holdcast.findings.Finding`."""

    model_config = ConfigDict(strict=True, extra="forbid")

    severity: Literal["doubt"]
    file: _Text
    row: int | None
    column: _Text
    found: _Text
    allowed: _Text
    fix: _Text


class _Attributes(BaseModel):
    model_config = ConfigDict(strict=True)

    results_version: Annotated[int, Field(ge=RESULTS_VERSION, le=RESULTS_VERSION)]
    version: _Line
    code: Annotated[str, Field(pattern="^([0-9a-f]{12})?$")] = ""
    seed: Annotated[int, Field(ge=0, lt=2**31)]
    title: Annotated[str, Field(max_length=MOST_LABEL_CHARACTERS + _MARK_OF_A_QUICK_FIT)]
    author: _Line
    licence: _Line
    input_hash: Annotated[str, Field(pattern="^[0-9a-f]{64}$")]
    newest_trial: Annotated[str, Field(pattern=r"^(\d{4}-\d\d-\d\d)?$")]
    priors: Json[dict[str, dict[str, _Finite]]]
    thresholds: Json[dict[Literal["efficiency"], _Positive]]
    weights: Json[dict[str, _NotNegative]]
    kind_weights: Json[dict[Literal["pull", "reset", "veer"], _NotNegative]] = Field(
        default="{}", validate_default=True
    )
    boat: Json[dict[Literal["bow_height_m"], _NotNegative]]
    units: Literal["si", "us"]
    doubts: Annotated[Json[list[_Doubt]], Field(max_length=1000)]


def attributes_fault(attributes: Mapping[object, object]) -> str:
    """Return the first attribute that fit would not have written so, as a phrase; blank when all are well."""
    plain = {str(name): _plain(value) for name, value in attributes.items()}
    try:
        read = _Attributes.model_validate(plain)
    except ValidationError as error:
        return f"attribute {first_fault(error)}"
    try:
        with_overrides(read.priors)
    except CampaignError as error:
        return f"attribute priors: {error.findings[0].found} is not allowed"
    return ""


def _plain(value: object) -> object:
    """Return an attribute as Python's own number or text."""
    return value.item() if isinstance(value, np.generic | np.ndarray) and value.size == 1 else value
