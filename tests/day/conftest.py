"""The invented day, its page in a file, and a phone to open it on."""

from collections.abc import Callable
from pathlib import Path

import pytest
import xarray as xr
from invented_day import day_page, invented_readings


@pytest.fixture(scope="session")
def readings() -> xr.Dataset:
    return invented_readings()


@pytest.fixture(scope="session")
def make_day() -> Callable[..., str]:
    return day_page


@pytest.fixture(scope="session")
def day_file(readings: xr.Dataset, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("day") / "day.html"
    path.write_text(day_page(readings), encoding="utf-8")
    return path


@pytest.fixture
def phone(chromium, day_file):
    """Opens the page on a phone of its own; fails on a request, a console line or a script's fault."""
    faults, contexts = [], []

    def opened(path=day_file, width=390, context=None, now=None, **settings):
        if context is None:
            context = chromium.new_context(
                viewport={"width": width, "height": 844}, accept_downloads=True, **settings
            )
            contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(10_000)
        page.on("console", lambda line: faults.append(line.text))
        page.on("pageerror", lambda fault: faults.append(str(fault)))
        page.on("dialog", lambda dialog: (faults.append(f"dialog {dialog.message}"), dialog.dismiss()))
        page.on(
            "request",
            lambda r: None if r.url.startswith(("blob:", "data:", path.as_uri())) else faults.append(r.url),
        )
        if now is not None:
            page.clock.set_fixed_time(now)
        page.goto(path.as_uri())
        return page

    yield opened
    for context in contexts:
        context.close()
    assert faults == []
