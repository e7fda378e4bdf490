"""Results folders that no fit wrote: refused in one line with exit status 2, whatever is wrong with them."""

import json
import shutil
import time
from collections.abc import Callable
from pathlib import Path

import h5py
import numpy as np
import pytest

from holdcast import load
from holdcast.capacity.fitting import Fit
from holdcast.capacity.results.attributes import attributes_fault
from holdcast.capacity.results.pair import POSTERIOR_FILE, VERDICT_FILE, ResultsError, digest_of
from holdcast.capacity.results.tree_check import DescriptionError, check_tree
from holdcast.capacity.store import save


@pytest.fixture(scope="module")
def fit(published: Path) -> Fit:
    return load(published)


@pytest.fixture
def results(published: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(published, tmp_path / "results"))


def seal(results: Path) -> None:
    """Let the verdict name the posterior as it is now: what somebody with ill will would do."""
    path = results / VERDICT_FILE
    fields = json.loads(path.read_text(encoding="utf-8"))
    fields["posterior_sha256"] = digest_of(results / POSTERIOR_FILE)
    path.write_text(json.dumps(fields), encoding="utf-8")


def external_link(file: h5py.File, results: Path) -> None:
    file["posterior/other"] = h5py.ExternalLink("/etc/hostname", "/")


def loop_of_links(file: h5py.File, results: Path) -> None:
    file["posterior/loop"] = h5py.SoftLink("/posterior")


def group_within_itself(file: h5py.File, results: Path) -> None:
    file["posterior/again"] = file["/"]


def external_storage(file: h5py.File, results: Path) -> None:
    (results / "outside").write_bytes(bytes(80))
    file.create_dataset("posterior/x", (10,), "f8", external=[(str(results / "outside"), 0, 80)])


def virtual_values(file: h5py.File, results: Path) -> None:
    layout = h5py.VirtualLayout((4,), "f8")
    layout[:] = h5py.VirtualSource("/etc/hostname", "x", (4,))
    file.create_virtual_dataset("posterior/x", layout)


def packed(file: h5py.File, results: Path) -> None:
    file.create_dataset("posterior/x", data=np.zeros(100), compression="gzip")


def far_too_large(file: h5py.File, results: Path) -> None:
    file.create_dataset("posterior/x", (10**13,), "f8")  # takes no room until it is written


def compound(file: h5py.File, results: Path) -> None:
    file.create_dataset("posterior/x", data=np.zeros(3, dtype=[("a", "f8"), ("b", "i4")]))


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (external_link, "posterior holds a link to another place or file ('other')"),
        (loop_of_links, "posterior holds a link to another place or file ('loop')"),
        (group_within_itself, "a group within a group ('posterior/again')"),
        (external_storage, "'posterior/x' keeps its values in another file"),
        (virtual_values, "'posterior/x' keeps its values in another file"),
        (packed, "'posterior/x' is packed by a filter"),
        (far_too_large, "variables of 80,00"),
        (compound, "'posterior/x' holds values of a kind that fit does not write"),
    ],
)
def test_a_file_that_points_elsewhere_is_refused_before_it_is_read(
    results: Path, run: Callable, change: Callable, said: str
) -> None:
    with h5py.File(results / POSTERIOR_FILE, "a") as file:
        change(file, results)
    seal(results)
    start = time.perf_counter()
    ended = run("rank", results)
    assert ended.status == 2 and ended.out == "" and "Traceback" not in ended.err
    assert f"{POSTERIOR_FILE} is refused: {said}" in ended.err
    assert time.perf_counter() - start < 10.0  # a second on an idle machine; a loop took a minute


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [
        ("ok", "yes", "ok: input should be a valid boolean"),
        ("ok", 1, "ok: input should be a valid boolean"),
        ("ok", None, "ok: input should be a valid boolean"),
        ("sentences", "good", "sentences: input should be a valid"),
        ("sentences", ["x" * 2001], "at most 2000 characters"),
        ("draws", -1, "draws: input should be greater"),
        ("rhat_max", "small", "rhat_max: input should be a valid number"),
        ("other", 1, "other: extra inputs are not permitted"),
    ],
)
def test_a_verdict_of_another_kind_is_refused(
    results: Path, run: Callable, field: str, value: object, said: str
) -> None:
    path = results / VERDICT_FILE
    path.write_text(json.dumps(json.loads(path.read_text()) | {field: value}), encoding="utf-8")
    ended = run("rank", results)
    assert ended.status == 2 and ended.out == ""
    assert f"{VERDICT_FILE} is damaged (" in ended.err and said in ended.err


@pytest.mark.parametrize("text", ['{"ok": ' + "[" * 40_000, '{"ok": true, "x": "' + "x" * 200_000 + '"}'])
def test_a_verdict_too_deep_or_too_large_is_refused(results: Path, run: Callable, text: str) -> None:
    (results / VERDICT_FILE).write_text(text, encoding="utf-8")
    for words in (("rank", results), ("report", results)):
        ended = run(*words)
        assert ended.status == 2 and f"{VERDICT_FILE} is damaged (" in ended.err


def test_files_of_two_fits_are_not_believed(results: Path, fit: Fit, tmp_path: Path) -> None:
    (tmp_path / "other").mkdir()
    tree = fit.tree.copy()
    tree.attrs = {**fit.tree.attrs, "seed": 99}
    save(Fit(tree, fit.verdict), tmp_path / "other")
    shutil.copy(tmp_path / "other" / POSTERIOR_FILE, results)
    with pytest.raises(ResultsError, match=r"it is not the file that verdict\.json was written for"):
        load(results)


def test_a_verdict_that_was_edited_is_noticed(results: Path) -> None:
    path = results / VERDICT_FILE
    path.write_text(path.read_text().replace('"divergences": 0', '"divergences": 7'), encoding="utf-8")
    with pytest.raises(ResultsError, match=r"verdict\.json was changed: posterior\.nc holds another verdict"):
        load(results)


def changed(fit: Fit, group: str, name: str, value: object) -> Fit:
    """Return a fit in which the first value of a variable is another, or all are when it is a list of one."""
    tree = fit.tree.copy()
    data = tree[group].to_dataset().copy(deep=True)
    values = data[name].to_numpy().copy()
    values = values.astype(object) if values.dtype.kind in "UTO" else values
    if isinstance(value, list):
        values[...] = value[0]
    else:
        values[(0,) * values.ndim] = value
    tree[group] = data.assign({name: (data[name].dims, values)})
    return Fit(tree, fit.verdict)


@pytest.mark.parametrize(
    ("group", "name", "value", "said"),
    [
        ("posterior", "log_capacity", np.nan, "log_capacity has a value that is not a finite number"),
        ("posterior", "log_capacity", np.inf, "log_capacity has a value that is not a finite number"),
        ("posterior", "log_capacity", [7.0], "all draws of log_capacity of one cell are the same"),
        (
            "posterior",
            "log_capacity",
            700.0,
            "log_capacity has a value out of range; allowed: from -25",
        ),
        ("posterior", "pull_scatter", -0.1, "pull_scatter has a value out of range; allowed: 0 or more"),
        ("constant_data", "anchor_of", 99, "anchor_of has a value out of range; allowed: from 0 to 2"),
        ("constant_data", "pull_order", -1, "pull_order has a value out of range; allowed: from 0 to 3"),
        ("constant_data", "kind", 9, "kind has a value out of range; allowed: from 0 to 4"),
        ("constant_data", "spot_pulls", 50, "spot_pulls reach beyond the last pull"),
        ("anchors", "mass_kg", np.nan, "mass_kg has a value out of range"),
        ("seabeds", "soil", "cheese", "soil has an unknown word"),
        ("trials", "status", "perhaps", "status must be used or excluded"),
        ("trials", "anchor", "nobody's", "a row that counts names an unknown anchor"),
    ],
)
def test_values_that_no_fit_writes_are_refused(
    fit: Fit, group: str, name: str, value: object, said: str
) -> None:
    made = changed(fit, group, name, value)
    with pytest.raises(DescriptionError) as caught:
        check_tree(made.tree, made.verdict.draws)
    assert said in str(caught.value)


def relabelled(fit: Fit, dim: str, first: str) -> Fit:
    """Return a fit in which the first label of a dim is another, in every group that has the dim."""
    tree = fit.tree.copy()
    for name, group in fit.tree.children.items():
        if dim in group.indexes:
            labels = [first, *list(group.indexes[dim])[1:]]
            tree[name] = group.to_dataset().assign_coords({dim: labels})
    return Fit(tree, fit.verdict)


@pytest.mark.parametrize(
    ("dim", "said"),
    [
        ("part", "posterior: the labels of part are not main, alike, own"),
        ("set_part", "posterior: the labels of set_part are not seabed"),
        ("trait", "posterior: the labels of trait are not first, second"),
        ("form", "constant_data: a label of form is no word of that column"),
        ("soil", "constant_data: a label of soil is no word of that column"),
    ],
)
def test_labels_that_are_not_the_models_are_refused(fit: Fit, dim: str, said: str) -> None:
    """Answers ask for them by name: a fit with other ones was ranked until a name was missing."""
    made = relabelled(fit, dim, "other_one")
    with pytest.raises(DescriptionError) as caught:
        check_tree(made.tree, made.verdict.draws)
    assert said in str(caught.value)


def test_a_command_names_the_file_and_what_is_wrong(fit: Fit, tmp_path: Path, run: Callable) -> None:
    save(changed(fit, "posterior", "log_capacity", np.nan), tmp_path)
    ended = run("rank", tmp_path)
    assert ended.status == 2 and ended.out == ""
    assert (
        f"{tmp_path / POSTERIOR_FILE} is not as holdcast fit writes it: posterior: log_capacity" in ended.err
    )


@pytest.mark.parametrize("group", ["posterior", "prior", "constant_data", "trials", "log_likelihood"])
def test_a_missing_group_or_variable_is_named(fit: Fit, group: str) -> None:
    tree = fit.tree.copy()
    name = next(iter(tree[group].data_vars))
    tree[group] = tree[group].to_dataset().drop_vars(name)
    whole_gone = (fit.tree.drop_nodes(group), f"the group {group} is missing")
    for each, said in ((tree, f"{group} lacks {name}"), whole_gone):
        each.attrs = dict(fit.tree.attrs)
        with pytest.raises(DescriptionError, match=said):
            check_tree(each, fit.verdict.draws)


@pytest.mark.parametrize(
    ("name", "value", "said"),
    [
        ("units", "feet", "attribute units"),
        ("priors", "[[[[", "attribute priors"),
        ("priors", '{"ground_typical": {"mean": NaN, "sd": 1}}', "attribute priors"),
        ("priors", '{"grund": {"mean": 1, "sd": 1}}', "attribute priors: grund is not allowed"),
        ("thresholds", '{"efficiency": -2}', "attribute thresholds"),
        ("doubts", '[{"severity": "doubt"}]', "attribute doubts"),
        ("seed", 1.5, "attribute seed"),
        ("title", "x" * 5000, "attribute title"),
    ],
)
def test_attributes_of_another_kind_are_named(fit: Fit, name: str, value: object, said: str) -> None:
    assert attributes_fault(fit.tree.attrs) == ""
    assert attributes_fault({**fit.tree.attrs, name: value}).startswith(said)
