"""Labels to positions: the only way by which an index reaches the model."""

from collections.abc import Sequence
from difflib import get_close_matches

import numpy as np
import pandas as pd
from numpy.typing import NDArray

__all__ = ["positions"]

_LISTED = 12


def positions(labels: Sequence[str] | pd.Series, names: Sequence[str], what: str) -> NDArray[np.int64]:
    """Return where each label stands among the known ones.

    Parameters
    ----------
    labels : sequence of str
        Labels to look up, shape (n,).
    names : sequence of str
        Known labels, each once, shape (m,).
    what : str
        What is labelled ("anchor"), for the message.

    Returns
    -------
    array of int64, shape (n,)
        Positions from 0 to m - 1.

    Raises
    ------
    KeyError
        When a label is not known.  The default compiled backend reads other memory at a position out of
        range, without an error, so nothing else may turn labels into positions.
    """
    index = pd.Index(list(names))
    places = index.get_indexer(pd.Index(list(labels)))
    if (places < 0).any():
        unknown = sorted({str(label) for label, place in zip(labels, places, strict=True) if place < 0})
        raise KeyError(f"unknown {what}: {', '.join(map(repr, unknown))}; {_likely(unknown[0], names)}")
    return np.asarray(places, dtype=np.int64)


def _likely(label: str, names: Sequence[str]) -> str:
    """Return the known label most like a wrong one, whatever its case, or else those that there are."""
    by_case = {str(each).casefold(): str(each) for each in names}
    close = get_close_matches(label.casefold(), by_case, n=1)
    if close:
        return f"the nearest known one to {label!r} is {by_case[close[0]]!r}"
    more = "" if len(names) <= _LISTED else f" and {len(names) - _LISTED} more"
    return f"known: {', '.join(repr(str(each)) for each in names[:_LISTED]) or 'none'}{more}"
