"""A quick fit says that it is one, and lands near the full fit."""

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import xarray as xr

from holdcast.campaign.records import Campaign
from holdcast.capacity import sampling_attempts
from holdcast.capacity.inputs.layout import lay_out
from holdcast.capacity.progress import silent
from holdcast.capacity.quick import quick_draws, quick_title
from holdcast.capacity.sampler.sampling import Effort
from holdcast.capacity.sampler.verdict import Verdict
from holdcast.marks import APPROXIMATE, BAND_ENDS_OFF


def test_titles_carry_the_mark() -> None:
    assert quick_title("Harbour") == "APPROXIMATE quick fit: Harbour"
    assert quick_title("") == "APPROXIMATE quick fit"


def test_what_is_said_of_quick_fits_is_what_the_page_found() -> None:
    page = (Path(__file__).parents[2] / "docs" / "quick.md").read_text(encoding="utf-8")
    mean, largest = (f"{100 * share:.0f}%" for share in BAND_ENDS_OFF)
    assert f"off by {mean} of\nthe band's width on average and {largest} at worst" in page


@pytest.mark.fit
def test_a_quick_fit_is_near_the_full_one(fitted: tuple[Any, Any], small_campaign: Campaign) -> None:
    """Band ends of a campaign this small may move by a third of the band's width: 600 draws."""
    full, compiled = fitted
    posterior, stats, verdict = quick_draws(compiled, lay_out(small_campaign), 3, silent)
    assert verdict.approximate
    draws = {1: 600, 2: 2000}[verdict.attempts]
    assert verdict.draws == draws == stats["diverging"].size
    if verdict.ok:
        assert verdict.sentences[0].startswith(f"{APPROXIMATE}: a quick fit of {draws} draws")
        assert f"{round(100 * BAND_ENDS_OFF[1])}% at worst" in verdict.sentences[0]
    over = ("chain", "draw")
    ours, theirs = (
        draws["log_capacity"].quantile([0.05, 0.5, 0.95], over) for draws in (posterior, full.posterior)
    )
    width = theirs.sel(quantile=0.95) - theirs.sel(quantile=0.05)
    off = np.abs((ours - theirs) / width)
    assert float(off.max()) < 0.35
    assert float(off.mean()) < 0.1


def test_a_second_attempt_is_made_only_where_the_first_falls_short(monkeypatch: pytest.MonkeyPatch) -> None:
    """The last one counts, and the seconds of all of them."""
    efforts = (Effort(300, 300, 0.8, chains=2), Effort(1000, 500, 0.9, chains=2))
    statistics = xr.Dataset(
        {name: ("draw", [0.0]) for name in ("diverging", "energy", "n_steps", "step_size")}
    )

    def draw(_: object, effort: Effort, *__: object) -> tuple[xr.DataTree, float]:
        posterior = xr.Dataset({"draws": effort.draws})
        return xr.DataTree.from_dict({"posterior": posterior, "sample_stats": statistics}), 2.5

    monkeypatch.setattr(sampling_attempts, "draw_posterior", draw)
    monkeypatch.setattr(sampling_attempts, "keep_posterior", lambda posterior, *_: posterior)
    for good_from, attempts, draws in ((300, 1, 300), (1000, 2, 1000), (5000, 2, 1000)):

        def verdict_of(posterior: xr.Dataset, _: xr.Dataset, least: int = good_from) -> Verdict:
            number = int(posterior["draws"])
            return Verdict(number >= least, ("made by hand",), 0, 1.0, 800.0, 800.0, 1.0, number)

        compiled: Any = SimpleNamespace(seconds=7.0)
        posterior, _, verdict = sampling_attempts.sample_until_good(
            compiled, xr.Dataset(), 1, silent, efforts=efforts, verdict_of=verdict_of
        )
        assert (verdict.attempts, int(posterior["draws"]), verdict.ok) == (
            attempts,
            draws,
            draws >= good_from,
        )
        assert (verdict.seconds_compile, verdict.seconds_sample) == (7.0, 2.5 * attempts)
