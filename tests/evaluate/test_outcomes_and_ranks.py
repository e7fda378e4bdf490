"""Outcomes survive a killed run; ranks of calibrated draws are even, of others not."""

from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from holdcast.evaluate.model_digest import OUTCOME_CODE, model_digest
from holdcast.evaluate.outcomes import OutcomesError, append_outcome, read_outcomes
from holdcast.source_digest import source_files, without_words
from simulated.ranks import ecdf_band, evenness, evenness_p_value, rank_among


def test_a_line_cut_short_is_dropped_and_the_run_goes_on(tmp_path: Path) -> None:
    file = tmp_path / "refits.jsonl"
    assert read_outcomes(file) == []
    append_outcome(file, {"label": "one"})
    with file.open("a", encoding="utf-8") as stream:
        stream.write('{"label": "tw')
    cut = file.read_bytes()
    assert read_outcomes(file) == [{"label": "one"}]
    assert file.read_bytes() == cut  # reading changes nothing
    append_outcome(file, {"label": "two"})
    assert read_outcomes(file) == [{"label": "one"}, {"label": "two"}]


def test_a_whole_last_line_that_lacks_its_end_is_kept(tmp_path: Path) -> None:
    file = tmp_path / "refits.jsonl"
    file.write_text('{"label": "one"}\n{"label": "two"}', encoding="utf-8")
    assert read_outcomes(file) == [{"label": "one"}, {"label": "two"}]
    append_outcome(file, {"label": "three"})
    assert [each["label"] for each in read_outcomes(file)] == ["one", "two", "three"]
    assert file.read_text(encoding="utf-8").count("\n") == 3


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("a fine day\nand another\n", 1),
        ("a fine day", 1),
        ('{"label": "one"}\na fine day', 2),
        ('{"label": "one"}\n<<<<<<< HEAD\n{"label": "two"}\n', 2),
        ("[1, 2]\n", 1),
        ("\n\n", 1),
    ],
)
def test_a_file_of_something_else_is_refused_and_left_alone(tmp_path: Path, text: str, line: int) -> None:
    file = tmp_path / "diary.txt"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(OutcomesError, match=rf"diary\.txt, line {line}, is not"):
        read_outcomes(file)
    assert file.read_text(encoding="utf-8") == text


def test_numbers_that_are_none_are_refused(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="not JSON compliant"):
        append_outcome(tmp_path / "refits.jsonl", {"log_score": float("nan")})


def test_the_models_digest_is_stable() -> None:
    assert model_digest() == model_digest()
    assert len(model_digest()) == 12
    assert model_digest() != model_digest(("physics",))
    without_scoring = [part for part in OUTCOME_CODE if part != "evaluate/scoring.py"]
    assert model_digest(without_scoring) != model_digest()
    assert len(without_scoring) == len(OUTCOME_CODE) - 1


def test_the_digest_sees_every_file_of_the_model(tmp_path: Path) -> None:
    """An edit anywhere in capacity/ or physics/, sub-folders too, must move the digest."""
    package = Path(str(files("holdcast")))
    for room in ("capacity", "physics"):
        told = {path.relative_to(package) for path in source_files(package / room)}
        assert told == {path.relative_to(package) for path in (package / room).rglob("*.py")}
        assert any(len(path.parts) > 2 for path in told)
    (tmp_path / "inner").mkdir()
    (tmp_path / "inner" / "law.py").write_text("X = 1\n", encoding="utf-8")
    before = model_digest([str(tmp_path)])
    (tmp_path / "inner" / "law.py").write_text("X = 2\n", encoding="utf-8")
    assert model_digest([str(tmp_path)]) != before


def test_a_digest_is_blind_to_words_and_sees_every_number_and_name() -> None:
    source = "X = 2.0\n\ndef f(a):\n    return a * X\n"
    told = (
        '"""Module."""\nX = 2.0  # why\n"""What X is."""\n\n\ndef f(a):\n    """Say."""\n    return (a * X)\n'
    )
    assert without_words(told) == without_words(source)
    for other in (source.replace("2.0", "2.1"), source.replace("a * X", "X * a"), source.replace("f(", "g(")):
        assert without_words(other) != without_words(source)
    assert without_words('def f():\n    """Only says."""\n') == without_words("def f():\n    pass\n")
    assert without_words('X = "text"') != without_words('X = "other"')
    assert without_words("X = -2") == (
        "Module(body=[Assign(targets=[Name(id='X', ctx=Store())], "
        "value=UnaryOp(op=USub(), operand=Constant(value=2)))])"
    )


def test_rank_counts_thinned_draws_below_the_truth() -> None:
    draws = np.arange(1000.0)
    assert rank_among(-1.0, draws, 100) == 0
    assert rank_among(5000.0, draws, 100) == 100
    assert rank_among(499.5, draws, 100) == 50
    with pytest.raises(ValueError, match="10 draws cannot be thinned to 100"):
        rank_among(0.0, draws[:10], 100)


def test_evenness_is_a_binomial_tail() -> None:
    """Reference: one edge only (one draw kept), so the tail of a fair coin, from scipy."""
    ranks = np.array([0] * 9 + [1])
    assert evenness(ranks, 1) == pytest.approx(2.0 * stats.binom.sf(8, 10, 0.5))


@pytest.mark.parametrize("seed", range(4))
def test_even_ranks_pass_and_others_are_named(seed: int) -> None:
    random = np.random.default_rng(seed)
    truth = random.standard_normal(200)
    draws = random.standard_normal((200, 100))
    even = (draws < truth[:, None]).sum(axis=1)
    too_narrow = (0.6 * draws < truth[:, None]).sum(axis=1)
    shifted = (draws + 0.5 < truth[:, None]).sum(axis=1)
    assert evenness_p_value(even, 100) > 0.002
    assert evenness_p_value(too_narrow, 100) < 0.001
    assert evenness_p_value(shifted, 100) < 0.001


def test_band_holds_even_ranks_as_often_as_it_says() -> None:
    random = np.random.default_rng(9)
    share, low, high = ecdf_band(80, 50)
    inside = 0
    for _ in range(500):
        ranks = random.integers(0, 51, 80)
        observed = (ranks[:, None] < np.arange(1, 51)).mean(axis=0)
        inside += bool(np.all((observed >= low) & (observed <= high)))
    assert 0.91 < inside / 500 < 0.985
    assert np.all((low <= share) & (share <= high))
