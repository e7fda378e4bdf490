"""What every test can rely on."""

from collections.abc import Iterator

import pytest


@pytest.fixture(scope="session", autouse=True)
def a_terminal_of_100_columns() -> Iterator[None]:
    """Lines break alike wherever the tests run."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("COLUMNS", "100")
        yield
