"""The invented page, and the file it stands in."""

from collections.abc import Callable
from pathlib import Path

import pytest
import xarray as xr
from invented_page import invented_draws, page_of


@pytest.fixture(scope="session")
def make_draws() -> Callable[..., xr.Dataset]:
    return invented_draws


@pytest.fixture(scope="session")
def make_page() -> Callable[..., str]:
    return page_of


@pytest.fixture(scope="session")
def draws() -> xr.Dataset:
    return invented_draws(12, 4)


@pytest.fixture(scope="session")
def page_file(draws: xr.Dataset, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("page") / "report.html"
    path.write_text(page_of(draws), encoding="utf-8")
    return path
