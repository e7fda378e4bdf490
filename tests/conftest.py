"""What every test can rely on, what runs in one process, and what starts first."""

import contextlib
import os
import shutil
from collections.abc import Iterator

import pytest

# One thread of linear algebra a process, in what tests start too: there is a process a core already, and
# threads that wait for each other burn most of the time.
os.environ |= dict.fromkeys(("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"), "1")
# The library of graphs notes for each node which line made it: a third of the time that graphs take.
os.environ["PYTENSOR_FLAGS"] = ",".join(
    filter(None, (os.environ.get("PYTENSOR_FLAGS"), "traceback__limit=0"))
)

SHARED_FIT = "the shared fit"
OF_THE_SHARED_FIT = {
    f"capacity/test_{name}.py" for name in ("density", "fit", "other_tools", "quick", "variants")
}
"""Files whose tests read the one real fit, which is compiled and sampled once."""
ONE_FOLDER = ("commands", "predict")
"""Folders whose files share results that take seconds to write."""
LONGEST_FIRST = (
    "commands",
    SHARED_FIT,
    "predict",
    "capacity/test_recovery.py",
    "capacity/test_compiled_once.py",
    "capacity/test_model.py",
    "capacity/test_against_mixed_model.py",
    "day/test_on_the_phone.py",
    "page/test_in_browser.py",
    "capacity/test_setting_fit.py",
    "evaluate/test_spreading.py",
    "evaluate/test_campaign_refits.py",
    "capacity/test_instruments.py",
    "capacity/test_fluke_angles.py",
    "figures/test_fixed_grids_and_criticisms.py",
    "capacity/test_priors.py",
    "project/test_scripts.py",
    "show/test_report.py",
)
"""Groups that take the longest (`pytest --durations 40`): begun last, one of them would run on alone."""


def group_of(nodeid: str) -> str:
    """Return what runs in one process: a file, or several that share what is dear to make."""
    folder, file = nodeid.split("::")[0].split("/")[-2:]
    if folder in ONE_FOLDER:
        return folder
    place = f"{folder}/{file}"
    return SHARED_FIT if place in OF_THE_SHARED_FIT else place


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: object) -> object:
    """Hand out whole groups, in the order in which they were collected.

    The library's own groups (``--dist loadgroup``) come to nothing since pytest 9.2 took the names of tests
    out of plugins' hands (pytest-xdist issue 1386): each test then goes to whichever process is free.
    """
    from xdist.scheduler import LoadFileScheduling

    class ByGroup(LoadFileScheduling):
        def _split_scope(self, nodeid: str) -> str:
            return group_of(nodeid)

    return ByGroup(config, log)


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Begin with the groups that take longest: what is begun last would run on alone."""
    places = {name: place for place, name in enumerate(LONGEST_FIRST)}
    items.sort(key=lambda item: places.get(group_of(item.nodeid), len(places)))


@pytest.fixture(scope="module", autouse=True)
def all_of_a_file_in_one_process(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """What a file makes once is made once, or this says that the grouping has come to nothing."""
    worker = os.environ.get("PYTEST_XDIST_WORKER")
    if worker:
        claim = tmp_path_factory.getbasetemp().parent / group_of(request.node.nodeid).replace("/", " ")
        with contextlib.suppress(FileExistsError), claim.open("x") as file:
            file.write(worker)
        assert claim.read_text() == worker, "another process has tests of this group too"


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
