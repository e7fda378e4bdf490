"""Anchors as draws: known ones from the posterior, new ones with every effect of their own drawn, never zero.

A new design, form or feature draws its effects over the known seabeds from the population that the fit has
learnt.  From then on it is treated like a known one, so that its effects in several seabeds belong together.
"""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from holdcast.answers.draws.draws import Draws, Floats
from holdcast.capacity.inputs.layout import anchor_inputs
from holdcast.capacity.model.design_parts import (
    LOADING,
    SCORE,
    DesignVariances,
    Variances,
    design_variances,
    variances_by_seabed,
)
from holdcast.physics.ground.fluke_angle import ANGLE_STEP_DEG

__all__ = [
    "AnchorDraws",
    "Effect",
    "anchor_effects",
    "effect_of",
    "known_anchor",
    "labels_of",
    "measurements",
    "new_anchor",
    "new_configuration",
]

_MEASUREMENTS = {"log_tip_load": "tip_load_kg", "log_area_excess": "fluke_area_m2"}


@dataclass(frozen=True)
class Effect:
    """One member's effect in the known seabeds, and how it varies over seabeds.

    Attributes
    ----------
    member : label, with its kind, such as ``design A``; names the random stream.
    mean : array, shape (sample,), known mean of the effect over all ground.
    values : array, shape (sample, seabed), effect in each known seabed.
    spread : Variances about the mean, arrays of shape (sample,).
    amount : array, shape (sample,), or number: how much of it an anchor has.
    of_design : whether it is of the design: its own, or a hidden trait's.
    """

    member: str
    mean: Floats
    values: Floats
    spread: Variances
    amount: Floats | float = 1.0
    of_design: bool = False


@dataclass(frozen=True)
class AnchorDraws:
    """One anchor as draws.

    Attributes
    ----------
    label : name of the anchor.
    mass_kg : mass [kg].
    log_tip_load, log_area_excess : arrays, shape (sample,), [log kg] and [1].
    fluke_angle_steps : how far its fluke is steeper than the mean of its design, in steps of
        :data:`holdcast.physics.ground.fluke_angle.ANGLE_STEP_DEG` [1]; 0 where that is not known.
    configuration : what sets it apart from its design.
    effects : of its design, its hidden traits, its form and each of its features.
    design, form, features : labels.
    at : place among the fit's anchors; None for a new one.
    """

    label: str
    mass_kg: float
    log_tip_load: Floats
    log_area_excess: Floats
    fluke_angle_steps: float
    configuration: Effect
    effects: tuple[Effect, ...]
    design: str
    form: str
    features: tuple[str, ...]
    at: int | None = None


def known_anchor(draws: Draws, label: str) -> AnchorDraws:
    """Return an anchor of the fit.

    Raises
    ------
    KeyError
        When the fit has no such anchor.
    """
    return draws.once(f"anchor {label}, seed {draws.seed}", lambda: _known_anchor(draws, label))


def _known_anchor(draws: Draws, label: str) -> AnchorDraws:
    at = draws.place("anchor", label)
    row = draws.anchors.iloc[at]
    return AnchorDraws(
        label,
        float(row["mass_kg"]),
        draws["anchor_log_tip_load"][:, at],
        draws["anchor_log_area_excess"][:, at],
        float(draws.inputs["fluke_angle_steps"][at]),
        _configuration(draws, label, draws["configuration_effect"][:, at, :]),
        anchor_effects(draws, row),
        *labels_of(row),
        at,
    )


def new_anchor(draws: Draws, label: str, row: pd.Series, measured: pd.Series) -> AnchorDraws:
    """Return an anchor that nobody has tested, with its own configuration effect.

    Parameters
    ----------
    draws : Draws
    label : str
        Its name; two requests of one name speak of one anchor.
    row : Series
        ``mass_kg``, ``design``, ``form`` and ``flag_NAME`` as in ``Campaign.anchors``; a known design brings
        its effects along.
    measured : Series
        Its row of :func:`measurements`.

    Notes
    -----
    A tip load or area that was not measured is drawn from what the fit's anchors suggest for its design and
    form, see :func:`holdcast.capacity.inputs.missing_measurements.fill_in`.
    """
    drawn = {
        name: float(measured[name])
        + float(measured[f"{name}_spread"]) * draws.normals("measurement", name, label)
        for name in _MEASUREMENTS
    }
    return AnchorDraws(
        label,
        float(row["mass_kg"]),
        drawn["log_tip_load"],
        drawn["log_area_excess"],
        float(measured["fluke_angle_steps"]),
        new_configuration(draws, label),
        anchor_effects(draws, row),
        *labels_of(row),
    )


def measurements(draws: Draws, table: pd.DataFrame) -> pd.DataFrame:
    """Return tip load and area of new anchors on the model's scales.

    Parameters
    ----------
    draws : Draws
    table : DataFrame
        Columns mass_kg, design, form, tip_load_kg, fluke_area_m2 and fluke_angle_deg (NaN where not
        measured); one row an anchor.

    Returns
    -------
    DataFrame, index as `table`
        ``log_tip_load`` [log kg], ``log_area_excess`` [1] and the spread of each, 0 where it was measured;
        ``fluke_angle_steps`` [1] against the fit's anchors of the design, 0 where either has no angle.
    """
    columns = ["mass_kg", "design", "form", "tip_load_kg", "fluke_area_m2"]
    shapes = table[columns]
    blank = shapes.assign(tip_load_kg=np.nan, fluke_area_m2=np.nan)
    # Only the fit's anchors may speak for what is missing, so the measured values are read on their own.
    guessed = anchor_inputs(pd.concat([draws.anchors[columns], blank])).isel(
        anchor=slice(len(draws.anchors), None)
    )
    own = anchor_inputs(shapes)
    guesses = pd.DataFrame(index=table.index)
    for name, column in _MEASUREMENTS.items():
        measured = shapes[column].notna().to_numpy()
        guesses[name] = np.where(measured, own[name].to_numpy(), guessed[name].to_numpy())
        guesses[f"{name}_spread"] = np.where(measured, 0.0, guessed[f"{name}_spread"].to_numpy())
    usual_deg = draws.anchors["fluke_angle_deg"].groupby(draws.anchors["design"]).mean()
    steeper_deg = table["fluke_angle_deg"] - table["design"].map(usual_deg)
    return guesses.assign(fluke_angle_steps=(steeper_deg / ANGLE_STEP_DEG).fillna(0.0))


def new_configuration(draws: Draws, label: str) -> Effect:
    """Return the effect of a configuration that nobody has tested."""
    return _configuration(draws, label, None)


def anchor_effects(draws: Draws, row: pd.Series) -> tuple[Effect, ...]:
    """Return the effects of an anchor's design and hidden traits, its form and each feature that it has."""
    design, form, has = labels_of(row)
    return (
        _design_effect(draws, design),
        *(_trait_effect(draws, trait, design) for trait in draws.labels("trait")),
        _form_effect(draws, form),
        *(_feature_effect(draws, feature) for feature in has),
    )


def labels_of(row: pd.Series) -> tuple[str, str, tuple[str, ...]]:
    """Return an anchor's design, form and features from its row of anchors.csv."""
    features = [
        str(column).removeprefix("flag_")
        for column, value in row.items()
        if str(column).startswith("flag_") and bool(value)
    ]
    return str(row["design"]), str(row["form"]), tuple(features)


def _configuration(draws: Draws, label: str, values: Floats | None) -> Effect:
    """Return a configuration's effect; one that nobody has tested is drawn."""
    member, spread = f"configuration {label}", _of_designs(draws).configuration
    drawn = _drawn(draws, member, spread) if values is None else values
    return Effect(member, np.zeros(draws.samples), drawn, spread)


def _design_effect(draws: Draws, design: str) -> Effect:
    effect = effect_of(draws, "design", "design", design, np.zeros(draws.samples), _of_designs(draws).design)
    return replace(effect, of_design=True)


def _of_designs(draws: Draws) -> DesignVariances:
    """Return variances of designs, configurations and a trait's loadings, arrays of shape (sample,)."""
    return draws.once("variances of designs", lambda: _variances_of_designs(draws))


def _variances_of_designs(draws: Draws) -> DesignVariances:
    shares = draws["design_share"] * draws["design_spread"][:, None] ** 2
    return design_variances(dict(zip(draws.labels("part"), shares.T, strict=True)))


def _trait_effect(draws: Draws, trait: str, design: str) -> Effect:
    """Return what a hidden trait does, a standard deviation of it, and how much of it a design has."""
    at = draws.place("trait", trait)
    if design in draws.labels("design"):
        score = draws[SCORE][:, draws.place("design", design), at]
    else:
        score = draws.normals("design", design, "trait", trait)
    spread, loading = _of_designs(draws).trait, draws[LOADING][:, at, :]
    return Effect(f"trait {trait}", np.zeros(draws.samples), loading, spread, score, of_design=True)


def _form_effect(draws: Draws, form: str) -> Effect:
    by_seabed = draws["form_seabed_spread"] ** 2
    spread = variances_by_seabed(draws["form_spread"] ** 2, by_seabed)
    return effect_of(draws, "form", "form", form, np.zeros(draws.samples), spread)


def _feature_effect(draws: Draws, feature: str) -> Effect:
    prior = draws.priors["feature_typical"]
    if feature in draws.labels("feature"):
        mean = draws["feature_typical"][:, draws.place("feature", feature)]
    else:
        mean = prior["mean"] + prior["sd"] * draws.normals("feature", feature, "mean")
    # A campaign without features has not learnt this spread; then its prior speaks.
    if "feature_seabed_spread" in draws:
        by_seabed = draws["feature_seabed_spread"] ** 2
    else:
        shape = draws.priors["feature_seabed_spread"]
        by_seabed = shape["median"] ** 2 * np.exp(2.0 * shape["log_sd"] * draws.normals("feature spread"))
    spread = variances_by_seabed(np.zeros(draws.samples), by_seabed)
    return effect_of(draws, "feature", "feature", feature, mean, spread)


def effect_of(draws: Draws, name: str, kind: str, label: str, mean: Floats, spread: Variances) -> Effect:
    """Return a member's effect over the known seabeds; one that the fit does not know is drawn.

    Parameters
    ----------
    draws : Draws
    name : str
        Of the effect; the posterior's variable is ``{name}_effect``.
    kind, label : str
        Dim and label of the member.
    mean : array, shape (sample,)
        Known mean of the effect over all ground.
    spread : Variances
        About the mean.
    """
    member = f"{name} {label}"
    if label in draws.labels(kind):
        values = draws[f"{name}_effect"][:, draws.place(kind, label), :]
    else:
        values = mean[:, None] + _drawn(draws, member, spread)
    return Effect(member, mean, values, spread)


def _drawn(draws: Draws, member: str, spread: Variances) -> Floats:
    """Return a new member's effects in the known seabeds, shape (sample, seabed), by the model's own map."""
    value, vector = draws.inputs["alike_value"].to_numpy(), draws.inputs["alike_vector"].to_numpy()
    standard = draws.normals(member, "by seabed", columns=len(value))
    scale = np.sqrt(spread.alike[:, None] * value + spread.own[:, None])
    main = np.sqrt(spread.main) * draws.normals(member, "main")
    drawn: Floats = main[:, None] + (standard * scale) @ vector.T
    return drawn
