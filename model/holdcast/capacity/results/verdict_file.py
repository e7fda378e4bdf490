"""``verdict.json``: its fields, their types and limits."""

import json
import math
from pathlib import Path
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from holdcast.capacity.results.pair import (
    MOST_VERDICT_BYTES,
    RESULTS_VERSION,
    ResultsError,
)
from holdcast.capacity.sampler.verdict import Verdict

__all__ = ["FIT_AGAIN", "first_fault", "read_verdict", "verdict_text"]

FIT_AGAIN = "run holdcast fit again"
_Sentence = Annotated[str, Field(min_length=1, max_length=2000)]
_Count = Annotated[int, Field(ge=0, le=10**9)]
_Number = Annotated[float, Field(allow_inf_nan=False)] | None


class _Judgement(BaseModel):
    """The verdict itself; null stands for what is not a number."""

    model_config = ConfigDict(strict=True)

    ok: bool
    sentences: Annotated[list[_Sentence], Field(min_length=1, max_length=20)]
    divergences: _Count
    rhat_max: _Number
    ess_bulk_min: _Number
    ess_tail_min: _Number
    bfmi_min: _Number
    draws: Annotated[int, Field(ge=1, le=10**9)]
    attempts: Annotated[int, Field(ge=1, le=100)]
    seconds_compile: Annotated[float, Field(ge=0.0, allow_inf_nan=False)]
    seconds_sample: Annotated[float, Field(ge=0.0, allow_inf_nan=False)]
    approximate: bool


class _VerdictFile(_Judgement):
    """What fit writes: the verdict, and of which posterior it is."""

    model_config = ConfigDict(strict=True, extra="forbid")

    results_version: int
    posterior_sha256: Annotated[str, Field(pattern="^[0-9a-f]{64}$")]


def verdict_text(verdict: Verdict, posterior_sha256: str) -> str:
    """Return the content of ``verdict.json``."""
    fields = {
        **verdict.as_dict(),
        "results_version": RESULTS_VERSION,
        "posterior_sha256": posterior_sha256,
    }
    return json.dumps(fields, indent=2, allow_nan=False) + "\n"


def read_verdict(path: Path) -> tuple[Verdict, str]:
    """Return a verdict and the digest of the posterior that it belongs to.

    Raises
    ------
    ResultsError
        When the file is too large, no JSON, of another version of the results, or has a field that is
        missing, not known or of another type.
    """
    if path.stat().st_size > MOST_VERDICT_BYTES:
        raise ResultsError(
            f"{path} is damaged (over {MOST_VERDICT_BYTES:,} bytes; fit writes about 1,000); {FIT_AGAIN}"
        )
    content = path.read_bytes()
    _refuse_other_version(path, content)
    try:
        fields = _VerdictFile.model_validate_json(content).model_dump()
    except ValidationError as error:
        raise ResultsError(f"{path} is damaged ({first_fault(error)}); {FIT_AGAIN}") from error
    digest = fields.pop("posterior_sha256")
    del fields["results_version"]
    numbers: dict[str, Any] = {name: math.nan if value is None else value for name, value in fields.items()}
    return Verdict(**{**numbers, "sentences": tuple(fields["sentences"])}), digest


class _Version(BaseModel):
    model_config = ConfigDict(strict=True)

    results_version: int


def _refuse_other_version(path: Path, content: bytes) -> None:
    """Tell results of an earlier or later version from damage, before asking for any other field."""
    written = f"version {version}" if (version := _version_of(content)) is not None else ""
    if version is None and _fits(_Judgement, content):
        written = "an earlier version"  # which named none
    if written and version != RESULTS_VERSION:
        raise ResultsError(
            f"{path.parent} holds results of {written}; this program reads version {RESULTS_VERSION}: "
            f"{FIT_AGAIN}"
        )


def _version_of(content: bytes) -> int | None:
    try:
        return _Version.model_validate_json(content).results_version
    except ValidationError:
        return None


def _fits(model: type[BaseModel], content: bytes) -> bool:
    try:
        model.model_validate_json(content)
    except ValidationError:
        return False
    return True


def first_fault(error: ValidationError) -> str:
    """Return the first thing that does not fit a description, as a phrase."""
    fault = error.errors(include_url=False, include_context=False, include_input=False)[0]
    place = ".".join(map(str, fault["loc"]))[:80]
    reason = fault["msg"][0].lower() + fault["msg"][1:200]
    return f"{place}: {reason}" if place else reason
