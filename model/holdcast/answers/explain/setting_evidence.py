"""What carries a cell's chances of setting: which tests, how much the priors, and which part of the model."""

from collections.abc import Mapping

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from holdcast.answers.draws.bands import BAND_90, band_of
from holdcast.answers.draws.draws import Draws, Floats, draws_of
from holdcast.answers.draws.provenance import about
from holdcast.answers.draws.seabeds import known_cover_setting
from holdcast.answers.draws.setting import KINDS, setting_shares
from holdcast.answers.explain.band_sources import shapley_shares
from holdcast.answers.explain.learning import contraction
from holdcast.capacity.fitting import Fit
from holdcast.physics.ground.penetration import log_penetration_factor

__all__ = ["PLACES", "SETTING_PARTS", "setting_evidence", "setting_sources"]

PLACES = ("here", "its design", "others here")
"""Which tests speak for a cell: those of this anchor here, of its design otherwise, of other designs here."""
SETTING_PARTS = ("design", "features", "form", "size, tip load, area", "ground")
_SCALE = {"sets": "sets_log_odds", "resets": "resets_log_odds", "veer_kept": "turn"}
_TESTS = {"sets": "", "resets": "reset_", "veer_kept": "veer_"}


def setting_evidence(fit: Fit, anchor: str, seabed: str) -> xr.Dataset:
    """Return one cell's chances of setting, with the tests that speak for them.

    Returns
    -------
    Dataset, dims (kind, quantile, place)
        ``kind``: those of :data:`holdcast.answers.draws.setting.KINDS` that the log holds tests of.
        ``share`` (kind, quantile) [1]: chance, or share kept, at the quantiles of the 90% band and its
        median; ``tests`` and ``done`` (kind, place): pulls and how many had set, as far as the loads tell;
        attempts to set again and how many did; turns and how many were held all the way; places as in
        `PLACES`.  ``contraction`` (kind): share of the prior's variance that the log took away, of log odds
        or of the log of what a turn costs.  Attribute ``set_written``: whether any used pull says if it set.

    Raises
    ------
    KeyError
        When the anchor or the seabed is not known.
    """
    draws = draws_of(fit)
    cell = {"anchor": anchor, "seabed": seabed}
    draws.labels("anchor", [anchor]), draws.labels("seabed", [seabed])
    shares = {kind: values.sel(cell).to_numpy() for kind, values in setting_shares(draws).items()}
    counted = {kind: _counted(draws, kind, anchor, seabed) for kind in shares}
    learnt = [
        float(
            contraction(
                *(_scale(each[_SCALE[kind]].sel(cell), kind) for each in (draws.posterior, draws.prior))
            )
        )
        for kind in shares
    ]
    bands = np.array([band_of(values, BAND_90) for values in shares.values()])
    tests, done = (np.array([counted[kind][at] for kind in shares]) for at in (0, 1))
    written = draws.used_pulls.get("set")
    return xr.Dataset(
        {
            "share": (("kind", "quantile"), bands, about("1", "chance, or share kept")),
            "tests": (("kind", "place"), tests, about("1", "tests used")),
            "done": (("kind", "place"), done, about("1", "of them that set, set again or held all the way")),
            "contraction": (
                "kind",
                learnt,
                about("1", "share of the prior's variance that the log took away"),
            ),
        },
        {"kind": list(shares), "quantile": list(BAND_90), "place": list(PLACES)},
        {**cell, "set_written": bool(written is not None and (written.astype(str) != "").any())},
    )


def setting_sources(fit: Fit, anchor: str, seabed: str) -> xr.Dataset:
    """Return the share of each part in the variance of one cell's log odds, or log of what a turn costs.

    Returns
    -------
    Dataset, dims (kind, part)
        ``share`` [1], Shapley shares that add up to one, 0 for a part that the cell does not have; parts as
        in `SETTING_PARTS`.  *Design*: its own effects, with what its capacity lets expect of setting;
        *ground*: the typical chance, strength and the seabed's own effect.

    Raises
    ------
    KeyError
        When the anchor or the seabed is not known.
    """
    draws = draws_of(fit)
    draws.labels("anchor", [anchor]), draws.labels("seabed", [seabed])
    kinds = [kind for kind in KINDS if _SCALE[kind] in draws]
    rows = []
    for kind in kinds:
        total = _scale(draws.posterior[_SCALE[kind]].sel(anchor=anchor, seabed=seabed), kind).to_numpy()
        parts = _parts(draws, kind, anchor, seabed)
        of_design = total - np.sum(list(parts.values()), axis=0)
        shares = shapley_shares(
            total, {**{name: [part] for name, part in parts.items()}, "design": [of_design]}
        )
        rows.append([shares.get(part, 0.0) for part in SETTING_PARTS])
    words = about("1", "share of the variance")
    return xr.Dataset(
        {"share": (("kind", "part"), rows, words)}, {"kind": kinds, "part": list(SETTING_PARTS)}
    )


def _scale(values: xr.DataArray, kind: str) -> xr.DataArray:
    return values.copy(data=np.log(values.to_numpy())) if kind == "veer_kept" else values


def _counted(draws: Draws, kind: str, anchor: str, seabed: str) -> tuple[list[float], list[float]]:
    """Return how many tests of a kind were used in each of the places, and how many of them were done."""
    inputs, prefix = draws.inputs, _TESTS[kind]
    if kind == "sets":
        at_anchor, at_seabed = inputs["anchor_of"].to_numpy(), inputs["seabed_of"].to_numpy()
    else:
        at_anchor, at_seabed = (inputs[f"{prefix}{dim}"].to_numpy() for dim in ("anchor", "seabed"))
    number, done = _outcomes(draws, kind, len(at_anchor))
    place, here = draws.place("anchor", anchor), at_seabed == draws.place("seabed", seabed)
    design_of = inputs["design_of"].to_numpy()
    own = (at_anchor == place) & here
    of_design = design_of[at_anchor] == design_of[place]
    groups = (own, of_design & ~own, here & ~of_design)
    return [float(number[each].sum()) for each in groups], [float(done[each].sum()) for each in groups]


def _outcomes(draws: Draws, kind: str, rows: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return for each row how many tests it is, and how many of them were done."""
    inputs = draws.inputs
    if kind == "sets":
        return np.ones(rows), inputs["had_set"].to_numpy()
    if kind == "resets":
        return inputs["attempts"].to_numpy().astype(float), inputs["successes"].to_numpy().astype(float)
    held = inputs["turn_upper"].to_numpy() <= inputs["turn_lower"].to_numpy()
    return np.ones(rows), held.astype(float)


def _parts(draws: Draws, kind: str, anchor: str, seabed: str) -> Mapping[str, Floats]:
    """Return the parts of one cell's scale but for its design, arrays (sample,)."""
    form = draws.labels("form")[int(draws.inputs["form_of"][draws.place("anchor", anchor)])]
    cell = {"form": form, "seabed": seabed}
    if kind == "veer_kept":
        return {
            "ground": np.log(draws["turn_typical"]),
            "form": draws.posterior["turn_form_effect"].sel(cell).to_numpy(),
            "features": _features(draws, anchor, seabed, "turn_feature"),
        }
    place = draws.place("seabed", seabed)
    ground = (
        draws["set_typical"]
        + draws["set_strength_slope"] * draws["strength"][:, place]
        + draws["set_seabed_effect"][:, place]
        + known_cover_setting(draws, seabed)
    )
    features = _features(draws, anchor, seabed, "set_feature_effect")
    if kind == "resets":
        ground = ground + draws["again_shift"]
        features = features + _features(draws, anchor, seabed, "again_feature_effect")
    return {
        "ground": ground,
        "form": draws.posterior["set_form_effect"].sel(cell).to_numpy(),
        "features": features,
        "size, tip load, area": draws["set_by_entry"] * _entry(draws, anchor, seabed),
    }


def _entry(draws: Draws, anchor: str, seabed: str) -> Floats:
    """Return the log of what penetration leaves of the capacity [1], shape (sample,)."""
    place = draws.place("anchor", anchor)
    return np.asarray(
        log_penetration_factor(
            draws["anchor_log_tip_load"][:, place],
            float(draws.inputs["log_mass_ratio"][place]),
            draws["log_resistance"][:, draws.place("seabed", seabed)],
            draws["penetration_steepness"],
            draws["tip_growth"],
        )
    )


def _features(draws: Draws, anchor: str, seabed: str, name: str) -> Floats:
    if not draws.inputs.sizes["feature"]:
        return np.zeros(draws.samples)
    has = draws.inputs["has_feature"].sel(anchor=anchor)
    effect = draws.posterior[name]
    here = effect.sel(seabed=seabed) if "seabed" in effect.dims else effect
    return np.asarray((here * has).sum("feature").to_numpy())
