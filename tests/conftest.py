"""What every test can rely on, what runs in one process, and what starts first."""

import os
import shutil
from collections.abc import Iterator

import pytest

# One thread of linear algebra a process, in what tests start too: there is a process a core already, and
# threads that wait for each other burn most of the time.
os.environ |= dict.fromkeys(("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"), "1")

SHARED_FIT = "the shared fit"
LONGEST_FIRST = (
    SHARED_FIT,
    "capacity/test_compiled_once.py",
    "capacity/test_recovery.py",
    "evaluate/test_campaign_refits.py",
    "capacity/test_against_mixed_model.py",
    "commands/test_killed.py",
    "commands/test_criticise.py",
    "commands/test_same_tables.py",
    "commands/test_kept_draws.py",
    "commands/test_leftovers.py",
    "commands/test_mutations.py",
    "evaluate/test_spreading.py",
    "day/test_on_the_phone.py",
    "predict/test_predict.py",
    "predict/test_predict_command.py",
    "predict/test_boat.py",
    "commands/test_add.py",
    "commands/test_words.py",
    "commands/test_crafted_results.py",
    "capacity/test_setting_fit.py",
    "capacity/test_density.py",
    "capacity/test_blocks.py",
    "capacity/test_prior_draws.py",
    "project/test_scripts.py",
    "show/test_report.py",
)
"""Groups that take the longest (`pytest --durations 40`): begun last, one of them would run on alone."""


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Group tests for ``--dist loadgroup --no-loadscope-reorder`` (scripts/test.sh), longest groups first.

    All tests of the one real fit run in one process, which compiles and samples it once; of the others each
    file stays in one piece, so that what it makes once is made once.
    """

    def group(item: pytest.Item) -> str:
        shares = item.get_closest_marker("fit") and "fitted" in getattr(item, "fixturenames", ())
        return SHARED_FIT if shares else "/".join(item.path.parts[-2:])

    groups = {item: group(item) for item in items}
    for item, name in groups.items():
        item.add_marker(pytest.mark.xdist_group(name))
    places = {name: place for place, name in enumerate(LONGEST_FIRST)}
    items.sort(key=lambda item: places.get(groups[item], len(places)))


@pytest.fixture(scope="session", autouse=True)
def a_terminal_of_100_columns() -> Iterator[None]:
    """Lines break alike wherever the tests run."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("COLUMNS", "100")
        yield


@pytest.fixture(scope="session")
def chromium() -> Iterator[object]:
    """The system's own Chromium, driven without a window; nothing is downloaded."""
    path = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if path is None:
        pytest.skip(
            "no Chromium on this machine: the page was not tried in a browser (apt-get install chromium)"
        )
    playwright = pytest.importorskip("playwright.sync_api")
    with playwright.sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=path, args=["--no-sandbox"])
        yield browser
        browser.close()
