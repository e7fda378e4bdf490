"""What a look at a fit might find, put together by hand: no fit, no draw."""

import warnings

import numpy as np
import xarray as xr

from holdcast.show.views.criticise.sentences import Criticism
from holdcast.show.views.criticise.setting import SettingCriticism

PULLS, PREDICTIONS = 60, ["left out", "new visit", "new design"]
NAMES = ["mass", "date", "scope", "expected load"]
SEABEDS = ["soft mud", "a very long name of a seabed that nobody would choose", "stones"]


def invented(**changes: float | bool) -> Criticism:
    """Answers as ``holdcast.answers`` gives them; `changes` name numbers of scope's slope."""
    rng = np.random.default_rng(1)
    dims = ("trial", "prediction")
    residual = rng.standard_normal((PULLS, 3))
    found = xr.Dataset(
        {
            **dict.fromkeys(("residual", "mean_residual"), (dims, residual)),
            **{name: (dims, np.full((PULLS, 3), 0.5)) for name in ("pit_low", "pit_high")},
            "expected": (dims, np.full((PULLS, 3), 7.5)),
            "sets": (dims, np.full((PULLS, 3), 0.9)),
            "pareto_k": ("trial", np.full(PULLS, 0.3)),
            "left_out": ("trial", np.arange(PULLS) > 1),
        },
        coords={
            "trial": [f"T{i}" for i in range(PULLS)],
            "prediction": PREDICTIONS,
            "kind": ("trial", np.arange(PULLS) % 4),
            "seabed": ("trial", np.array(SEABEDS)[np.arange(PULLS) % 2]),
            **{name: ("trial", ["=1+1"] * PULLS) for name in ("anchor", "design", "visit")},
        },
        attrs={"title": "Invented", "version": "0"},
    )
    facts = {
        "unit": ("covariate", ["kg", "days", "1", "N"]),
        "more": ("covariate", ["of heavier anchors", "of later days", "with a longer scope", "with more"]),
        "logarithmic": ("covariate", [True, False, True, True]),
    }
    values = np.stack(
        [
            rng.uniform(1, 3, PULLS),
            rng.uniform(0, 500, PULLS),
            np.full(PULLS, np.nan),
            rng.uniform(5, 9, PULLS),
        ]
    )
    values[2, 5:] = rng.uniform(1, 2, PULLS - 5)
    values[0] = np.nan
    given = xr.DataArray(values.T, dims=("trial", "covariate"), coords={"covariate": NAMES, **facts})
    return Criticism(found, given, _trends(facts, changes), _smooth(values), scatter_of())


def _trends(facts: dict[str, object], changes: dict[str, float | bool]) -> xr.Dataset:
    numbers = {"correlation": 0.1, "correlation_low": -0.1, "correlation_high": 0.3, "factor": 1.05}
    numbers |= {"factor_low": 0.9, "factor_high": 1.25, "p_value": 0.4, "p_holm": 1.0}
    made = {name: np.full((4, 2), value) for name, value in numbers.items()}
    made["factor_high"][3, 1] = 1.9
    for values in made.values():
        values[0] = np.nan
    made["shown"] = np.zeros((4, 2), dtype=bool)
    shape = int(changes.pop("bow", False))
    for name, value in changes.items():
        made[name][2, shape] = value
    by_covariate = {
        "prediction": ["new design", "new visit", "new visit", "left out"],
        "pulls": [0, 60, 55, 60],
        "clusters": [0, 12, 12, 12],
        "skipped": ["not measured", "", "", ""],
    }
    return xr.Dataset(
        {
            **{name: (("covariate", "shape"), values) for name, values in made.items()},
            **{name: ("covariate", values) for name, values in by_covariate.items()},
        },
        coords={"covariate": NAMES, "shape": ["slope", "bow"], **facts},
    )


def _smooth(values: np.ndarray) -> xr.Dataset:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        across = np.stack([np.linspace(np.nanmin(row), np.nanmax(row), 25) for row in values])
    made = {
        "across": across,
        **{name: 0.0 * across + v for name, v in (("middle", 0), ("low", -0.5), ("high", 0.5))},
    }
    return xr.Dataset(
        {name: (("covariate", "place"), each) for name, each in made.items()}, {"covariate": NAMES}
    )


def scatter_of(spread: bool = False, tails: bool = False, ratio: float = 1.1) -> xr.Dataset:
    def by_seabed(*values: float) -> tuple[str, list[float]]:
        return "seabed", list(values)

    return xr.Dataset(
        {
            "ratio": by_seabed(ratio, 1.0, np.nan),
            "ratio_low": by_seabed(ratio - 0.2, 0.8, np.nan),
            "ratio_high": by_seabed(ratio + 0.3, 1.3, np.nan),
            "outside": by_seabed(0.22, 0.1, np.nan),
            "outside_low": by_seabed(0.03, 0.03, np.nan),
            "outside_high": by_seabed(0.2, 0.2, np.nan),
            "pulls": by_seabed(30, 30, 0),
            "pull_scatter": (("seabed", "quantile"), np.tile([0.1, 0.2, 0.3], (3, 1))),
            **{name: (("seabed", "look"), np.full((3, 2), 0.011)) for name in ("p_value", "p_holm")},
            "shown": (("seabed", "look"), [[spread, tails], [False, False], [False, False]]),
        },
        coords={"seabed": SEABEDS, "quantile": [0.05, 0.5, 0.95], "look": ["spread", "tails"]},
    )


def setting(tests: int = 40, resets: int = 12) -> SettingCriticism:
    """Chances seen in two tenths, and a scatter of resets, as ``holdcast.answers`` gives them."""
    parts = [f"{tenth / 10:.1f}" for tenth in range(10)] + ["all"]
    numbers = np.full((5, 2, 11), np.nan)
    numbers[0] = 0.0
    for place in (6, 9, 10):
        numbers[:, 0, place] = (tests, 0.65, 0.5, 0.4, 0.6)
    numbers[:, 1, 10] = (4, 0.6, 0.5, 0.1, 0.9)
    names = ("tests", "predicted", "seen", "seen_low", "seen_high")
    chances = xr.Dataset(
        {name: (("event", "part"), values) for name, values in zip(names, numbers, strict=True)},
        {"event": ["sets", "sets again"], "part": parts},
    )
    chances["tests"] = chances["tests"].astype(int)
    chances["enough"] = chances["tests"].sel(part="all", drop=True) >= 10
    one = {"ratio": 1.4, "ratio_low": 1.1, "ratio_high": 1.9, "outside": 0.3}
    one |= {"outside_low": 0.0, "outside_high": 0.25}
    scatter = xr.Dataset(
        {"tests": ("test", [resets, 3]), **{name: ("test", [value, np.nan]) for name, value in one.items()}},
        {"test": ["resets", "veers"]},
    )
    labels = {name: ("reset", ["x"] * 2) for name in ("anchor", "design", "seabed", "visit")}
    shares = dict.fromkeys(("chance", "pit_low", "pit_high", "residual", "mean_residual", "pareto_k"),
                           ("reset", [0.2, 0.4]))  # fmt: skip
    counts = {
        "attempts": ("reset", [5, 5]),
        "successes": ("reset", [1, 2]),
        "left_out": ("reset", [True] * 2),
    }
    found = xr.Dataset({**shares, **counts}, {"reset": ["R1", "R2"], **labels})
    veers = found.rename(reset="veer").assign(expected=("veer", [7.0, 7.0])).isel(veer=[])
    return SettingCriticism(found, veers, scatter, chances)
