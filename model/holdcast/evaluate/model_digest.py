"""Which version of the model an outcome is of: a digest of its code."""

from collections.abc import Sequence

from holdcast.source_digest import source_digest

__all__ = ["OUTCOME_CODE", "model_digest"]

OUTCOME_CODE = (
    *("capacity", "physics", "evaluate/hiding.py", "evaluate/refit.py", "evaluate/predictive.py"),
    *("evaluate/scoring.py", "evaluate/setting_scores.py"),
)
"""Code that an outcome comes from: the model, what is hidden from it, how it is sampled and scored."""


def model_digest(parts: Sequence[str] = OUTCOME_CODE) -> str:
    """Return a short digest of the code of some parts, so that outcomes of two models are never mixed.

    Parameters
    ----------
    parts : sequence of str
        Folders and files of the package, as for :func:`holdcast.source_digest.source_digest`.
    """
    return source_digest(parts)
