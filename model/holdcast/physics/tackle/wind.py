"""Wind on a boat: loads by length and wind from the trade's table, wind drag, wind of a Beaufort force.

Signatures::

    beyond_load_table(length_m, wind_mps)            where the next is extrapolated
    mooring_load_n(length_m, wind_mps)               ABYC H-40, log-log between entries, its own power outside
    wind_drag_n(area_m2, wind_mps, drag_coefficient, air_density=1.225)
    beaufort_wind_mps(force)                         0.836 B^1.5
"""

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from holdcast.physics.elementwise import Values
from holdcast.physics.errors import not_negative, positive, within
from holdcast.physics.tables import read_table
from holdcast.physics.units import METRES_PER_FOOT, MPS_PER_KNOT, NEWTONS_PER_LBF

__all__ = [
    "AIR_DENSITY",
    "DRAG_COEFFICIENTS",
    "LENGTH_POWER",
    "beaufort_wind_mps",
    "beyond_load_table",
    "load_table",
    "mooring_load_n",
    "wind_drag_n",
]

LENGTH_POWER = 1.61
"""Power of the length by which the table's 30-knot loads grow [1]: least squares on logs (computed); it
misses single entries by up to 8%."""

AIR_DENSITY = 1.225
"""Standard air at 15 °C [kg/m³] (value from memory: ISO 2533)."""

DRAG_COEFFICIENTS = {
    "flat_plate": 1.2,
    "round_mast_or_wire": 1.0,
    "surface_at_an_angle": 0.7,
    "sailing_yacht_bow_on": 0.7,
}
"""Shape coefficients [1]: a marine supplier's page (read); bow-on yacht: a book on anchoring, quoted (read),
10% or worse either way."""


@lru_cache
def load_table() -> tuple[tuple[float, ...], tuple[float, ...], tuple[tuple[float, ...], ...]]:
    """Return log lengths (m), log winds (m/s) and log loads (N) of the table, as nested tuples.

    What a page needs to read the same loads; :func:`mooring_load_n` says how it is read between entries.
    """
    rows = read_table("wind_loads")
    winds = [name for name in rows[0] if name.startswith("kn_")]
    lengths = tuple(float(np.log(float(row["length_ft"]) * METRES_PER_FOOT)) for row in rows)
    speeds = tuple(float(np.log(float(name.removeprefix("kn_")) * MPS_PER_KNOT)) for name in winds)
    loads = tuple(tuple(float(np.log(float(row[name]) * NEWTONS_PER_LBF)) for name in winds) for row in rows)
    return lengths, speeds, loads


def _within_row(log_length: NDArray[np.float64], column: int) -> NDArray[np.float64]:
    """Return the log load at one wind of the table; outside its lengths by the table's own power."""
    lengths, _, loads = load_table()
    inside = np.interp(log_length, lengths, [row[column] for row in loads])
    beyond = np.minimum(log_length - lengths[0], 0.0) + np.maximum(log_length - lengths[-1], 0.0)
    return np.asarray(inside + LENGTH_POWER * beyond)


def mooring_load_n(length_m: ArrayLike, wind_mps: ArrayLike) -> NDArray[np.float64]:
    r"""Return the horizontal load on the ground tackle of a boat of a length in a wind.

    .. math:: \log F \text{ linear in } \log L \text{ and } \log V \text{ between entries}

    Parameters
    ----------
    length_m : array
        Length overall [m]; the table covers 3.0 to 21.3 m (10 to 70 ft), outside it L^1.61 from the end
        entry.
    wind_mps : array
        Steady wind [m/s]; the table covers 15 to 60 kn, outside it V² from the end entry.

    Returns
    -------
    array
        F [N].  Holds some surge (read); gusts and waves ask for more, and a wide boat takes the row of its
        beam where that is the larger one (read; beams are not in the table here).

    Raises
    ------
    PhysicsError
        When the length is not above 0 or the wind is negative.

    Notes
    -----
    ABYC H-40, read in a reprint; see data/tables/wind_loads.csv for where reprints disagree.
    """
    positive("length_m", length_m, "m")
    not_negative("wind_mps", wind_mps, "m/s")
    length, wind = np.broadcast_arrays(np.asarray(length_m, dtype=float), np.asarray(wind_mps, dtype=float))
    _, speeds, _ = load_table()
    log_wind = np.log(np.where(wind > 0.0, wind, 1.0))
    rows = np.stack([_within_row(np.log(length), column) for column in range(len(speeds))])
    position = np.interp(log_wind, speeds, np.arange(len(speeds)))
    lower = np.minimum(position.astype(int), len(speeds) - 2)
    at_lower, at_upper = (np.take_along_axis(rows, (lower + k)[None], axis=0)[0] for k in (0, 1))
    beyond = np.minimum(log_wind - speeds[0], 0.0) + np.maximum(log_wind - speeds[-1], 0.0)
    log_load = at_lower + (position - lower) * (at_upper - at_lower) + 2.0 * beyond
    return np.where(wind > 0.0, np.exp(log_load), 0.0)


def beyond_load_table(length_m: ArrayLike, wind_mps: ArrayLike) -> NDArray[np.bool_]:
    """Return where a length or a wind lies outside the printed table, so that its load is extrapolated.

    Parameters and errors as in :func:`mooring_load_n`.
    """
    positive("length_m", length_m, "m")
    not_negative("wind_mps", wind_mps, "m/s")
    length, wind = np.broadcast_arrays(np.asarray(length_m, dtype=float), np.asarray(wind_mps, dtype=float))
    beyond = np.zeros(length.shape, dtype=bool)
    lengths, winds, _ = load_table()
    for values, printed in ((length, lengths), (wind, winds)):
        # The ends of the table itself are inside, whatever they became in other units.
        beyond |= (values < np.exp(printed[0]) * (1.0 - 1e-6)) | (values > np.exp(printed[-1]) * (1.0 + 1e-6))
    return beyond


def wind_drag_n(
    area_m2: Values, wind_mps: Values, drag_coefficient: Values, air_density: Values = AIR_DENSITY
) -> Values:
    r"""Return the drag of the wind on an area.

    .. math:: F = \tfrac{1}{2} \rho \, C_d \, A \, V^2

    Parameters
    ----------
    area_m2 : number or array
        A, frontal area [m²].
    wind_mps : number or array
        V [m/s].
    drag_coefficient : number or array
        C_d [1]; see `DRAG_COEFFICIENTS`.
    air_density : number or array
        ρ [kg/m³].

    Returns
    -------
    number or array
        F [N]: wind alone, no surge, gusts or yaw.  Any textbook of fluid mechanics (computed).

    Raises
    ------
    PhysicsError
        When an argument is negative or the density is not above 0.
    """
    not_negative("area_m2", area_m2, "m2")
    not_negative("wind_mps", wind_mps, "m/s")
    not_negative("drag_coefficient", drag_coefficient, "")
    positive("air_density", air_density, "kg/m3")
    return 0.5 * air_density * drag_coefficient * area_m2 * wind_mps**2


def beaufort_wind_mps(force: Values) -> Values:
    r"""Return the wind of a Beaufort force, :math:`v = 0.836\,B^{1.5}` [m/s]: WMO, value from memory.

    Raises
    ------
    PhysicsError
        When the force is outside 0 to 12.
    """
    within("force", force, 0.0, 12.0, "Beaufort")
    return 0.836 * np.asarray(force, dtype=float) ** 1.5
