"""Angles of flukes as the model takes them: what sets one configuration of a design apart from the others."""

from collections.abc import Sequence

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import NDArray

from holdcast.physics.ground.fluke_angle import ANGLE_GROUNDS, ANGLE_STEP_DEG, PUBLISHED_GAIN, angle_shares

__all__ = ["SLOPE_MIXTURE", "angle_inputs", "angle_steps"]

_FIRM_LIKE_SAND = 0.8
"""Correlation of what an angle does in firm clay and in sand: what is published counts both as hard ground (a
choice, no source)."""
SLOPE_MIXTURE = np.array(
    [[1.0, 0.0, 0.0], [0.0, np.sqrt(1.0 - _FIRM_LIKE_SAND**2), _FIRM_LIKE_SAND], [0.0, 0.0, 1.0]]
)
"""How slopes in soft, firm and granular ground are made up of independent parts of one spread; rows of length
one, so that each slope has that spread."""
_OTHER = "angle_ground_other"


def angle_steps(angle_deg: pd.Series, designs: pd.Series) -> pd.Series:
    """Return how far each fluke is steeper than the mean of its design, in steps of `ANGLE_STEP_DEG`.

    Parameters
    ----------
    angle_deg : Series
        Between shank and fluke [deg]; NaN where not given.
    designs : Series
        Of each anchor.

    Returns
    -------
    Series
        0 where the angle is not given, and in a design all of whose angles are one.

    Notes
    -----
    Against the design's own mean, since what is published compares one anchor at two angles; two designs
    differ in more than the angle, and are measured in more than one way.
    """
    steeper = angle_deg - angle_deg.groupby(designs).transform("mean")
    # A mean of equal angles need not be that angle to the last digit.
    return (steeper.fillna(0.0) / ANGLE_STEP_DEG).round(9)


def angle_inputs(anchors: pd.DataFrame, soils: Sequence[str], strength: xr.Dataset) -> xr.Dataset:
    """Return what the model is told of the angles of flukes.

    Parameters
    ----------
    anchors : DataFrame
        As ``Campaign.anchors``.
    soils : sequence of str
        Of each seabed.
    strength : Dataset, dim seabed
        ``strength_index`` and its spread.

    Returns
    -------
    Dataset, dims (anchor, angle_ground, seabed)
        ``fluke_angle_steps`` (anchor), see :func:`angle_steps`; ``fluke_angle_expected`` (angle_ground), the
        change of log capacity expected of one step; ``fluke_angle_mixture`` (angle_ground,
        angle_ground_other), see `SLOPE_MIXTURE`; ``angle_ground_share`` (angle_ground, seabed).
        ``angle_ground`` has length 0 where no design has two angles: then the model has no such effect.
    """
    steps = _steps(anchors)
    grounds = list(ANGLE_GROUNDS) if steps.any() else []
    pairs = zip(
        strength["strength_index"].to_numpy(), strength["strength_index_spread"].to_numpy(), strict=True
    )
    shares = np.array(
        [angle_shares(soil, *pair) for soil, pair in zip(soils, pairs, strict=True)], dtype=float
    )
    return xr.Dataset(
        {
            "fluke_angle_steps": ("anchor", steps),
            "fluke_angle_expected": ("angle_ground", np.array([PUBLISHED_GAIN[each] for each in grounds])),
            "fluke_angle_mixture": (("angle_ground", _OTHER), SLOPE_MIXTURE[: len(grounds), : len(grounds)]),
            "angle_ground_share": (("angle_ground", "seabed"), shares.T[: len(grounds)]),
        },
        coords={
            "anchor": list(anchors.index),
            **{dim: np.array(grounds, dtype=str) for dim in ("angle_ground", _OTHER)},
        },
    )


def _steps(anchors: pd.DataFrame) -> NDArray[np.float64]:
    if "fluke_angle_deg" not in anchors:
        return np.zeros(len(anchors))
    return angle_steps(anchors["fluke_angle_deg"].astype(float), anchors["design"]).to_numpy()
