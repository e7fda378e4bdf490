"""A cell's chances of setting: what they are, which tests carry them, and what the log cannot tell."""

from collections.abc import Sequence

import xarray as xr

from holdcast.show.text.numbers import format_chance, format_share
from holdcast.show.text.plain_table import learnt_text, plain_table

__all__ = ["part_rows", "setting_lines", "unknown_sentences"]

_WORDS = {"sets": "sets", "resets": "sets again", "veer_kept": "kept in a turn"}
_TESTS = {"sets": "pull", "resets": "reset", "veer_kept": "veer"}
_SPEAKS_OF = {"resets": "setting again", "veer_kept": "what a turn costs"}
_PART_OF = {"design elsewhere": "design", "design here": "design"}
_PARTS = {
    "own pulls": "its own pulls: spot, day, scatter",
    "design": "design, traits, configuration",
    "features": "features",
    "form": "form",
    "size, tip load, area": "size, tip load, area",
    "ground": "ground",
}


def part_rows(sources: xr.Dataset, setting: xr.Dataset) -> tuple[list[str], list[list[str]]]:
    """Return heading and rows of one table: shares of the variance of capacity and of each chance, by part.

    Parameters
    ----------
    sources : Dataset
        From ``band_sources``.
    setting : Dataset
        From ``setting_sources``.
    """
    capacity: dict[str, float] = {}
    for name, share in zip(sources["part"].to_numpy(), sources["share"].to_numpy(), strict=True):
        part = _PART_OF.get(str(name), str(name))
        capacity[part] = capacity.get(part, 0.0) + float(share)
    kinds = list(map(str, setting["kind"].to_numpy()))
    parts_of_setting = list(map(str, setting["part"].to_numpy()))
    rows = []
    for part, described in _PARTS.items():
        shares = [capacity.get(part, 0.0)]
        shares += [
            float(setting["share"].sel(kind=kind, part=part)) if part in parts_of_setting else 0.0
            for kind in kinds
        ]
        if any(shares):
            rows.append([described, *(format_share(min(share, 1.0)) if share else "-" for share in shares)])
    headings = {"sets": "sets", "resets": "sets again", "veer_kept": "turn"}
    return ["part", "capacity", *(headings[kind] for kind in kinds)], rows


def setting_lines(evidence: xr.Dataset, *, width: int | None = None) -> list[str]:
    """Return each chance with its band, and of how many tests how many went well, by where they were made.

    Parameters
    ----------
    evidence : Dataset
        From ``setting_evidence``.
    """
    body = []
    for kind in map(str, evidence["kind"].to_numpy()):
        one = evidence.sel(kind=kind)
        low, middle, high = map(float, one["share"])
        counts = [
            f"{done:.0f} of {tests:.0f}" if tests else "none"
            for done, tests in zip(one["done"].to_numpy(), one["tests"].to_numpy(), strict=True)
        ]
        learnt = learnt_text(float(one["contraction"]))
        body.append(
            [_WORDS[kind], f"{format_chance(middle)} ({100 * low:.0f} to {100 * high:.0f})", *counts, learnt]
        )
    return plain_table(["", "90% band", *map(str, evidence["place"].to_numpy()), "learnt"], body, width=width)


def unknown_sentences(evidence: xr.Dataset, little: float) -> list[str]:
    """Say what the log cannot tell of the cell's chances of setting.

    Parameters
    ----------
    evidence : Dataset
        From ``setting_evidence``.
    little : float
        Below this contraction a band is mostly the prior's.
    """
    kinds = list(map(str, evidence["kind"].to_numpy()))
    sentences = []
    for kind, of in _SPEAKS_OF.items():
        if kind not in kinds:
            sentences.append(f"The log holds no {_TESTS[kind]}s, so it says nothing of {of}.")
    leaning = [_WORDS[kind] for kind in kinds if float(evidence["contraction"].sel(kind=kind)) < little]
    if leaning:
        sentences.append(f"Mostly the prior's, not the log's: {_listed(leaning)}.")
    alien = [
        kind
        for kind in kinds
        if not float(evidence["tests"].sel(kind=kind, place=["here", "its design"]).sum())
    ]
    if alien:
        tests = " or ".join(f"{_TESTS[kind]}" for kind in alien)
        sentences.append(f"No {tests} of this design was made: what stands here comes from other designs.")
    if not evidence.attrs["set_written"]:
        sentences.append(
            "No row says whether the anchor set (column set), so the model judges that from the loads."
        )
    return sentences


def _listed(names: Sequence[str]) -> str:
    return ", ".join(names)
