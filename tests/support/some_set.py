"""What a log with resets and veers adds to a fit put together by hand: chances of setting that are known."""

import numpy as np
import xarray as xr

from holdcast.capacity.fitting import Fit

SET_EFFECT = [[0.4, 0.0, -0.3], [0.2, 0.2, 0.2]]
AGAIN_EFFECT = [[-2.5, 0.0, 0.1], [0.0, 0.3, 0.0]]
"""Effects of the small fit's two features on log odds, (feature, seabed): the first ruins setting again in
the first seabed and leaves straight pulls alone."""
TURN_EFFECT = [0.6, -0.2]
BASE = [1.5, 2.0, 1.0]
"""Log odds of setting by seabed, the same for every anchor without a feature."""
SHIFT, TURN = -0.5, 0.2


def with_resets_and_veers(
    fit: Fit, resets: list[tuple[str, str, int, int]], veers: list[tuple[str, str]]
) -> Fit:
    """Return the fit as if its log held resets and veers, draws about known effects.

    Parameters
    ----------
    fit : Fit
        With the features, seabeds and anchors of the small one.
    resets : list of (anchor, seabed, attempts, successes)
    veers : list of (anchor, seabed)
    """
    tree = fit.tree.copy()
    for group, spread in (("posterior", 0.2), ("prior", 0.6)):
        tree[group] = xr.DataTree(_with_chances(tree[group].to_dataset(), fit.inputs, spread))
    tree["constant_data"] = xr.DataTree(_with_tests(fit.inputs, resets, veers))
    tree["trials"] = xr.DataTree(_with_rows(tree["trials"].to_dataset(), resets, veers))
    return Fit(tree, fit.verdict)


def _with_chances(draws: xr.Dataset, told: xr.Dataset, spread: float) -> xr.Dataset:
    rng = np.random.default_rng(3)
    sample = ("chain", "draw")
    shape = [draws.sizes[dim] for dim in sample]

    def about(centre: object, *dims: str) -> xr.DataArray:
        values = np.asarray(centre, dtype=float)
        noise = spread * rng.standard_normal((*shape, *values.shape))
        return xr.DataArray(values + noise, {dim: told[dim].to_numpy() for dim in dims}, (*sample, *dims))

    has, cell = told["has_feature"], ("feature", "seabed")
    made = {
        "set_feature_effect": about(SET_EFFECT, *cell),
        "again_feature_effect": about(AGAIN_EFFECT, *cell),
        "turn_feature": about(TURN_EFFECT, "feature"),
        "again_shift": about(SHIFT),
        "again_spread": np.exp(about(np.log(0.6))),
        "turn_typical": np.exp(about(np.log(TURN))),
        "turn_spread": np.exp(about(np.log(0.5))),
        "again_design_effect": 0.0 * draws["set_design_effect"],
        "turn_design_effect": 0.0 * draws["set_design_effect"],
        "turn_form_effect": 0.0 * draws["set_form_effect"],
        "again_feature_typical": about(np.mean(AGAIN_EFFECT, axis=1), "feature"),
        "again_feature_spread": np.exp(about(np.log(0.5))),
    }
    seabed = xr.DataArray(about(BASE, "seabed"))
    sets = seabed + (has * made["set_feature_effect"]).sum("feature")
    again = sets + made["again_shift"] + (has * made["again_feature_effect"]).sum("feature")
    log_turn = np.log(made["turn_typical"]) + (has * made["turn_feature"]).sum("feature") + 0.0 * seabed
    cells = (*sample, "anchor", "seabed")
    return draws.assign(
        {
            **made,
            "set_typical": seabed.mean("seabed"),
            "set_seabed_effect": seabed - seabed.mean("seabed"),
            "set_feature_typical": made["set_feature_effect"].mean("seabed"),
            "sets_log_odds": sets.transpose(*cells),
            "resets_log_odds": again.transpose(*cells),
            "turn": np.exp(log_turn).transpose(*cells),
        }
    )


def _with_tests(
    told: xr.Dataset, resets: list[tuple[str, str, int, int]], veers: list[tuple[str, str]]
) -> xr.Dataset:
    anchors, seabeds = list(told["anchor"].to_numpy()), list(told["seabed"].to_numpy())
    old = [name for name in told.data_vars if {"reset", "veer"} & set(told[name].dims)]
    made: dict[str, tuple[str, np.ndarray]] = {}
    for kind, rows in (("reset", resets), ("veer", veers)):
        made[f"{kind}_anchor"] = (kind, np.array([anchors.index(row[0]) for row in rows], dtype=np.int64))
        made[f"{kind}_seabed"] = (kind, np.array([seabeds.index(row[1]) for row in rows], dtype=np.int64))
    made["attempts"] = ("reset", np.array([row[2] for row in resets], dtype=np.int64))
    made["successes"] = ("reset", np.array([row[3] for row in resets], dtype=np.int64))
    # The last turn was not held all the way.
    whole = np.full(len(veers), 2.0)
    made["turn_upper"] = ("veer", whole)
    made["turn_lower"] = ("veer", np.where(np.arange(len(veers)) == len(veers) - 1, 0.5, whole))
    return told.drop_vars(old).assign(made)


def _with_rows(
    trials: xr.Dataset, resets: list[tuple[str, str, int, int]], veers: list[tuple[str, str]]
) -> xr.Dataset:
    rows = [(f"R{place}", "reset", *row[:2]) for place, row in enumerate(resets)]
    rows += [(f"V{place}", "veer", *row) for place, row in enumerate(veers)]
    names, tests, anchors, seabeds = (list(column) for column in zip(*rows, strict=True))
    blank = trials.isel(trial=[0] * len(rows)).assign_coords(trial=names)
    added = blank.assign(test=("trial", tests), anchor=("trial", anchors), seabed=("trial", seabeds))
    added["released_n"] = ("trial", np.full(len(rows), np.inf))
    return xr.concat([trials, added], "trial")
