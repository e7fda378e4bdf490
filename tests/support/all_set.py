"""A world in which every anchor sets, for fits put together by hand: what setting adds to them."""

import numpy as np
import xarray as xr

SURE = 40.0
"""Log odds of what always happens."""
GRAVITY = 9.80665


def with_spots(told: xr.Dataset) -> xr.Dataset:
    """Return inputs with one spot for each anchor on a visit, no pull said to have set, no reset, no veer."""
    names = ("anchor", "seabed", "visit")
    places = np.stack([np.asarray(told[f"{name}_of"]) for name in names], axis=1)
    spots, spot_of = np.unique(places, axis=0, return_inverse=True)
    spot_of = spot_of.ravel()
    number = np.bincount(spot_of, minlength=len(spots))
    none = np.zeros(0, dtype=np.int64)
    empty = {f"{kind}_{name}": (kind, none) for kind in ("reset", "veer") for name in ("spot", *names)}
    return told.assign(
        {
            **{f"spot_{name}": ("spot", spots[:, at]) for at, name in enumerate(names)},
            "spot_of": ("trial", spot_of),
            "spot_alone": ("spot", np.zeros(len(spots), dtype=np.int64)),
            "shared_spot_at": ("shared_spot", np.arange(len(spots))),
            "spot_pulls": ("spot", number),
            "spot_first": ("spot", np.concatenate([[0], np.cumsum(number)])[:-1]),
            "pull_order": ("trial", np.argsort(spot_of, kind="stable")),
            "setting": ("trial", np.zeros(len(spot_of), dtype=np.int64)),
            "had_set": ("trial", np.ones(len(spot_of))),
            "log_weight": ("anchor", np.log(10.0 * np.exp(told["log_mass_ratio"].to_numpy()) * GRAVITY)),
            **empty,
            "fluke_angle_steps": ("anchor", np.zeros(told.sizes["anchor"])),
            "fluke_angle_expected": ("angle_ground", np.zeros(0)),
            "fluke_angle_mixture": (("angle_ground", "angle_ground_other"), np.zeros((0, 0))),
            "angle_ground_share": (("angle_ground", "seabed"), np.zeros((0, told.sizes["seabed"]))),
            "has_cover": (("seabed", "cover"), np.zeros((told.sizes["seabed"], 0))),
            "attempts": ("reset", none),
            "successes": ("reset", none),
        }
    ).assign_coords(
        spot=[f"spot {at}" for at in range(len(spots))],
        shared_spot=[f"spot {at}" for at in range(len(spots))],
        **dict.fromkeys(("angle_ground", "angle_ground_other", "cover"), np.zeros(0, dtype=str)),
    )


def with_setting(draws: xr.Dataset, told: xr.Dataset) -> xr.Dataset:
    """Return draws with what the model adds for setting, every anchor setting for sure, and no spots."""
    sample = ("chain", "draw")
    shape = [draws.sizes[dim] for dim in sample]

    def constant(value: float, *dims: str) -> tuple[tuple[str, ...], np.ndarray]:
        sizes = [told.sizes[dim] if dim in told.sizes else draws.sizes[dim] for dim in dims]
        return (*sample, *dims), np.full([*shape, *sizes], value)

    labels = {dim: told[dim].to_numpy() for dim in ("anchor", "seabed", "design", "form", "shared_spot")}
    labels["feature"] = told["feature"].to_numpy()
    parts = ["seabed", "form", "form_seabed", "design", "design_seabed"]
    share = np.broadcast_to(np.array([0.1, 0.2, 0.2, 0.25, 0.25]), (*shape, len(parts)))
    if "instrument" in told.sizes:
        labels["instrument"] = told["instrument"].to_numpy()
        draws = draws.assign(instrument_error=constant(0.0, "instrument"))
    made = draws.assign_coords({**labels, "set_part": parts})
    return made.assign(
        {
            "spot_spread": constant(0.0),
            "spot_effect": constant(0.0, "shared_spot"),
            "sets_log_odds": constant(SURE, "anchor", "seabed"),
            "set_typical": constant(SURE),
            "set_strength_slope": constant(0.0),
            "set_by_entry": constant(0.0),
            "set_by_capacity": constant(0.0),
            "set_spread": constant(1e-6),
            "set_share": ((*sample, "set_part"), share),
            "set_concentration": constant(6.0),
            "set_feature_typical": constant(0.0, "feature"),
            "set_feature_spread": constant(1e-6),
            "set_seabed_effect": constant(0.0, "seabed"),
            "set_form_effect": constant(0.0, "form", "seabed"),
            "set_design_effect": constant(0.0, "design", "seabed"),
            "set_feature_effect": constant(0.0, "feature", "seabed"),
            "sliding_efficiency": constant(1.2),
            "sliding_scatter": constant(0.5),
            **({} if "strength" in draws else {"strength": constant(0.0, "seabed")}),
        }
    )


def observed(told: xr.Dataset) -> xr.Dataset:
    """Return the group of what was observed."""
    return xr.Dataset({"log_load": 0.5 * (told["lower"] + told["upper"])})
