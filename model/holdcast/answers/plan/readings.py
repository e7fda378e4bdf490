r"""What one more pull would tell of a capacity: how often it reads anything, and how finely.

A reading of a pull that set is capacity, visit, spot and scatter together, cut off at the boat's limit.  Of
the scatter's own part the Fisher information counts.  For Student's t of 4 degrees of freedom, cut off on the
right at *z* scales above its middle, with :math:`s = z / \sqrt{4 + z^2}`,

.. math:: I(z) = \frac{75}{16} \Big[\frac{x^3}{3} - \frac{2 x^5}{5} + \frac{x^7}{7}\Big]_{-1}^{s}
                 + \frac{f(z)^2}{1 - F(z)}

in units of the scale's inverse square: the score squared below the cut, and what the mere knowledge of lying
above it tells (computed, by integrating with t = 2 tan θ; the same two terms that a cut-off normal has, Gupta
1952, *Biometrika* 39:260, value from memory).  Without a cut it is 5/7 (Lange, Little & Taylor 1989, *JASA*
84:881, value from memory).

Pulls that do not set tell nothing of capacity, and failures of one visit go together: on each visit an
anchor has a chance of its own, as the fit has it.  With some chance none of a visit's pulls sets, and what
the test would have told is lost as a whole.

A cut also hides how far above it a capacity lies, however often it is pulled.  That part comes from the
straight line that predicts the uncut middle best from the cut one, over draws.
"""

from dataclasses import dataclass

import numpy as np
import xarray as xr

from holdcast.answers.draws.draws import Draws, Floats
from holdcast.answers.draws.new_pull import visit_and_spot
from holdcast.answers.draws.setting import chances_of_setting
from holdcast.capacity.likelihood.kinds import ABOVE, BELOW, BETWEEN, EXACT

__all__ = ["MOST_PULLS", "Readings", "cut_information", "cut_mean", "limit_n", "new_readings"]

_MOST_DRAWS = 800
"""Of these the means over draws are taken: known to some 2% then, and a plan asks no more (a choice)."""
_LEAST = 1e-4
"""Floor of an information or a chance, so that a cell that can tell nothing has a finite noise."""
MOST_PULLS = 6
"""Of one anchor on one visit: more pulls of one spot tell ever less (a choice)."""


@dataclass(frozen=True)
class Readings:
    """What pulls would tell, by cell.

    Attributes
    ----------
    noise : DataArray, dims (anchor, seabed, pulls), variance of the mean reading of so many pulls about their
        spot's own middle [(log N)²].
    blur : DataArray, dims (anchor, seabed), variance that more pulls of one spot do not take away: the spot,
        and what the boat's limit hides [(log N)²].
    visit : variance of what all anchors of one visit share [(log N)²].
    cut : DataArray, dims (anchor, seabed), chance that a pull reaches the boat's limit [1].
    sets : DataArray, dims (anchor, seabed), chance that the anchor digs in [1].
    """

    noise: xr.DataArray
    blur: xr.DataArray
    visit: float
    cut: xr.DataArray
    sets: xr.DataArray


def limit_n(draws: Draws) -> float:
    """Return the highest load of the log's used pulls, as it was read [N]: the boat is known to pull it."""
    loads = draws.used_pulls[["held_n", "released_n"]].to_numpy(dtype=float)
    return float(loads[np.isfinite(loads)].max(initial=0.0))


def new_readings(draws: Draws) -> Readings:
    """Return what one more pull of each cell would tell, on a new visit at the log's own rode and limit."""
    few = np.linspace(0, draws.samples - 1, min(draws.samples, _MOST_DRAWS)).astype(int)
    dims = ("sample", "anchor", "seabed")
    capacity = draws.posterior["log_capacity"].transpose(*dims).to_numpy()[few]
    sets = chances_of_setting(draws).transpose(*dims).to_numpy()[few]
    scatter = draws.posterior["pull_scatter"].transpose("sample", "seabed").to_numpy()[few][:, None, :]
    away = (visit_and_spot(draws) * draws.normals("plan", "visit and spot"))[few]
    middle = capacity + away[:, None, None]
    room = (_log_limit(draws)[few][:, None, :] - middle) / scatter
    information = cut_information(room) / scatter**2
    precision = (sets * information).mean(axis=0) / np.maximum(sets.mean(axis=0), _LEAST)
    blur = (draws["spot_spread"] ** 2).mean() + _hidden(middle, middle + scatter * cut_mean(room))

    visit = float((draws["visit_spread"] ** 2).mean())
    concentration = draws["set_concentration"][few][:, None, None]
    spread = capacity.var(axis=0) + visit + blur
    noise = _noise(1.0 / np.maximum(precision, _LEAST), spread, sets, concentration)
    coords = {"anchor": draws.labels("anchor"), "seabed": draws.labels("seabed")}

    def by_cell(values: Floats) -> xr.DataArray:
        return xr.DataArray(values, coords, ("anchor", "seabed"))

    number = {**coords, "pulls": np.arange(1, MOST_PULLS + 1)}
    return Readings(
        xr.DataArray(noise, number, ("anchor", "seabed", "pulls")),
        by_cell(blur),
        visit,
        by_cell(_above(room).mean(axis=0)),
        by_cell(sets.mean(axis=0)),
    )


def _noise(each: Floats, spread: Floats, sets: Floats, concentration: Floats) -> Floats:
    """Return the variance of the mean reading of 1, 2, … pulls, shape (anchor, seabed, pulls).

    Chosen so that it takes off a cell's variance what pulls that set do, times the chance that any does.

    Parameters
    ----------
    each : array, shape (anchor, seabed), variance of one pull that set about its spot's middle.
    spread : array, shape (anchor, seabed), variance of the spot's middle.
    sets : array, shape (sample, anchor, seabed), chance that a pull sets.
    concentration : array, shape (sample, 1, 1), of the beta from which a visit's own chance comes.
    """
    noise, none = [], np.ones_like(sets)
    for pulls in range(1, MOST_PULLS + 1):
        # Pólya's urn: each failure makes the next likelier (an identity of the beta-binomial).
        none = none * ((1.0 - sets) * concentration + pulls - 1) / (concentration + pulls - 1)
        any_sets = np.maximum(1.0 - none.mean(axis=0), _LEAST)
        setting = np.maximum(pulls * sets.mean(axis=0), _LEAST) / any_sets
        noise.append((spread + each / setting) / any_sets - spread)
    return np.stack(noise, axis=-1)


def _log_limit(draws: Draws) -> Floats:
    """Return the log capacity that the boat's limit reaches, shape (sample, seabed) [log N].

    At the anchor, and turned to a pull along the bottom by the mean angle of the log's pulls there.
    """
    kind = draws.inputs["kind"].to_numpy()
    lower, upper = (draws.inputs[name].to_numpy() for name in ("lower", "upper"))
    ends = [lower[np.isin(kind, (EXACT, ABOVE, BETWEEN))], upper[np.isin(kind, (EXACT, BELOW, BETWEEN))]]
    log_load = float(np.concatenate(ends).max(initial=0.0))
    if "mean_fall" not in draws.inputs:
        return np.full((draws.samples, len(draws.labels("seabed"))), log_load)
    return np.asarray(log_load + draws["strength_of_fall"][:, None] * draws.inputs["mean_fall"].to_numpy())


def _hidden(middle: Floats, seen: Floats) -> Floats:
    """Return the variance that seeing the cut middle leaves, on the scale of the middle, by cell.

    For the best straight line from `seen` to `middle`: var(middle) (1 / r² - 1), r their correlation.
    """
    away, about = middle - middle.mean(axis=0), seen - seen.mean(axis=0)
    variance, along = (away**2).mean(axis=0), (away * about).mean(axis=0)
    share = along**2 / np.maximum(variance * (about**2).mean(axis=0), np.finfo(float).tiny)
    return np.asarray(variance * (1.0 / np.clip(share, _LEAST, 1.0) - 1.0))


def _sine(z: Floats) -> Floats:
    bounded = np.clip(z, -1e6, 1e6)
    return np.asarray(bounded / np.sqrt(4.0 + bounded**2))


def _above(z: Floats) -> Floats:
    """Return the chance that Student's t of 4 degrees of freedom exceeds z (computed, t = 2 tan θ).

    (1 - s)² (2 + s) / 4, and 1 - s without the cancellation of large z.
    """
    bounded = np.clip(z, -1e6, 1e6)
    root = np.sqrt(4.0 + bounded**2)
    gap = np.where(bounded > 0.0, 4.0 / (root * (root + np.abs(bounded))), 1.0 - bounded / root)
    return np.asarray(0.25 * gap**2 * (3.0 - gap))


def cut_information(z: Floats) -> Floats:
    """Return the information on its middle of a t of 4 degrees of freedom that is cut off above [1]."""
    s = _sine(z)
    inside = s**3 * (1.0 / 3.0 - 0.4 * s**2 + s**4 / 7.0) + (1.0 / 3.0 - 0.4 + 1.0 / 7.0)
    density = 0.375 * (4.0 / (4.0 + np.clip(z, -1e6, 1e6) ** 2)) ** 2.5
    return np.asarray(75.0 / 16.0 * inside + density**2 / _above(z))


def cut_mean(z: Floats) -> Floats:
    """Return the mean of a t of 4 degrees of freedom, each value above the cut counting as the cut [1]."""
    s = _sine(z)
    return np.asarray(-0.5 * (1.0 - s * s) ** 1.5 + np.clip(z, -1e6, 1e6) * _above(z))
