"""Results folders changed at random, their digests made to agree: refused, or answered in finite numbers."""

import copy
import json
import os
import random
import shutil
import signal
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr

from holdcast.answers.cells.cells import cells
from holdcast.answers.rank.rank import ranking
from holdcast.capacity.fitting import Fit
from holdcast.capacity.results.pair import POSTERIOR_FILE, VERDICT_FILE, ResultsError, digest_of
from holdcast.capacity.results.tree_check import DescriptionError, check_tree
from holdcast.capacity.results.verdict_file import read_verdict, verdict_text
from holdcast.capacity.store import load
from mutated.nasty import CELLS, mutated_bytes

__all__ = ["crafted_file", "mutated_tree", "thinned", "tree", "verdict"]

Groups = dict[str, xr.Dataset]
_SECONDS = 60


def thinned(fit: Fit, draws: int = 60) -> Fit:
    """Return a fit with few draws, which is as good for being changed and quicker."""
    from dataclasses import replace

    groups = {name: group.to_dataset() for name, group in fit.tree.children.items()}
    step = max(1, groups["posterior"].sizes["draw"] // draws)
    for name in ("posterior", "sample_stats", "log_prior"):
        groups[name] = groups[name].isel(draw=slice(None, None, step))
    labels = groups["posterior"]["draw"].to_numpy()
    for name in ("posterior_predictive", "log_likelihood"):
        there = [label for label in groups[name]["draw"].to_numpy() if label in set(labels)]
        groups[name] = groups[name].sel(draw=there or groups[name]["draw"].to_numpy()[:0])
    results = xr.DataTree.from_dict(groups)
    results.attrs = dict(fit.tree.attrs)
    return Fit(results, replace(fit.verdict, draws=int(groups["sample_stats"]["diverging"].size)))


def _variable(groups: Groups, chance: random.Random) -> tuple[str, str]:
    group = chance.choice([name for name, data in groups.items() if data.data_vars])
    important = (
        "log_capacity",
        "kind",
        "anchor_of",
        "log_load",
        "mass_kg",
        "held_n",
        "soil",
        "status",
        "test",
    )
    names = list(map(str, groups[group].data_vars))
    weighted = [*names, *(name for name in names if name in important for _ in range(5))]
    return group, chance.choice(weighted)


def _drop_variable(groups: Groups, chance: random.Random) -> None:
    group, name = _variable(groups, chance)
    groups[group] = groups[group].drop_vars(name)


def _drop_group(groups: Groups, chance: random.Random) -> None:
    del groups[chance.choice(list(groups))]


def _change_values(groups: Groups, chance: random.Random) -> None:
    group, name = _variable(groups, chance)
    variable = groups[group][name]
    values = variable.to_numpy().copy()
    if not values.size:
        return
    odd = (np.nan, np.inf, -np.inf, 0.0, 1e300, -1e300, -1.0, 1e6, 3.7)
    if values.dtype.kind in "fiub":
        value = chance.choice(odd)
        if values.dtype.kind != "f":
            value = chance.choice((-1, 10**9, 0, 99)) if values.dtype.kind != "b" else 0
            value = abs(value) if values.dtype.kind == "u" else value
        flat = values.reshape(-1)
        flat[: chance.choice((1, 1, flat.size))] = value
    else:
        values = values.astype(object)
        values.reshape(-1)[: chance.choice((1, values.size))] = chance.choice(CELLS)
    groups[group] = groups[group].assign({name: (variable.dims, values)})


def _change_kind(groups: Groups, chance: random.Random) -> None:
    group, name = _variable(groups, chance)
    variable = groups[group][name]
    with np.errstate(all="ignore"):
        values = variable.to_numpy()
        to = chance.choice((str, bool, np.float32)) if values.dtype.kind in "fiub" else str
        values = (
            np.zeros(values.shape) if to is str and values.dtype.kind not in "fiub" else values.astype(to)
        )
    groups[group] = groups[group].assign({name: (variable.dims, values)})


def _change_dims(groups: Groups, chance: random.Random) -> None:
    group, name = _variable(groups, chance)
    variable = groups[group][name]
    values = variable.to_numpy()
    changes: tuple[Callable[[], Any], ...] = (
        lambda: (variable.dims[::-1], values.T),
        lambda: ((*variable.dims, "other"), values[..., np.newaxis]),
        lambda: (
            (variable.dims[1:], values[0]) if values.shape and values.shape[0] else (variable.dims, values)
        ),
    )
    groups[group] = groups[group].assign({name: chance.choice(changes)()})


def _change_labels(groups: Groups, chance: random.Random) -> None:
    group = chance.choice([name for name, data in groups.items() if data.indexes])
    dim = str(chance.choice(list(groups[group].indexes)))
    labels = list(groups[group].indexes[dim])
    if not labels:
        return
    labels[chance.randrange(len(labels))] = chance.choice((labels[0], "", "x" * 5000, "other", 7))
    if len({type(label) for label in labels}) > 1:
        labels = list(map(str, labels))
    groups[group] = groups[group].assign_coords({dim: labels})
    if chance.random() < 0.3:
        groups[group] = groups[group].drop_vars(dim)


def _cut(groups: Groups, chance: random.Random) -> None:
    group = chance.choice([name for name, data in groups.items() if data.sizes])
    dim = chance.choice(list(groups[group].sizes))
    groups[group] = groups[group].isel({dim: slice(0, chance.choice((0, 1, 2)))})


def _change_attributes(attributes: dict[str, Any], chance: random.Random) -> None:
    name = chance.choice(list(attributes))
    odd = (
        *CELLS,
        1,
        -1,
        2**40,
        1.5,
        np.nan,
        np.zeros(3),
        "{}",
        "[]",
        '{"a": 1}',
        '{"efficiency": -1}',
        "[" * 3000,
    )
    if chance.random() < 0.3:
        del attributes[name]
    else:
        attributes[name] = chance.choice(odd)


_CHANGES = (_drop_variable, _drop_group, _change_values, _change_values, _change_values)
_MORE_CHANGES = (_change_kind, _change_dims, _change_labels, _cut)


def mutated_tree(fit: Fit, seed: int) -> xr.DataTree:
    """Return the tree of a fit with one or two changes."""
    chance = random.Random(seed)
    groups = {name: group.to_dataset() for name, group in fit.tree.children.items()}
    attributes = copy.deepcopy(dict(fit.tree.attrs))
    for _ in range(chance.choice((1, 1, 2))):
        if chance.random() < 0.15:
            _change_attributes(attributes, chance)
        else:
            chance.choice((*_CHANGES, *_MORE_CHANGES))(groups, chance)
    results = xr.DataTree.from_dict(groups)
    results.attrs = attributes
    return results


def tree(work: Path, seed: int, fit: Fit) -> str:
    """Try one changed tree: refused by its description, or answered with finite numbers."""
    changed = mutated_tree(fit, seed)
    try:
        check_tree(changed, fit.verdict.draws)
    except DescriptionError as error:
        assert str(error), "a refusal without words"
        return "refused"
    _answered(Fit(changed, fit.verdict))
    return "read"


def _answered(fit: Fit) -> None:
    table, order = cells(fit), ranking(fit)
    for name in ("capacity_n", "efficiency"):
        assert np.isfinite(table[name]).all(), f"{name} is no number"
    assert np.isfinite(order["p_best"]).all(), "a chance that is no number"


def verdict(work: Path, seed: int, fit: Fit) -> str:
    """Try one changed verdict.json: refused, or read with a verdict that is truly true or false."""
    chance = random.Random(seed)
    fields = json.loads(verdict_text(fit.verdict, "0" * 64))
    odd = ("yes", 1, 0, None, [], {}, True, False, -1, 1e308, "x" * 3000, ["a"], [1], [[]], "NaN", 2**70)
    for _ in range(chance.choice((1, 1, 2))):
        name = chance.choice([*fields, "other"])
        if name in fields and chance.random() < 0.3:
            del fields[name]
        else:
            fields[name] = chance.choice(odd)
    text = json.dumps(fields).encode()
    deep = b'{"ok": ' + b"[" * 50_000 + b"]" * 50_000 + b"}"
    text = chance.choice((text, text, text, mutated_bytes(text, chance), deep, text * 400))
    path = work / VERDICT_FILE
    path.write_bytes(text)
    try:
        read, _ = read_verdict(path)
    except ResultsError as error:
        assert str(path) in str(error) or str(path.parent) in str(error), "the file is not named"
        return "refused"
    assert read.ok is True or read.ok is False, "ok is no truth value"
    assert all(isinstance(sentence, str) for sentence in read.sentences), "a sentence is no text"
    return "read"


def crafted_file(work: Path, seed: int, base: Path) -> str:
    """Try a folder whose posterior.nc has changed bytes and whose digest agrees, in a process of its own.

    What the file library does with such bytes is not ours; that the program survives is.
    """
    chance = random.Random(seed)
    folder = work / "crafted"
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    data = bytearray((base / POSTERIOR_FILE).read_bytes())
    for _ in range(chance.choice((1, 2, 8))):
        data[chance.randrange(len(data) if chance.random() < 0.3 else min(len(data), 4000))] = (
            chance.randrange(256)
        )
    (folder / POSTERIOR_FILE).write_bytes(
        bytes(data[: chance.choice((len(data), len(data), len(data) // 2))])
    )
    judged, _ = read_verdict(base / VERDICT_FILE)
    (folder / VERDICT_FILE).write_text(
        verdict_text(judged, digest_of(folder / POSTERIOR_FILE)), encoding="utf-8"
    )
    child = os.fork()
    if child == 0:
        signal.alarm(_SECONDS)
        status = 9
        try:
            _answered(load(folder))
            status = 0
        except ResultsError:
            status = 2
        finally:
            os._exit(status)
    status = os.waitpid(child, 0)[1]
    assert os.WIFEXITED(status), f"ended by signal {os.WTERMSIG(status)}"
    code = os.WEXITSTATUS(status)
    assert code in (0, 2), "neither read nor refused"
    return "refused" if code else "read"
