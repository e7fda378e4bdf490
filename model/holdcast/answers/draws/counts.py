"""The one count of what stands behind a cell: pulls, visits, and on which sides its pulls bound it."""

import numpy as np
import xarray as xr

from holdcast.answers.draws.draws import Draws
from holdcast.capacity.likelihood.kinds import ABOVE, BELOW

__all__ = ["AT_LEAST", "AT_MOST", "BOTH", "counts", "seabeds_visited_again"]

_AS_LIKELY_AS_NOT = 0.5
BOTH, AT_LEAST, AT_MOST = "both", "at least", "at most"
"""On which sides a cell's own pulls bound it: *at least* where none let go, *at most* where none held."""


def counts(draws: Draws) -> xr.Dataset:
    """Return how often each cell was pulled, and on which sides that bounds its capacity.

    Returns
    -------
    Dataset, dims (anchor, seabed)
        ``pulls``, ``visits``: used ones; ``tested`` (bool): whether there is one; ``evidence``: ``tested`` or
        ``untested``; ``bounded``: `BOTH`, `AT_LEAST` or `AT_MOST`, blank where no pull set; ``never_set``
        (bool): whether it is tested and no pull of it is likelier to have set than not; ``reset_attempts``,
        ``reset_successes``, ``veers``: how many were used.
    """
    return draws.once("counts", lambda: _counted(draws)).copy()


def _counted(draws: Draws) -> xr.Dataset:
    inputs = draws.inputs
    cell, visit, kind = (
        np.stack([inputs["anchor_of"].to_numpy(), inputs["seabed_of"].to_numpy()]),
        inputs["visit_of"].to_numpy(),
        inputs["kind"].to_numpy(),
    )
    shape = (inputs.sizes["anchor"], inputs.sizes["seabed"])

    def number(of: np.ndarray) -> np.ndarray:
        total = np.zeros(shape, dtype=int)
        np.add.at(total, tuple(of[:2]), 1)
        return total

    pulls, visits = number(cell), number(np.unique(np.vstack([cell, visit]), axis=1))
    had_set = draws.fit.tree["constant_data"]["had_set"].to_numpy() >= _AS_LIKELY_AS_NOT
    # Only a pull whose anchor set bounds the capacity.
    let_go, held = (number(cell[:, had_set & (kind != open_end)]) for open_end in (ABOVE, BELOW))
    set_pulls = number(cell[:, had_set])
    bounded = np.select([set_pulls == 0, let_go == 0, held == 0], ["", AT_LEAST, AT_MOST], BOTH)
    tested = np.where(pulls > 0, "tested", "untested")
    attempts, successes = (_tests(draws, "reset", column) for column in ("attempts", "successes"))
    columns = {
        "pulls": (pulls, "pulls used"),
        "visits": (visits, "visits on which it was pulled"),
        "tested": (pulls > 0, "whether a pull of the cell was used"),
        "evidence": (tested, "evidence"),
        "never_set": ((pulls > 0) & (set_pulls == 0), "no pull of it dug in"),
        "reset_attempts": (attempts, "attempts to dig in again"),
        "reset_successes": (successes, "those that dug in again"),
        "veers": (_tests(draws, "veer", None), "turns under load"),
        "bounded": (bounded, "sides on which its own pulls bound the capacity"),
    }
    return xr.Dataset(
        {
            name: (("anchor", "seabed"), values, {"units": "1", "long_name": words})
            for name, (values, words) in columns.items()
        },
        {dim: inputs[dim].to_numpy() for dim in ("anchor", "seabed")},
    )


def _tests(draws: Draws, kind: str, weight: str | None) -> np.ndarray:
    """Return how many resets or veers of each cell were used, weighed by a column, shape (anchor, seabed)."""
    inputs = draws.inputs
    total = np.zeros((inputs.sizes["anchor"], inputs.sizes["seabed"]), dtype=int)
    place = inputs[f"{kind}_anchor"].to_numpy(), inputs[f"{kind}_seabed"].to_numpy()
    np.add.at(total, place, 1 if weight is None else inputs[weight].to_numpy())
    return total


def seabeds_visited_again(draws: Draws) -> list[str]:
    """Return the seabeds in which pulls were used of more than one visit."""
    pairs = {
        *zip(
            draws.inputs["seabed_of"].to_numpy().tolist(),
            draws.inputs["visit_of"].to_numpy().tolist(),
            strict=True,
        )
    }
    seabeds = [seabed for seabed, _ in pairs]
    return [label for at, label in enumerate(draws.labels("seabed")) if seabeds.count(at) > 1]
