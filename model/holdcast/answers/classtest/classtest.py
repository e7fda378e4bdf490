"""The class test: whether a pull sets and holds 2 or 4 times what a stockless anchor of equal mass does."""

import math

import numpy as np
import xarray as xr

from holdcast.answers.draws.anchors import AnchorDraws, known_anchor
from holdcast.answers.draws.bands import BAND_90, band_of
from holdcast.answers.draws.capacity import log_capacity
from holdcast.answers.draws.draws import Draws, Floats, draws_of
from holdcast.answers.draws.provenance import about, provenance
from holdcast.answers.draws.seabeds import SeabedDraws, known_seabed
from holdcast.answers.draws.setting import chance_of_setting
from holdcast.answers.sizes.one_shape import any_size_of_design, log_capacity_at
from holdcast.capacity import Fit
from holdcast.physics.ground.strength_index import REFERENCE_STRENGTH_KPA
from holdcast.physics.tackle.class_comparison import BOTTOMS, HOLDING_RATIO, meets_ratio, rule_bottom

__all__ = ["bottom_of_seabeds", "class_test", "stockless_designs"]


def stockless_designs(fit: Fit) -> list[str]:
    """Return the designs of the campaign's stockless anchors; empty when there is nothing to compare with."""
    anchors = fit.tree["anchors"].to_dataset()
    designs = anchors["design"].to_numpy()[anchors["form"].to_numpy() == "stockless"]
    return [str(design) for design in dict.fromkeys(designs)]


def class_test(fit: Fit, *, seed: int | None = None) -> xr.Dataset:
    """Return the chance that a pull sets and its capacity reaches the ratio that a class asks for.

    Parameters
    ----------
    fit : Fit
    seed : int, optional
        Of the configuration of the scaled stockless anchor; the fit's own by default.

    Returns
    -------
    Dataset, dims (anchor, seabed, kind, quantile) and bottom
        ``ratio`` (anchor, seabed, quantile): capacity over that of a stockless anchor of equal mass, scaled
        by the fit, of pulls that set; ``reaches`` (anchor, seabed, kind): chance that the anchor sets and
        the ratio is at least 2 (``hhp``), 4 (``shhp``); ``reaches_bottom`` (anchor, bottom, kind): the same
        for the mean chance of setting and the geometric mean of the ratio over the bottom's seabeds, NaN
        where the campaign has no such bottom; ``reaches_all`` (anchor, kind): in all three bottoms, a pull
        in each, NaN where one is missing; ``bottom_of_seabed`` is blank where the rule knows none.

    Raises
    ------
    ValueError
        When the campaign has no stockless anchor.

    Notes
    -----
    Several stockless designs count by the geometric mean of their capacities, and as having set: the rule
    compares with what an ordinary anchor holds.  No class is awarded: that takes a society that attends the
    test, see :mod:`holdcast.physics.tackle.class_comparison`.
    """
    references = stockless_designs(fit)
    if not references:
        raise ValueError("the campaign has no stockless anchor, so there is nothing to compare with")
    draws = draws_of(fit, seed)
    compared = draws.anchors.index[draws.anchors["form"] != "stockless"]
    anchors, places = [str(label) for label in compared], draws.labels("seabed")
    members = [known_anchor(draws, label) for label in anchors]
    ordinary = [any_size_of_design(draws, design) for design in references]
    seabeds = [known_seabed(draws, place) for place in places]
    logs = np.stack([_log_ratios(draws, members, seabed, ordinary) for seabed in seabeds], axis=1)
    bottoms = bottom_of_seabeds(draws)
    kinds = list(HOLDING_RATIO)
    sets = np.stack([_chances(draws, members, seabed) for seabed in seabeds], axis=1)
    one = np.ones(1)
    reaches = np.stack(
        [(sets * meets_ratio(np.exp(logs), one, kind)).mean(axis=-1) for kind in kinds], axis=-1
    )
    bands = band_of(np.exp(logs), BAND_90)
    by_bottom, together = _by_bottom(logs, sets, bottoms, kinds)
    return xr.Dataset(
        {
            "ratio": (("anchor", "seabed", "quantile"), bands, about("1", "capacity over the stockless")),
            "reaches": (("anchor", "seabed", "kind"), reaches, about("1", "chance of the ratio")),
            "reaches_bottom": (("anchor", "bottom", "kind"), by_bottom, about("1", "chance on a bottom")),
            "reaches_all": (("anchor", "kind"), together, about("1", "chance of the ratio on all bottoms")),
            "needed": ("kind", list(HOLDING_RATIO.values()), about("1", "least ratio")),
        },
        coords={
            **{"anchor": anchors, "seabed": places, "kind": kinds, "bottom": list(BOTTOMS)},
            **{"quantile": list(BAND_90), "bottom_of_seabed": ("seabed", bottoms)},
            "form": ("anchor", draws.anchors.loc[anchors, "form"].to_numpy(dtype=str)),
            "mass_kg": ("anchor", draws.anchors.loc[anchors, "mass_kg"].to_numpy(dtype=float)),
        },
        attrs=provenance(fit, draws.seed) | {"references": ", ".join(references)},
    )


def bottom_of_seabeds(draws: Draws) -> list[str]:
    """Return which of the rule's bottoms each seabed stands for; blank for none, or a strength not known."""
    bottoms = []
    for label, row in draws.seabeds.iterrows():
        known_strength = str(row["strength"]) != "" or not math.isnan(float(row["undrained_strength_kpa"]))
        index = float(draws.inputs["strength_index"].sel(seabed=label))
        strength = REFERENCE_STRENGTH_KPA * math.exp(index) if known_strength else math.nan
        bottoms.append(rule_bottom(str(row["soil"]), strength))
    return bottoms


def _log_ratios(
    draws: Draws, anchors: list[AnchorDraws], seabed: SeabedDraws, references: list[AnchorDraws]
) -> Floats:
    """Return draws of the log ratio of each anchor in one seabed, shape (anchor, sample)."""
    mass = np.array([anchor.mass_kg for anchor in anchors])
    ordinary = [log_capacity_at(draws, shape, seabed, mass) for shape in references]
    mine = np.stack([log_capacity(draws, anchor, seabed) for anchor in anchors])
    return np.asarray(mine - np.mean(ordinary, axis=0), dtype=float)


def _chances(draws: Draws, anchors: list[AnchorDraws], seabed: SeabedDraws) -> Floats:
    """Return draws of the chance that each anchor sets in one seabed, shape (anchor, sample)."""
    return np.stack([chance_of_setting(draws, anchor, seabed) for anchor in anchors])


def _by_bottom(logs: Floats, sets: Floats, bottoms: list[str], kinds: list[str]) -> tuple[Floats, Floats]:
    """Return chances by bottom (anchor, bottom, kind) and on all bottoms at once (anchor, kind)."""
    one, count = np.ones(1), len(logs)
    chances = np.full((count, len(BOTTOMS), len(kinds)), np.nan)
    together = np.full((count, len(kinds)), np.nan)
    for k, kind in enumerate(kinds):
        met = []
        for b, bottom in enumerate(BOTTOMS):
            here = [place for place, each in enumerate(bottoms) if each == bottom]
            if here:
                reached = meets_ratio(np.exp(logs[:, here].mean(axis=1)), one, kind)
                met.append(sets[:, here].mean(axis=1) * reached)
                chances[:, b, k] = met[-1].mean(axis=-1)
        if len(met) == len(BOTTOMS):
            together[:, k] = np.prod(met, axis=0).mean(axis=-1)
    return chances, together
