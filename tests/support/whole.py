"""Fits put together by hand, made whole: all that the description of a results folder asks for is there."""

from collections.abc import Callable
from dataclasses import replace
from hashlib import sha256
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr

from holdcast.capacity.fitting import Fit
from holdcast.capacity.results.description import DRAWS, INPUTS, POSITIONS, TRUTHS, WHOLE


def whole(fit: Fit) -> Fit:
    """Return a fit with something for what it lacks, a prior like its posterior, and its draws counted."""
    groups = {name: group.to_dataset() for name, group in fit.tree.children.items()}
    inputs = filled(groups["constant_data"], INPUTS, ())
    posterior = filled(groups["posterior"], DRAWS, ("chain", "draw"), inputs)
    prior = groups.get("prior", xr.Dataset())
    prior = filled(prior if "log_capacity" in prior else posterior, DRAWS, ("chain", "draw"), inputs)
    shape = tuple(posterior.sizes[dim] for dim in ("chain", "draw"))
    stats = {"diverging": (("chain", "draw"), np.zeros(shape, dtype=bool)),
             "energy": (("chain", "draw"), np.ones(shape))}  # fmt: skip
    labels = {dim: posterior[dim] for dim in ("chain", "draw")}
    densities = xr.Dataset({"design_spread": (("chain", "draw"), np.zeros(shape))}, labels)
    tree = xr.DataTree.from_dict(
        {
            **groups,
            "log_prior": densities,
            "posterior": posterior,
            "prior": prior,
            "constant_data": inputs,
            "sample_stats": xr.Dataset(stats, labels),
        }
    )
    tree.attrs = dict(fit.tree.attrs)
    return Fit(tree, replace(fit.verdict, draws=shape[0] * shape[1]))


def filled(data: xr.Dataset, asked: dict, before: tuple, labels: xr.Dataset | None = None) -> xr.Dataset:
    """Return a group with zeros for each variable that it lacks; with small random numbers among draws."""
    parts = {"part": 6, "set_part": 5, "trait": 2}
    for dims, names in asked.items():
        for dim in (*before, *dims):
            if dim not in data.indexes:
                known = labels is not None and dim in labels.indexes
                none = [f"{dim} {at}" for at in range(data.sizes.get(dim, parts.get(dim, 0)))]
                data = data.assign_coords({dim: labels[dim].to_numpy() if known else none})
        shape = [data.sizes[dim] for dim in (*before, *dims)]
        for name in names.split():
            if name in data:
                continue
            kind = bool if name in TRUTHS else np.int64 if name in POSITIONS or name in WHOLE else float
            value = np.full(shape, 1 if name == "attempts" else 0, dtype=kind)
            if before:  # draws that are all alike are none
                value = np.abs(np.random.default_rng(len(name)).normal(0.0, 0.1, shape))
            data[name] = ((*before, *dims), value)
    return data


REMEMBERED: dict[tuple[str, str, str], Any] = {}


def remembering[Of: (Fit, xr.DataTree), Answer](function: Callable[[Of], Answer]) -> Callable[[Of], Answer]:
    """Return a function that remembers its answers, under all that the tree or fit holds."""

    def remembered(of: Of) -> Answer:
        tree, verdict = (of.tree, repr(of.verdict)) if isinstance(of, Fit) else (of, "")
        key = (function.__qualname__, content_of(tree), verdict)
        if key not in REMEMBERED:
            REMEMBERED[key] = function(of)
        return REMEMBERED[key]

    return remembered


def remembering_files(read: Callable[[Path], xr.DataTree]) -> Callable[[Path], xr.DataTree]:
    """Return a function that reads a file into a tree once, however often a file of that content is read."""

    def remembered(path: Path) -> xr.DataTree:
        key = (read.__qualname__, sha256(path.read_bytes()).hexdigest(), "")
        if key not in REMEMBERED:
            REMEMBERED[key] = read(path)
        copied: xr.DataTree = REMEMBERED[key].copy()
        return copied

    return remembered


def content_of(tree: xr.DataTree) -> str:
    """Return a digest of every name, value and attribute of a tree, in their order."""
    digest = sha256(repr(tree.attrs).encode())
    for group, node in tree.children.items():
        digest.update(repr((group, node.attrs)).encode())
        for name, variable in node.to_dataset().variables.items():
            values = np.ascontiguousarray(variable.to_numpy())
            about = (name, variable.dims, values.shape, values.dtype, variable.attrs, variable.encoding)
            digest.update(repr(about).encode())
            digest.update(values.tobytes() if values.dtype != object else repr(values.tolist()).encode())
    return digest.hexdigest()
