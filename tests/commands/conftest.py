"""Campaigns as a tester saves them, the command line run inside the test, and a fit that samples nothing."""

import csv
import io
import shutil
from collections.abc import Callable, Mapping, Sequence
from contextlib import contextmanager, redirect_stdout
from dataclasses import dataclass, replace
from importlib.metadata import version
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from all_set import with_setting
from whole import remembering, remembering_files, whole

from holdcast import cli
from holdcast.answers.cells import cells
from holdcast.campaign.records import Campaign
from holdcast.capacity import fitting, store
from holdcast.capacity.fitting import Fit
from holdcast.capacity.inputs.layout import lay_out
from holdcast.capacity.model.design_parts import PARTS, TRAITS
from holdcast.capacity.model.priors import with_overrides
from holdcast.capacity.quick import quick_title
from holdcast.capacity.sampler.verdict import Verdict
from holdcast.capacity.tree import assemble, root_attributes
from holdcast.commands import fit as fit_command
from holdcast.commands.published import publishing
from holdcast.show.figures import capacity as figure
from holdcast.show.figures import criticism as criticism_figure
from holdcast.show.figures import intervals
from holdcast.show.figures import sizes as sizes_figure
from holdcast.show.views import setting_again

CHAINS, DRAWS = 2, 40
Rows = Sequence[Mapping[str, object]]
FORMULA, SCRIPT, PATH_LIKE = "=1+1", "<script>alert(1)</script>", "../../x"
ANCHORS: Rows = (
    {"anchor": FORMULA, "design": FORMULA, "form": "scoop", "mass_kg": 10, "tip_load_kg": 4,
     "price": "=B2"},
    {"anchor": SCRIPT, "design": "S", "form": "plough", "mass_kg": 15},
    {"anchor": "A", "design": "S", "form": "plough", "mass_kg": 9, "fluke_area_cm2": 10, "price": "12.50"},
)  # fmt: skip
SEABEDS: Rows = (
    {"seabed": PATH_LIKE, "soil": "clay", "strength": "very_low"},
    {"seabed": "<b>beach</b>", "soil": "sand", "strength": "dense"},
)
TRIALS: Rows = (
    {"trial": "1", "anchor": FORMULA, "seabed": PATH_LIKE, "date": "2024-05-01",
     "held_n": 900, "released_n": 950},
    {"trial": "2", "anchor": FORMULA, "seabed": PATH_LIKE, "date": "2024-05-01",
     "held_n": 920, "released_n": 990},
    {"trial": "3", "anchor": SCRIPT, "seabed": "<b>beach</b>", "date": "2024-05-02", "held_n": 1500,
     "stopped_by": "boat_limit"},
    {"trial": "4", "anchor": "A", "seabed": PATH_LIKE, "date": "2024-05-01",
     "held_n": 700, "released_n": 700},
    {"trial": "=5", "anchor": "A", "seabed": PATH_LIKE, "date": "2024-05-01", "held_n": 10, "released_n": 12,
     "exclude": "=2+3 <script>fouled</script>"},
    {"trial": "6", "anchor": "A", "seabed": PATH_LIKE, "test": "reset", "attempts": 3, "successes": 2},
)  # fmt: skip


def write_table(path: Path, rows: Rows) -> None:
    names = list(dict.fromkeys(name for row in rows for name in row))
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, names, restval="")
        writer.writeheader()
        writer.writerows(rows)


def write_campaign(folder: Path, settings: str = "", **tables: Rows) -> Path:
    folder.mkdir(parents=True)
    given = {"anchors": ANCHORS, "seabeds": SEABEDS, "trials": TRIALS} | tables
    given["trials"] = [{"test": "pull", **row} for row in given["trials"]]
    for name, rows in given.items():
        write_table(folder / f"{name}.csv", rows)
    if settings:
        (folder / "campaign.toml").write_text(settings, encoding="utf-8")
    return folder


def invented_draws(inputs: xr.Dataset, seed: int, draws: int) -> xr.Dataset:
    """Draws of every variable that tables, figure and page ask for; plausible, no posterior of anything."""
    rng = np.random.default_rng(seed)
    sizes = {"chain": CHAINS, "draw": draws, **dict(inputs.sizes), "part": len(PARTS), "trait": len(TRAITS)}

    def draw(centre: object, sd: float, *over: str) -> tuple[tuple[str, ...], np.ndarray]:
        dims = ("chain", "draw", *over)
        return dims, np.asarray(centre) + sd * rng.standard_normal([sizes[dim] for dim in dims])

    mass = inputs["log_mass_ratio"].to_numpy()[:, np.newaxis]
    even = np.full((CHAINS, draws, len(PARTS)), 1.0 / len(PARTS))
    made = {
        "log_capacity": draw(7.0 + 0.9 * mass, 0.2, "anchor", "seabed"),
        "visit_effect": draw(0.0, 0.1, "visit"),
        "visit_spread": draw(0.15, 0.01),
        "pull_scatter": draw(0.2, 0.01, "seabed"),
        "rate_per_decade": draw(0.05, 0.01, "soil"),
        "strength_of_fall": draw(0.5, 0.05),
        "design_spread": draw(0.4, 0.02),
        "design_share": (("chain", "draw", "part"), even),
        "design_effect": draw(0.0, 0.3, "design", "seabed"),
        "configuration_effect": draw(0.0, 0.1, "anchor", "seabed"),
        "trait_score": draw(0.0, 1.0, "design", "trait"),
        "trait_loading": draw(0.0, 0.1, "trait", "seabed"),
        "trait_effect": draw(0.0, 0.1, "design", "seabed"),
        "form_effect": draw(0.0, 0.1, "form", "seabed"),
        "feature_effect": draw(0.0, 0.1, "feature", "seabed"),
        "feature_typical": draw(0.0, 0.1, "feature"),
        **{name: draw(0.2, 0.01) for name in ("form_spread", "form_seabed_spread", "feature_seabed_spread")},
        "anchor_log_tip_load": draw(inputs["log_tip_load"].to_numpy(), 0.0, "anchor"),
        "anchor_log_area_excess": draw(inputs["log_area_excess"].to_numpy(), 0.0, "anchor"),
        "ground": draw(7.0, 0.1, "seabed"),
        "log_resistance": draw(0.0, 0.1, "seabed"),
        "size_exponent_deviation": draw(0.0, 0.01, "seabed"),
        "size_exponent": draw(0.86, 0.02),
        "area_exponent": draw(0.7, 0.02),
        "penetration_steepness": draw(1.5, 0.02),
        "tip_growth": draw(0.3, 0.01),
    }
    coords = {name: inputs[name] for name in ("anchor", "seabed", "design", "visit", "soil")}
    coords |= {"part": list(PARTS), "trait": list(TRAITS), "chain": range(CHAINS), "draw": range(draws)}
    slides = {"sliding_efficiency": draw(1.2, 0.05)}
    return with_setting(xr.Dataset(made, coords=coords), inputs).assign(slides)


GOOD = Verdict(True, ("made by hand",), 0, 1.001, 900.0, 800.0, 0.9, CHAINS * DRAWS)
BAD = replace(GOOD, ok=False, sentences=("12 of 80 draws diverged; at most 0 may",), divergences=12)


DRAWN: dict[tuple[str, int], Fit] = {}
"""Fits without sampling by what their campaign's files hold and their seed: made once a process."""


def fit_without_sampling(
    campaign: Campaign, seed: int, verdict: Verdict = GOOD, *, quick: bool = False
) -> Fit:
    """The real layout, tree and attributes around invented draws."""
    key = (campaign.digest, seed)
    DRAWN[key] = DRAWN.get(key) or _drawn(campaign, seed)
    tree = DRAWN[key].tree.copy()
    tree.attrs = root_attributes(campaign, with_overrides(campaign.priors), seed, version("holdcast"))
    if quick:
        tree.attrs["title"] = quick_title(campaign.title)
    return Fit(tree, replace(verdict, approximate=quick, draws=CHAINS * DRAWS))


def _drawn(campaign: Campaign, seed: int) -> Fit:
    inputs = lay_out(campaign)
    posterior, prior = invented_draws(inputs, seed, DRAWS), invented_draws(inputs, seed + 1, 2 * DRAWS)
    shape = (CHAINS, DRAWS)
    stats = xr.Dataset(
        {
            "diverging": (("chain", "draw"), np.zeros(shape, dtype=bool)),
            "energy": (("chain", "draw"), np.ones(shape)),
        }
    )
    return whole(Fit(assemble(posterior, stats, prior, inputs, campaign, seed), GOOD))


@pytest.fixture(autouse=True)
def worked_out_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Read a file once a process, and work out once what follows from a fit: bytes, cells, pulls to check."""
    monkeypatch.setattr(store, "_read_tree", remembering_files(store._read_tree))
    for place, name in ((store, "tree_bytes"), (cells, "cells"), (fit_command, "look_again")):
        monkeypatch.setattr(place, name, remembering(getattr(place, name)))


@dataclass(frozen=True)
class Ended:
    """How a command ended, and what it said."""

    status: int
    out: str
    err: str


@contextmanager
def fitting_replaced(made: Callable[..., Fit]):
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(fitting, "fit", made)
        patch.setenv("COLUMNS", "140")
        yield


@pytest.fixture
def campaign(tmp_path: Path) -> Path:
    return write_campaign(tmp_path / "my campaign")


@pytest.fixture
def make_campaign(tmp_path: Path) -> Callable[..., Path]:
    return lambda settings="", **tables: write_campaign(tmp_path / "made", settings, **tables)


@pytest.fixture
def run(capfd: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Callable[..., Ended]:
    """Run the command line as the installed program does."""
    monkeypatch.setenv("COLUMNS", "140")

    def run(*words: object) -> Ended:
        capfd.readouterr()
        with pytest.raises(SystemExit) as left:
            cli.main([str(word) for word in words])
        out, err = capfd.readouterr()
        return Ended(int(left.value.code or 0), out, err)

    return run


@pytest.fixture
def fits(monkeypatch: pytest.MonkeyPatch) -> Callable[..., None]:
    """Put a fit that samples nothing in place of the real one; given an error, it is raised instead."""

    def fits(verdict: Verdict = GOOD, *, raises: BaseException | None = None) -> None:
        def made(campaign: Campaign, *, seed: int, quick: bool, progress: object) -> Fit:
            if raises is not None:
                raise raises
            return fit_without_sampling(campaign, seed, verdict, quick=quick)

        monkeypatch.setattr(fitting, "fit", made)

    return fits


@pytest.fixture
def unplotted(monkeypatch: pytest.MonkeyPatch) -> None:
    """Leave the drawing out where a test is about folders; the page and the tables are written."""
    monkeypatch.setattr(figure, "save_figures", lambda *_, **__: [])
    monkeypatch.setattr(figure, "figure_svgs", lambda *_, **__: [("<svg/>", "<svg/>")])
    monkeypatch.setattr(setting_again, "save_setting_again", lambda *_, **__: [])
    monkeypatch.setattr(setting_again, "setting_again_svgs", lambda *_, **__: [])
    monkeypatch.setattr(intervals, "save_figure", lambda *_: [])
    monkeypatch.setattr(sizes_figure, "save_sizes_figure", lambda *_, **__: [])
    monkeypatch.setattr(criticism_figure, "save_criticism_figures", lambda *_, **__: [])


@pytest.fixture
def unpaged(unplotted: None, monkeypatch: pytest.MonkeyPatch) -> None:
    """Write a page of one line where a test is about folders and not about what stands on it."""

    def write_page(fit: Fit, table: xr.Dataset, folder: Path, *_: object) -> None:
        publishing.write_whole(folder / "report.html", "<p>page</p>")

    monkeypatch.setattr(publishing, "write_page", write_page)


@pytest.fixture
def bad_verdict() -> Verdict:
    return BAD


@dataclass(frozen=True)
class Published:
    """Results, and what stood on the screen when they were made."""

    folder: Path
    screen: str


@pytest.fixture(scope="session")
def made_once(tmp_path_factory: pytest.TempPathFactory) -> Published:
    """The small campaign fitted once by the command itself."""
    folder = write_campaign(
        tmp_path_factory.mktemp("published") / "campaign",
        'title = "<i>=Title</i>"\nauthor = "A. Tester"\n[thresholds]\nefficiency = 10\n',
    )
    return Published(folder / "results", _fit_by_command(folder))


@pytest.fixture(scope="session")
def published(made_once: Published) -> Path:
    """The results folder of the small campaign."""
    return made_once.folder


@pytest.fixture(scope="session")
def screen(made_once: Published) -> str:
    """What the fit of the small campaign printed on standard output, 140 columns wide."""
    return made_once.screen


@pytest.fixture(scope="session")
def fitted_once(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Path]:
    """Return the small campaign as it is, fitted in one way by the command itself, once for all."""
    folders: dict[str, Path] = {}

    def fitted(*words: str) -> Path:
        key = " ".join(words)
        if key not in folders:
            folder = write_campaign(tmp_path_factory.mktemp("fitted") / "my campaign")
            _fit_by_command(folder, *words)
            folders[key] = folder
        return folders[key]

    return fitted


def _fit_by_command(folder: Path, *words: str) -> str:
    """Fit without sampling and return what the command printed on standard output."""
    screen = io.StringIO()
    with fitting_replaced(_without_sampling), redirect_stdout(screen), pytest.raises(SystemExit) as left:
        cli.main(["fit", str(folder), *words])
    assert not left.value.code
    return screen.getvalue()


def _without_sampling(campaign: Campaign, *, seed: int, quick: bool, progress: object) -> Fit:
    return fit_without_sampling(campaign, seed, quick=quick)


@pytest.fixture
def with_results(fitted_once: Callable[[str], Path], tmp_path: Path) -> Path:
    """A copy of the small campaign with the results of a full fit."""
    return Path(shutil.copytree(fitted_once(), tmp_path / "my campaign"))


@pytest.fixture
def with_quick_results(fitted_once: Callable[[str], Path], tmp_path: Path) -> Path:
    """A copy of the small campaign with the results of a quick fit, which draws no page."""
    return Path(shutil.copytree(fitted_once("--quick"), tmp_path / "my campaign"))


@pytest.fixture(scope="session")
def contents() -> Callable[[Path], dict[str, bytes]]:
    """Every file below a folder, byte for byte."""
    return lambda folder: {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }
