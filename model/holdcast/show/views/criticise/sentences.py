"""What the model misses of a log's own pulls, as sentences."""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import xarray as xr

from holdcast.show.text.numbers import format_share
from holdcast.show.text.text_columns import plain
from holdcast.show.views.criticise.setting import (
    SettingCriticism,
    chance_sentences,
    ratio_text,
    reset_veer_sentences,
)

__all__ = [
    "HOW_TO_READ_CRITICISM",
    "Criticism",
    "change_text",
    "criticism_sentences",
    "skipped_sentence",
]

HOW_TO_READ_CRITICISM: tuple[str, ...] = (
    "Each pull's load is compared with what the model expects of it; the residual is standard normal when "
    "the model is right: 0 on average, beyond 1.6 either way in one pull of ten.",
    "A change in the table is of load over expected load, from the 10th to the 90th percentile of what it is "
    "looked at against (slope), or in the middle over both ends (bow), with its 90% interval; a star marks "
    "one beyond what chance brings to so many looks.",
)


class Criticism(NamedTuple):
    """All answers of one look at a fit, each as the function of its name in ``holdcast.answers`` gives it."""

    residuals: xr.Dataset
    covariates: xr.DataArray
    trends: xr.Dataset
    smooth: xr.Dataset
    scatter: xr.Dataset
    comparison: xr.Dataset | None = None
    setting: SettingCriticism | None = None


def criticism_sentences(answer: Criticism) -> list[str]:
    """Return what was found, and how much was looked at, one sentence or two each."""
    sentences = [*_pull_sentences(answer.residuals), *_trend_sentences(answer.trends)]
    sentences += _scatter_sentences(answer.scatter)
    if answer.setting is not None:
        sentences += [
            *chance_sentences(answer.setting.chances),
            *reset_veer_sentences(answer.setting.scatter),
        ]
    return sentences if answer.comparison is None else [*sentences, *_comparison_sentences(answer.comparison)]


def change_text(factor: float, low: float, high: float, *, stands_out: bool = False) -> str:
    """Return a factor with its interval as changes in percent, such as "+12% (+4 to +21)"."""
    if not np.isfinite(factor):
        return "not looked at"
    ends = " to ".join(_percent(end) for end in (low, high))
    return f"{_percent(factor)}% ({ends}){'*' if stands_out else ''}"


def _percent(factor: float) -> str:
    change = 100.0 * (factor - 1.0)
    whole = f"{change:+z.0f}".replace("-", "−")
    return "0" if whole == "+0" else whole


def _pull_sentences(residuals: xr.Dataset) -> list[str]:
    pulls, kept_in = residuals.sizes["trial"], int((~residuals["left_out"]).sum())
    sentences = [f"{pulls} pulls were compared with what the model expects of each when it is left out."]
    if kept_in:
        sentences.append(
            f"{kept_in} of them could not be left out reliably (Pareto k above 0.7): what the model "
            "expects there is partly drawn from the pull itself."
        )
    return sentences


def _looks(trends: xr.Dataset) -> list[tuple[str, str, xr.Dataset]]:
    """Return every look that was made: covariate, shape, its numbers."""
    pairs = [
        (str(name), str(shape)) for name in trends["covariate"].values for shape in trends["shape"].values
    ]
    looks = [(name, shape, trends.sel(covariate=name, shape=shape)) for name, shape in pairs]
    return [look for look in looks if np.isfinite(float(look[2]["p_value"]))]


def _trend_sentences(trends: xr.Dataset) -> list[str]:
    looks = _looks(trends)
    trends_shown = [look for look in looks if bool(look[2]["shown"])]
    sentences = [_trend_sentence(*look) for look in trends_shown]
    others = len(looks) - len(trends_shown)
    names = ", ".join(dict.fromkeys(name for name, _, _ in looks))
    if not looks:
        sentences.append("No trend could be looked for: the log is too small.")
    elif trends_shown:
        sentences.append(
            f"{len(looks)} looks were made (slope and bow against {names}); the other {others} show nothing "
            "beyond chance. What is shown may still be chance, or stand for something else that goes with it."
        )
    else:
        sentences.append(
            f"None of the {len(looks)} looks (slope and bow against {names}) shows a trend beyond what "
            "chance brings: of logs for which the model is right, about one in twenty would show any."
        )
    if others:
        sentences.append(_still_possible([look for look in looks if not bool(look[2]["shown"])]))
    return [*sentences, *skipped_sentence(trends)]


def skipped_sentence(trends: xr.Dataset) -> list[str]:
    """Return what was not looked at and why, as one sentence; none when all was."""
    skipped = [
        f"{name} ({why})"
        for name, why in zip(trends["covariate"].values, trends["skipped"].values, strict=True)
        if why
    ]
    return [f"Not looked at: {', '.join(skipped)}."] if skipped else []


def _still_possible(looks: Sequence[tuple[str, str, xr.Dataset]]) -> str:
    def width(look: tuple[str, str, xr.Dataset]) -> float:
        return float(np.log(look[2]["factor_high"] / look[2]["factor_low"]))

    name, shape, numbers = max(looks, key=width)
    ends = " to ".join(f"{_percent(float(numbers[f'factor_{end}']))}%" for end in ("low", "high"))
    return (
        f"A trend may still be there, hidden by how much visits and designs differ anyway: the widest 90% "
        f"interval, of the {shape} against {name}, runs from {ends}."
    )


def _trend_sentence(name: str, shape: str, numbers: xr.Dataset) -> str:
    factor, low, high = (float(numbers[f"factor{end}"]) for end in ("", "_low", "_high"))
    than = "more" if factor >= 1.0 else "less"
    if shape == "slope":
        what = f"Pulls {numbers['more'].item()} held {than} than the model expects"
        where = f"from the 10th to the 90th percentile of {name}"
    else:
        what = (
            f"Pulls in the middle range of {name} held {than} than the model expects of them beside both ends"
        )
        where = "in the middle over the 10th and 90th percentiles"
    return (
        f"{what}: about {_percent(factor)}% {where} (90% interval {_percent(low)} to {_percent(high)}%; rank "
        f"correlation {float(numbers['correlation']):z.2f}, p {float(numbers['p_holm']):.2g} after allowing "
        f"for all looks; {int(numbers['pulls'])} pulls)."
    )


def _scatter_sentences(scatter: xr.Dataset) -> list[str]:
    judged = scatter.isel(seabed=np.flatnonzero(np.isfinite(scatter["ratio"].to_numpy())))
    too_few = [plain(name) for name in scatter["seabed"].values if name not in judged["seabed"].values]
    sentences = []
    for name in judged["seabed"].values:
        here = judged.sel(seabed=name)
        if bool(here["shown"].sel(look="spread")):
            sentences.append(_spread_sentence(plain(name), here))
        if bool(here["shown"].sel(look="tails")):
            sentences.append(_tail_sentence(plain(name), here))
    if not sentences and judged.sizes["seabed"]:
        widest = judged.isel(seabed=int(np.argmax(judged["ratio"].to_numpy())))
        sentences.append(
            f"In none of the {judged.sizes['seabed']} seabeds judged do pulls scatter clearly wider or "
            "narrower than the model says, or lie clearly too often or too rarely beyond their 90% band; the "
            f"widest is {plain(widest['seabed'].item())}, {ratio_text(widest)} times what is expected."
        )
    if too_few:
        sentences.append(f"Scatter not judged, for want of pulls: {', '.join(too_few)}.")
    return sentences


def _spread_sentence(name: str, here: xr.Dataset) -> str:
    wider = "wider" if float(here["ratio"]) > 1.0 else "narrower"
    p = float(here["p_holm"].sel(look="spread"))
    return (
        f"In {name} pulls scatter {wider} than the model says: {ratio_text(here)} times (p {p:.2g} after "
        f"allowing for all looks; {int(here['pulls'])} pulls)."
    )


def _tail_sentence(name: str, here: xr.Dataset) -> str:
    share, low, high = (format_share(float(here[f"outside{end}"])) for end in ("", "_low", "_high"))
    p = float(here["p_holm"].sel(look="tails"))
    return (
        f"In {name} {share} of {int(here['pulls'])} pulls lie beyond the 90% band of what is expected of "
        f"them; {low} to {high} would be usual (p {p:.2g} after allowing for all looks)."
    )


def _comparison_sentences(comparison: xr.Dataset) -> list[str]:
    first, *others = comparison["model"].values
    sentences = [_model_sentence(str(first), comparison.sel(model=name)) for name in others]
    doubtful = comparison["model"].values[comparison["high_k"].to_numpy() > 0]
    if len(doubtful):
        counts = ", ".join(
            f"{int(comparison['high_k'].sel(model=name))} ({plain(name)})" for name in doubtful
        )
        sentences.append(
            f"Pulls that could not be left out reliably, which makes a comparison shaky: {counts}."
        )
    return sentences


def _model_sentence(first: str, here: xr.Dataset) -> str:
    name, difference = plain(here["model"].item()), float(here["difference"])
    numbers = f"elpd {difference:+z.1f}, standard error {float(here['difference_error']):.1f}".replace(
        "-", "−"
    )
    weight = f"stacking weight {format_share(min(max(float(here['weight']), 0.0), 1.0))}"
    verdict = {
        "no difference": f"predicts pulls left out as well as the {first}: a difference below 4 is small",
        "unclear": f"cannot be told from the {first}: the difference is less than two standard errors",
        "better": f"predicts pulls left out better than the {first}",
        "worse": f"predicts pulls left out worse than the {first}",
    }[str(here["finding"].item())]
    return f"The model {name} {verdict} ({numbers}; {weight})."
