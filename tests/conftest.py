"""What every test can rely on, and which files start first."""

from collections.abc import Iterator

import pytest

LONGEST_FIRST = (
    "capacity/test_fit.py",
    "evaluate/test_campaign_refits.py",
    "capacity/test_variants.py",
    "capacity/test_against_mixed_model.py",
    "capacity/test_recovery.py",
    "commands/test_killed.py",
    "evaluate/test_spreading.py",
    "capacity/test_density.py",
    "capacity/test_blocks.py",
    "capacity/test_prior_draws.py",
    "project/test_scripts.py",
    "show/test_report.py",
)
"""Files that take the longest (`pytest --durations 40`): begun last, one of them would run on alone."""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put the longest files first, in their order; the rest stays as it is.

    Files of a folder share fixtures of its conftest within a process, so that a file stays in one piece
    (``--dist loadfile --no-loadscope-reorder`` in scripts/test.sh).
    """

    def place(item: pytest.Item) -> int:
        file = item.path.as_posix()
        return next((n for n, end in enumerate(LONGEST_FIRST) if file.endswith(end)), len(LONGEST_FIRST))

    items.sort(key=place)


@pytest.fixture(scope="session", autouse=True)
def a_terminal_of_100_columns() -> Iterator[None]:
    """Lines break alike wherever the tests run."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("COLUMNS", "100")
        yield
