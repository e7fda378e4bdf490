"""A quick fit says that it is one, and lands near the full fit."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from holdcast.campaign.records import Campaign
from holdcast.capacity.inputs.layout import lay_out
from holdcast.capacity.progress import silent
from holdcast.capacity.quick import quick_draws, quick_title
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
    assert verdict.draws == 600 == stats["diverging"].size
    if verdict.ok:
        assert verdict.sentences[0].startswith(f"{APPROXIMATE}: a quick fit of 600 draws")
        assert f"{round(100 * BAND_ENDS_OFF[1])}% at worst" in verdict.sentences[0]
    over = ("chain", "draw")
    ours, theirs = (
        draws["log_capacity"].quantile([0.05, 0.5, 0.95], over) for draws in (posterior, full.posterior)
    )
    width = theirs.sel(quantile=0.95) - theirs.sel(quantile=0.05)
    off = np.abs((ours - theirs) / width)
    assert float(off.max()) < 0.35
    assert float(off.mean()) < 0.1
