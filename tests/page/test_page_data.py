"""What the page's script is given: joint draws in few bytes, and a policy that lets only our own through."""

import base64
import hashlib
import json
import re

import numpy as np
import pytest

from holdcast.answers.page.joint_draws import holding_chance
from holdcast.physics.units import GRAVITY
from holdcast.show.report.page_data import quantised


def restored(part):
    if part["bits"] == 6:  # one character of base64 each
        padded = base64.b64decode("".join(f"AAA{each}" for each in part["data"]))
        whole = np.frombuffer(padded, "u1")[2::3]
    else:
        whole = np.frombuffer(base64.b64decode(part["data"]), "<u2")
    whole = whole.reshape(-1, len(part["low"]))
    return np.array(part["low"]) + np.array(part["step"]) * whole


@pytest.mark.parametrize("each_cell", [True, False])
def test_draws_come_back_within_half_a_step(each_cell):
    values = np.random.default_rng(1).normal(7, [[0.1, 2.0]], (400, 2))
    part = quantised(values, each_cell=each_cell)
    assert np.abs(restored(part).reshape(values.shape) - values).max() <= 0.5001 * max(part["step"])
    assert np.ptp(restored(quantised(np.full((5, 2), 3.0), each_cell=each_cell))) == 0


def test_chance_counts_pulls_as_they_would_come(draws):
    """Simulated here: visit and spot normal, scatter Student's t(4), setting a coin, sliding log-normal."""
    random = np.random.default_rng(5)
    names, load = [str(s) for s in draws["seabed"].to_numpy()[:2]], 3000.0
    many = 500
    held = np.ones((draws.sizes["anchor"], many, draws.sizes["sample"]), dtype=bool)
    weight = np.log(draws["mass_kg"].to_numpy() * GRAVITY)[:, None, None]
    for name in names:
        here = draws.sel(seabed=name).transpose("anchor", "sample", ...)
        noise = here["visit_spread"].to_numpy() * random.standard_normal(held.shape)
        noise += here["pull_scatter"].to_numpy() * random.standard_t(4, held.shape)
        slides = weight + here["log_sliding_efficiency"].to_numpy()
        slides = slides + here["sliding_scatter"].to_numpy() * random.standard_normal(held.shape)
        sets = random.random(held.shape) < here["sets"].to_numpy()[:, None]
        held &= np.where(sets, here["log_capacity"].to_numpy()[:, None] + noise, slides) > np.log(load)
    got = holding_chance(draws, load, names).sel(seabed="")
    # 200,000 pulls of 400 draws: standard error of a pull's coin, a thousandth.
    np.testing.assert_allclose(got, held.mean(axis=(1, 2)), atol=5e-3)


def test_unfit_questions_are_refused(draws):
    with pytest.raises(ValueError, match="a load above 0"):
        holding_chance(draws, 0.0, ["soft mud"])
    with pytest.raises(ValueError, match="at least one seabed"):
        holding_chance(draws, 10.0, [])
    with pytest.raises(KeyError):
        holding_chance(draws, 10.0, ["moon dust"])


def test_policy_lets_only_our_own_script_and_style_through(draws, make_page):
    html = make_page(draws)
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', html).group(1)
    assert "default-src 'none'" in policy and "unsafe" not in policy
    for tag in ("script", "style"):
        text = re.search(rf"<{tag}>(.*?)</{tag}>", html, re.DOTALL).group(1)
        digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
        assert f"{tag}-src 'sha256-{digest}'" in policy
        assert not re.search(r"\beval\b|new Function|innerHTML|fetch\(|import\(", text)
    assert html.count("<script") == 2


def test_names_never_leave_the_data(draws, make_page):
    html = make_page(draws)
    data = re.search(r'id="page-data">(.*?)</script>', html, re.DOTALL).group(1)
    assert "<" not in data and "&" not in data
    assert "<script>alert(1)</script>" in json.loads(data)["seabeds"]
    assert "<img" not in re.sub('<img class="(wide|narrow)" src="data:', "", html)
