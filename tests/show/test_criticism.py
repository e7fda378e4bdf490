"""What the model misses, in words and pictures: numbers as given, all on the paper, bad fits marked."""

import numpy as np
import pytest
import xarray as xr
from invented_criticism import NAMES, PULLS, invented, scatter_of, setting

from holdcast.show.figures.criticism import criticism_figure, save_criticism_figures
from holdcast.show.views.criticise.sentences import change_text, criticism_sentences
from holdcast.show.views.criticise.tables import criticism_lines, criticism_rows, residual_rows


def compared(finding: str, difference: float, high_k: int = 0) -> xr.Dataset:
    return xr.Dataset(
        {
            "elpd": ("model", [-500.0, -500.0 + difference]),
            "difference": ("model", [0.0, difference]),
            "difference_error": ("model", [0.0, 6.0]),
            "weight": ("model", [0.8, 0.2]),
            "high_k": ("model", [0, high_k]),
            "finding": ("model", ["reference", finding]),
        },
        coords={"model": ["full model", "without penetration"]},
        attrs={"pulls": PULLS},
    )


def test_no_trend_is_one_sentence_with_how_many_were_looked_at() -> None:
    told = " ".join(criticism_sentences(invented()))
    assert "None of the 6 looks (slope and bow against date, scope, expected load)" in told
    assert (
        "A trend may still be there" in told
        and "of the bow against expected load, runs from −10% to +90%" in told
    )
    assert "Not looked at: mass (not measured)." in told
    assert "2 of them could not be left out reliably" in told
    assert "Scatter not judged, for want of pulls: stones." in told


def test_a_slope_is_told_with_its_numbers() -> None:
    told = criticism_sentences(
        invented(shown=True, factor=1.12, factor_low=1.04, factor_high=1.21, p_holm=0.013, correlation=0.31)
    )
    assert (
        "Pulls with a longer scope held more than the model expects: about +12% from the 10th to the 90th "
        "percentile of scope (90% interval +4 to +21%; rank correlation 0.31, p 0.013 after allowing for all "
        "looks; 55 pulls)."
    ) in told
    assert any(
        "the other 5 show nothing beyond chance. What is shown may still be chance" in text for text in told
    )


def test_a_bow_and_less_than_expected() -> None:
    changes = {"factor": 0.8, "factor_low": 0.7, "factor_high": 0.9, "shown": True, "p_holm": 0.02}
    told = criticism_sentences(invented(bow=True, **changes))
    assert any(text.startswith("Pulls in the middle range of scope held less") for text in told)
    told = criticism_sentences(invented(**changes))
    assert any(text.startswith("Pulls with a longer scope held less") for text in told)


@pytest.mark.parametrize(
    ("scatter", "words"),
    [
        (scatter_of(), "In none of the 2 seabeds judged"),
        (
            scatter_of(spread=True),
            "In soft mud pulls scatter wider than the model says: 1.10 (90% interval 0.90 to 1.40)",
        ),
        (scatter_of(spread=True, ratio=0.7), "In soft mud pulls scatter narrower than the model says: 0.70"),
        (
            scatter_of(tails=True),
            "In soft mud 22% of 30 pulls lie beyond the 90% band of what is expected of them; 3% to 20%",
        ),
    ],
)
def test_scatter_in_words(scatter: xr.Dataset, words: str) -> None:
    assert any(text.startswith(words) for text in criticism_sentences(invented()._replace(scatter=scatter)))


@pytest.mark.parametrize(
    ("finding", "difference", "words"),
    [
        (
            "no difference",
            -2.0,
            "predicts pulls left out as well as the full model: a difference below 4 is small",
        ),
        (
            "unclear",
            -9.0,
            "cannot be told from the full model: the difference is less than two standard errors",
        ),
        ("worse", -20.0, "predicts pulls left out worse than the full model (elpd −20.0, standard error 6.0"),
        ("better", 20.0, "predicts pulls left out better than the full model (elpd +20.0"),
    ],
)
def test_comparison_in_words(finding: str, difference: float, words: str) -> None:
    answer = invented()._replace(comparison=compared(finding, difference))
    told = criticism_sentences(answer)
    assert f"The model without penetration {words}" in told[-1]
    assert "stacking weight 20%" in told[-1]
    assert "without penetration" in "\n".join(criticism_lines(answer))


def test_a_shaky_comparison_says_so() -> None:
    told = criticism_sentences(invented()._replace(comparison=compared("worse", -20.0, high_k=3)))
    assert told[-1].endswith("which makes a comparison shaky: 3 (without penetration).")


def test_changes_as_percent() -> None:
    assert change_text(1.12, 1.04, 1.21, stands_out=True) == "+12% (+4 to +21)*"
    assert change_text(0.8, 0.7, 1.1) == "−20% (−30 to +10)"
    assert change_text(0.998, 0.7, 15.0) == "0% (−30 to +1400)"
    assert change_text(np.nan, np.nan, np.nan) == "not looked at"


def test_rows_hold_every_look() -> None:
    answer = invented(shown=True)._replace(comparison=compared("worse", -20.0))
    rows = criticism_rows(answer)
    assert rows["check"].value_counts().to_dict() == {
        "slope": 4,
        "bow": 4,
        "spread": 3,
        "tails": 3,
        "model": 2,
    }
    scope = rows[(rows["about"] == "scope") & (rows["check"] == "slope")].iloc[0]
    assert scope["shown"] == "yes" and scope["pulls"] == 55 and scope["factor"] == 1.05
    assert rows[rows["about"] == "mass"]["note"].tolist() == ["not measured"] * 2
    assert rows[rows["about"] == "mass"]["shown"].tolist() == ["", ""]
    pulls = residual_rows(answer)
    assert len(pulls) == PULLS and pulls["expected_n"].to_numpy() == pytest.approx(np.exp(7.5))
    assert pulls["load_known"].tolist()[:4] == [
        "exactly",
        "below its upper end",
        "above its lower end",
        "between its ends",
    ]


def test_chances_and_tests_of_setting_in_words() -> None:
    told = criticism_sentences(invented()._replace(setting=setting()))
    assert (
        "Of 40 pulls that say whether the anchor set, 50% succeeded (90% interval 40% to 60%), less often "
        "than the 65% expected; in 2 of 2 tenths of the chance it lies outside the interval."
    ) in told
    assert "The log has only 4 attempts to set again: too few to tell whether such chances come true." in told
    assert (
        "The counts of 12 resets scatter wider than the model says: 1.40 (90% interval 1.10 to 1.90) times; "
        "30% lie beyond their 90% range, where 0% to 25% would be usual."
    ) in told
    assert "The log has only 3 veers: too few to tell how far their loads scatter." in told


def test_chances_in_the_table_only_where_there_are_tests_enough() -> None:
    answer = invented()._replace(setting=setting())
    lines = "\n".join(criticism_lines(answer))
    assert "a pull's anchor sets" in lines and "an attempt to set again succeeds" not in lines
    assert "60 to 70%" in lines and "50% (40% to 60%)" in lines and "30 to 40%" not in lines
    rows = criticism_rows(answer)
    chance = rows[(rows["check"] == "chance") & (rows["about"] == "sets")]
    assert chance["expected"].tolist() == [0.65] * 3 and chance["pulls"].tolist() == [40] * 3
    residuals = residual_rows(answer)
    assert residuals["test"].value_counts().to_dict() == {"pull": PULLS, "reset": 2}
    assert residuals["successes"].tolist()[-2:] == [1, 2]
    figure = criticism_figure(answer)
    assert len(figure.axes) == len(criticism_figure(invented()).axes) + 1
    none = answer._replace(setting=setting(tests=9))
    assert len(criticism_figure(none).axes) == len(criticism_figure(invented()).axes)


@pytest.mark.parametrize("narrow", [False, True])
@pytest.mark.parametrize("reliable", [True, False])
def test_nothing_is_written_beyond_the_paper(narrow: bool, reliable: bool) -> None:
    figure = criticism_figure(invented(shown=True), narrow=narrow, reliable=reliable)
    renderer = figure.canvas.get_renderer()
    texts = [*figure.texts, *(text for axes in figure.axes for text in axes.texts)]
    width = figure.bbox.width
    beyond = [text.get_text() for text in texts if text.get_window_extent(renderer).x1 > 1.01 * width]
    assert beyond == []
    words = [text.get_text() for text in texts]
    assert sum(word == "UNRELIABLE" for word in words) == (
        0 if reliable else 4
    )  # three panels and the seabeds
    assert any(word.startswith("UNRELIABLE: ") for word in words) is not reliable
    assert any("slope +5% (−10 to +25)*" in word for word in words)
    assert not any(word.startswith("mass [") for word in words)  # not measured, so no panel


def test_what_pulls_are_looked_at_against_follows_the_units() -> None:
    answer = invented()
    measured = [str(name) for name in answer.trends["covariate"].values if name != "mass"]
    unit = answer.trends["unit"].copy(data=["kg"] * len(NAMES))
    in_kilograms = answer._replace(trends=answer.trends.assign_coords(unit=unit))
    ends = {}
    for units, shown in (("si", "kg"), ("us", "lb")):
        figure = criticism_figure(in_kilograms, units)
        words = [text.get_text() for axes in figure.axes for text in axes.texts]
        assert all(any(word.startswith(f"{name} [{shown}]") for word in words) for name in measured)
        ends[units] = np.array(figure.axes[-2].get_xlim())
    # 1 lb = 0.45359237 kg exactly (international pound, NIST SP 811).
    assert ends["si"] / ends["us"] == pytest.approx(0.45359237)


@pytest.mark.parametrize("narrow", [False, True])
def test_a_log_too_small_for_any_look_still_has_its_seabeds(narrow: bool) -> None:
    answer = invented()
    skipped = answer.trends["skipped"].copy(data=["not measured"] * len(NAMES))
    figure = criticism_figure(answer._replace(trends=answer.trends.assign(skipped=skipped)), narrow=narrow)
    assert len(figure.axes) == 1
    assert any(text.get_text().startswith("soft mud") for text in figure.axes[0].texts)


def test_the_same_answer_gives_the_same_files(tmp_path) -> None:
    answer = invented()
    first, again = (save_criticism_figures(answer, tmp_path / name, "us") for name in ("a", "b"))
    assert [path.name for path in first] == [
        "criticism.svg",
        "criticism.png",
        "criticism-narrow.svg",
        "criticism-narrow.png",
    ]
    assert all(one.read_bytes() == two.read_bytes() for one, two in zip(first, again, strict=True))
