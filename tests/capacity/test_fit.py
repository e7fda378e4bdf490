"""One real fit, through the front function: whole, repeatable, saved, loaded, honest where untested."""

import json
import shutil
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

import holdcast
from holdcast.campaign import Campaign
from holdcast.campaign.records import CampaignError
from holdcast.capacity.fitting import Fit, fit
from holdcast.capacity.inputs.labels import positions
from holdcast.capacity.inputs.layout import lay_out
from holdcast.capacity.model.build import build_model
from holdcast.capacity.model.priors import with_overrides
from holdcast.capacity.results.description import DRAWS, INPUTS, ONLY_WITH
from holdcast.capacity.results.reading import read_tree
from holdcast.capacity.sampler.compiling import CompiledModel
from holdcast.capacity.sampler.derived import Derivation
from holdcast.capacity.sampler.refitting import with_new_data
from holdcast.capacity.sampler.sampling import ATTEMPTS, Effort, draw_posterior
from holdcast.capacity.store import POSTERIOR_FILE, RESULTS_VERSION, VERDICT_FILE, ResultsError, load, save

SEED = 11
GROUPS = {"posterior", "posterior_predictive", "log_likelihood", "sample_stats", "prior", "log_prior",
          "observed_data", "constant_data", "anchors", "seabeds", "trials"}  # fmt: skip
Fitted = tuple[Fit, CompiledModel]


def test_front_functions_are_functions() -> None:
    from holdcast import capacity

    for room in (holdcast, capacity):
        assert callable(room.fit)
        assert callable(room.load)
    assert holdcast.fit is fit


def test_a_campaign_without_a_used_pull_is_not_fitted(small_campaign: Campaign) -> None:
    from dataclasses import replace

    trials = small_campaign.trials.assign(status="excluded")
    with pytest.raises(CampaignError) as caught:
        fit(replace(small_campaign, trials=trials))
    (finding,) = caught.value.findings
    assert (finding.found, finding.file) == ("no pull that counts", "trials.csv")


def test_a_wrong_prior_stops_the_fit_before_anything_is_compiled(
    make_campaign: Callable[..., Campaign],
) -> None:
    campaign = make_campaign("[priors]\nvisit_sprad = { median = 0.2 }\n")
    with pytest.raises(CampaignError) as caught:
        fit(campaign)
    assert caught.value.findings[0].fix == "did you mean visit_spread?"


@pytest.fixture(scope="session")
def saved_once(fitted: Fitted, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("saved")
    save(fitted[0], folder)
    return folder


@pytest.fixture
def saved(saved_once: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(saved_once, tmp_path / "saved"))


@pytest.mark.fit
def test_verdict_is_good_and_counts(fitted: Fitted) -> None:
    verdict = fitted[0].verdict
    assert verdict.ok, verdict.sentences
    assert 1 <= verdict.attempts <= len(ATTEMPTS)
    assert verdict.draws == ATTEMPTS[verdict.attempts - 1].draws * 4
    assert verdict.seconds_compile > 0.0
    assert verdict.seconds_sample > 0.0


@pytest.mark.fit
def test_every_cell_is_there_and_finite(fitted: Fitted, small_campaign: Campaign) -> None:
    cells = fitted[0].posterior["log_capacity"]
    assert list(cells["anchor"].to_numpy()) == list(small_campaign.anchors.index)
    assert list(cells["seabed"].to_numpy()) == list(small_campaign.seabeds.index)
    assert np.isfinite(cells).all()
    assert (cells.std(("chain", "draw")) > 0.01).all()


@pytest.mark.fit
def test_tree_has_every_group_and_no_invented_dim(fitted: Fitted) -> None:
    tree = fitted[0].tree
    assert set(tree.children) == GROUPS
    for name, group in tree.children.items():
        for dim in group.to_dataset().dims:
            assert "_dim_" not in str(dim), (name, dim)
    hidden = [name for name in tree["posterior"].data_vars if str(name).endswith(("_z", "_unit", "__"))]
    assert not hidden
    for name in ("version", "seed", "title", "licence", "input_hash", "newest_trial", "results_version"):
        assert name in tree.attrs
    assert tree.attrs["seed"] == SEED
    assert json.loads(tree.attrs["priors"])["visit_spread"] == {"median": 0.18, "log_sd": 0.5}


@pytest.mark.fit
def test_predictive_and_likelihood_are_by_pull(fitted: Fitted, small_campaign: Campaign) -> None:
    tree = fitted[0].tree
    used = list(small_campaign.trials.index[small_campaign.trials["status"] == "used"])
    for group in ("posterior_predictive", "log_likelihood"):
        values = tree[group]["log_load"]
        assert set(values.dims) == {"chain", "draw", "trial"}
        assert list(values["trial"].to_numpy()) == used
        assert np.isfinite(values).all()
    # A pull that is predicted must look like the pulls: most readings lie inside the middle 90%.
    predicted = tree["posterior_predictive"]["log_load"].quantile([0.05, 0.95], ("chain", "draw"))
    data = tree["constant_data"].to_dataset()
    inside = (data["upper"] >= predicted.sel(quantile=0.05)) & (data["lower"] <= predicted.sel(quantile=0.95))
    assert float(inside.mean()) > 0.85


@pytest.mark.fit
def test_tested_cells_follow_their_pulls_and_are_narrower(fitted: Fitted) -> None:
    tree = fitted[0].tree
    cells, inputs = fitted[0].posterior["log_capacity"], fitted[0].inputs
    pulls = xr.zeros_like(cells.isel(chain=0, draw=0, drop=True))
    middle = pulls.copy()
    for anchor, seabed, low, high in zip(
        *(inputs[name].to_numpy() for name in ("anchor_of", "seabed_of", "lower", "upper")), strict=True
    ):
        pulls[anchor, seabed] += 1
        middle[anchor, seabed] += 0.5 * (low + high)
    width = cells.std(("chain", "draw"))
    assert int((pulls == 0).sum()) == 2
    assert float(width.where(pulls == 0).mean()) > 1.5 * float(width.where(pulls > 0).mean())
    gap = (cells.median(("chain", "draw")) - middle / pulls).where(pulls > 0)
    assert float(abs(gap).max()) < 0.5
    assert float(width.max()) < float(tree["prior"]["log_capacity"].std(("chain", "draw")).max())


def all_loads_half_greater(inputs: xr.Dataset) -> xr.Dataset:
    return inputs.assign(lower=inputs["lower"] + np.log(1.5), upper=inputs["upper"] + np.log(1.5))


@pytest.mark.fit
def test_the_same_seed_gives_the_same_draws_on_one_core_or_two(
    fitted: Fitted, small_campaign: Campaign
) -> None:
    """Also after the compiled model was handed other data, which must not change it."""
    compiled, effort = fitted[1], Effort(100, 100, 0.8)
    first, _ = draw_posterior(compiled, effort, SEED, cores=2)
    inputs = lay_out(small_campaign)
    with_new_data(compiled, build_model(inputs, with_overrides({})), all_loads_half_greater(inputs))
    again, _ = draw_posterior(compiled, effort, SEED, cores=1)
    np.testing.assert_array_equal(again["posterior"]["log_capacity"], first["posterior"]["log_capacity"])


@pytest.mark.fit
@pytest.mark.long
def test_a_fit_draws_what_its_seed_and_attempt_draw(fitted: Fitted) -> None:
    made, compiled = fitted
    again, _ = draw_posterior(compiled, ATTEMPTS[made.verdict.attempts - 1], SEED, cores=1)
    # To the last digit that is kept.
    capacity = again["posterior"]["log_capacity"].astype(np.float32)
    np.testing.assert_array_equal(capacity, made.posterior["log_capacity"])


@pytest.mark.fit
def test_new_readings_need_no_compiling_and_move_every_cell(fitted: Fitted, small_campaign: Campaign) -> None:
    made, compiled = fitted
    inputs = lay_out(small_campaign)
    raised = with_new_data(compiled, build_model(inputs, with_overrides({})), all_loads_half_greater(inputs))
    moved, _ = draw_posterior(raised, Effort(500, 300, 0.8), SEED)
    over = ("chain", "draw")
    rise = moved["posterior"]["log_capacity"].mean(over) - made.posterior["log_capacity"].mean(over)
    assert 0.3 < float(rise.min()) < float(rise.max()) < 0.45


@pytest.mark.fit
def test_new_data_of_another_size_never_reach_compiled_code(fitted: Fitted, small_campaign: Campaign) -> None:
    """It would read other memory, without an error."""
    inputs = lay_out(small_campaign)
    model = build_model(inputs, with_overrides({}))
    layout = fitted[1].derivation.layout
    unused = CompiledModel(None, None, Derivation(layout), layout.data, 0.0)
    with pytest.raises(ValueError, match=r"has shape \(39,\); the compiled model needs \(40,\)"):
        with_new_data(unused, model, inputs.isel(trial=slice(1, None)))
    with pytest.raises(ValueError, match="the new data lack 'kind'"):
        with_new_data(unused, model, inputs.drop_vars("kind"))
    with pytest.raises(ValueError, match="the new data have the soils"):
        with_new_data(unused, model, inputs.assign_coords(soil=["clay", "sand", "rock"]))
    designs = inputs.sizes["design"]
    with pytest.raises(ValueError, match=f"have {designs + 1} designs; the model was compiled for {designs}"):
        more = inputs.drop_vars("design").assign_coords(design=[f"D{n}" for n in range(designs + 1)])
        with_new_data(unused, model, more)


@pytest.mark.fit
def test_a_label_that_was_taken_out_raises(fitted: Fitted) -> None:
    cells = fitted[0].posterior["log_capacity"]
    with pytest.raises(KeyError, match="not all values found in index 'anchor'"):
        cells.sel(anchor="A-10-bar")
    with pytest.raises(
        KeyError, match="unknown anchor: 'A-10-bar'; the nearest known one to 'A-10-bar' is 'A-10-bare'"
    ):
        positions(["A-10-bar"], list(cells["anchor"].to_numpy()), "anchor")


# --- Save and load ---------------------------------------------------------------------------------------


@pytest.mark.fit
def test_what_was_saved_is_what_is_loaded(fitted: Fitted, saved: Path) -> None:
    loaded = load(saved)
    assert loaded.verdict == fitted[0].verdict
    assert dict(loaded.tree.attrs) == dict(fitted[0].tree.attrs)
    assert set(loaded.tree.children) == GROUPS
    for name in GROUPS:
        xr.testing.assert_equal(loaded.tree[name].to_dataset(), fitted[0].tree[name].to_dataset())
    for name, array in fitted[0].posterior.data_vars.items():
        assert loaded.posterior[name].attrs == array.attrs
    assert load(str(saved)).verdict.ok


def kinds_of(holder: xr.DataTree | xr.DataArray | xr.Variable) -> dict[str, type]:
    return {name: type(value) for name, value in holder.attrs.items()}


@pytest.mark.fit
def test_the_file_reads_as_xarray_reads_it(saved: Path) -> None:
    ours = read_tree(saved / POSTERIOR_FILE)
    theirs = xr.load_datatree(saved / POSTERIOR_FILE, engine="h5netcdf")
    assert set(ours.children) == set(theirs.children) == GROUPS
    assert kinds_of(ours) == kinds_of(theirs) and ours.attrs == theirs.attrs
    for name in GROUPS:
        read = theirs[name].to_dataset()
        single = [key for key, each in read.data_vars.items() if each.dtype == np.float32]
        xr.testing.assert_identical(
            ours[name].to_dataset(), read.assign(read[single].astype(float, keep_attrs=True))
        )
        for key, variable in read.variables.items():
            assert kinds_of(ours[name][key]) == kinds_of(variable)


@pytest.mark.fit
@pytest.mark.parametrize("name", [POSTERIOR_FILE, VERDICT_FILE])
def test_a_missing_file_is_named(saved: Path, name: str) -> None:
    (saved / name).unlink()
    with pytest.raises(ResultsError, match=f"{name} is missing: is this a results folder"):
        load(saved)


@pytest.mark.fit
@pytest.mark.parametrize(
    "text", ["", "{", "[]", '{"ok": true}', '{"ok": true, "sentences": 3}', "\x00\xff", "null"]
)
def test_a_damaged_verdict_is_named(saved: Path, text: str) -> None:
    (saved / VERDICT_FILE).write_text(text, encoding="latin-1")
    with pytest.raises(ResultsError, match=f"{VERDICT_FILE} is damaged .*run holdcast fit again"):
        load(saved)


@pytest.mark.fit
@pytest.mark.parametrize("keep", [0, 100, 20_000])
def test_a_cut_off_posterior_is_named(saved: Path, keep: int) -> None:
    file = saved / POSTERIOR_FILE
    file.write_bytes(file.read_bytes()[:keep])
    with pytest.raises(ResultsError, match=f"{POSTERIOR_FILE} is damaged .*run holdcast fit again"):
        load(saved)


@pytest.mark.fit
def test_another_kind_of_file_is_named(saved: Path) -> None:
    shutil.copy(saved / VERDICT_FILE, saved / POSTERIOR_FILE)
    with pytest.raises(ResultsError, match=f"{POSTERIOR_FILE} is damaged"):
        load(saved)


@pytest.mark.fit
@pytest.mark.parametrize("version", [None, 0, 99])
def test_results_of_another_version_are_refused(saved: Path, version: int | None) -> None:
    fields = json.loads((saved / VERDICT_FILE).read_text(encoding="utf-8"))
    fields["results_version"] = version
    if version is None:  # as earlier ones were written
        del fields["results_version"], fields["posterior_sha256"]
    (saved / VERDICT_FILE).write_text(json.dumps(fields), encoding="utf-8")
    written = "an earlier version" if version is None else f"version {version}"
    reads = f"this program reads version {RESULTS_VERSION}: run holdcast fit again"
    with pytest.raises(ResultsError, match=f"results of {written}; {reads}"):
        load(saved)


@pytest.mark.fit
def test_the_description_names_every_variable_of_a_fit(fitted: Fitted) -> None:
    """One that it does not name is not looked for; a new one needs a line there.

    Whether a pull had set is known after sampling only, so it is no input; it is checked with the draws.
    """
    tree = fitted[0].tree.copy()
    tree["constant_data"] = xr.DataTree(fitted[0].inputs.drop_vars("had_set"))
    for group, dims, sample in (("posterior", DRAWS, 2), ("prior", DRAWS, 2), ("constant_data", INPUTS, 0)):
        described = {name: over for over, names in dims.items() for name in names.split()}
        there = {str(name): array.dims[sample:] for name, array in tree[group].data_vars.items()}
        assert there == {name: over for name, over in described.items() if name in there}
        absent = set(described) - set(there)
        assert all(name.startswith(tuple(ONLY_WITH)) for name in absent), absent


def test_a_folder_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(ResultsError, match=r"nowhere/posterior\.nc is missing"):
        load(tmp_path / "nowhere")
