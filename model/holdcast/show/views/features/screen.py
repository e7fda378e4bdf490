"""Effects of features on one screen: over all seabeds, and the seabeds in which one stands out."""

from collections.abc import Sequence

import pandas as pd
import xarray as xr

from holdcast.show.text.cell_rows import words
from holdcast.show.text.plain_table import each_row, factor_text, plain_table
from holdcast.show.text.text_columns import terminal_width, wrap
from holdcast.show.views.features.setting import KIND_WORDS, band_of_points

__all__ = ["HOW_TO_READ_SHORT_EFFECTS", "feature_screen", "feature_table", "no_tests_sentences"]

HOW_TO_READ_SHORT_EFFECTS = (
    "Over all seabeds: the feature itself, with mass, area and tip load as they are. Capacity as a factor, "
    "×1.10 is 10% more; chances and shares as points of a hundred more or less, mean over the anchors that "
    "have the feature. A pair is one design with it and without it, both tested so.",
)
_SURE = 0.95
_NOWHERE, _NONE = "nowhere", "none"
_MOST_FEATURES = 5
_TEST_OF = {"resets": "resets", "veer_kept": "veers"}
_TOLD_BY = {"resets": "setting again", "veer_kept": "the cost of a turn"}


def feature_screen(
    rows: pd.DataFrame, pooled: xr.Dataset, setting: xr.Dataset, *, width: int | None = None
) -> list[str]:
    """Return one table of all features: over all seabeds, which stand out, where pairs were tested.

    Parameters
    ----------
    rows : DataFrame
        From ``with_setting``.
    pooled : Dataset, dims (effect, quantile)
        ``factor``: from ``pooled_effects``.
    setting : Dataset
        From ``setting_effects``.
    width : int, optional
        Width of a line; by default the terminal's.
    """
    features = _net_effects(rows)
    header, body = feature_table(rows, pooled, setting, features[:_MOST_FEATURES])
    hidden = len(features) - _MOST_FEATURES
    more = [f"… and {hidden} features more in features.csv"] if hidden > 0 else []
    room = terminal_width() if width is None else width
    return [*plain_table(header, body, width=room), *more, "", *_measured(rows, room)]


def _net_effects(rows: pd.DataFrame) -> list[str]:
    return list(dict.fromkeys(rows.loc[rows["kind"] == "net", "effect"]))


def feature_table(
    rows: pd.DataFrame, pooled: xr.Dataset, setting: xr.Dataset, features: Sequence[str] | None = None
) -> tuple[list[str], list[list[str]]]:
    """Return headings and rows of text: each feature's name, then what it does by kind of test.

    Parameters
    ----------
    rows, pooled, setting
        As for :func:`feature_screen`.
    features : sequence of str, optional
        Which; all by default.
    """
    net = rows[rows["kind"] == "net"]
    body: list[list[str]] = []
    for feature in _net_effects(rows) if features is None else features:
        body += _feature_rows(feature, net[net["effect"] == feature], pooled, setting)
    return ["", "all seabeds (90% band)", "95% sure", "pairs tested"], body


def _feature_rows(
    feature: str, part: pd.DataFrame, pooled: xr.Dataset, setting: xr.Dataset
) -> list[list[str]]:
    """Return a feature's rows; a kind of test without a tested pair has one only where it stands out."""
    low, middle, high = map(float, pooled["factor"].sel(effect=feature))
    band = f"×{factor_text(middle)} ({factor_text(low)} to {factor_text(high)})"
    basis = "" if part["pairs"].iloc[0] else f"({part['basis'].iloc[0]})"
    lines = [
        [f"{words(feature)} {basis}".strip(), "", "", ""],
        ["capacity", band, _stands_out(part, "p_gain", "factor_q50"), _paired(part, "")],
    ]
    for kind in map(str, setting["kind"].to_numpy()):
        change = band_of_points(*map(float, setting["overall"].sel(kind=kind, effect=feature)))
        sure = _stands_out(part, f"{kind}_p_gain", f"{kind}_change_q50")
        paired = _paired(part, f"{kind}_")
        if kind == "sets" or sure != _NOWHERE or paired != _NONE:
            lines.append([KIND_WORDS[kind], change, sure, paired])
    return lines


def _stands_out(part: pd.DataFrame, chance: str, middle: str) -> str:
    """Name the seabeds in which a gain or a loss is 95% sure, each with its median."""
    texts = []
    for word, mask in (("more", part[chance] >= _SURE), ("less", part[chance] <= 1.0 - _SURE)):
        here = [f"{row.seabed} {_one(getattr(row, middle), middle)}" for row in each_row(part.loc[mask])]
        if here:
            texts.append(f"{word} in {', '.join(here)}")
    return "; ".join(texts) or _NOWHERE


def _one(value: float, column: str) -> str:
    return f"×{factor_text(value)}" if column.startswith("factor") else f"{100 * value:+z.0f}"


def _paired(part: pd.DataFrame, kind: str) -> str:
    number = int((part[f"{kind}pairs_tested"] > 0).sum())
    return f"in {number} seabed{'s' * (number > 1)}" if number else _NONE


def _measured(rows: pd.DataFrame, width: int) -> list[str]:
    """Say in a sentence each what a quarter more tip load and fluke area do."""
    sentences = []
    for effect, part in rows[rows["kind"] == "measurement"].groupby("effect", sort=False):
        most = part.sort_values("factor_q50").iloc[-1]
        band = f"{factor_text(most['factor_q05'])} to {factor_text(most['factor_q95'])}"
        same, least = len(set(part["factor_q50"])) == 1, part["factor_q50"].min()
        where = "in every seabed" if same else f"in {most['seabed']}, less elsewhere"
        where += f", down to ×{factor_text(least)}" if least < 1.0 and not same else ""
        sentences.append(
            f"{str(effect).capitalize()}, at the typical anchor: ×{factor_text(most['factor_q50'])} ({band}) "
            f"{where}."
        )
    return wrap(" ".join(sentences), width)


def no_tests_sentences(setting: xr.Dataset) -> list[str]:
    """Say which kinds of test the log lacks, or no pair of one design went through."""
    held = list(map(str, setting["kind"].to_numpy()))
    missing = [kind for kind in _TEST_OF if kind not in held]
    paired = setting["pairs_tested"].sum(["effect", "seabed"])
    unpaired = [kind for kind in _TEST_OF if kind in held and not int(paired.sel(kind=kind))]
    sentences = []
    for kinds, begin in ((missing, "The log holds no"), (unpaired, "No pair of one design was tested by")):
        if kinds:
            tests = " or ".join(_TEST_OF[kind] for kind in kinds)
            unknown = " or to ".join(_TOLD_BY[kind] for kind in kinds)
            sentences.append(f"{begin} {tests}, so what a feature alone does to {unknown} is not known.")
    return sentences
