"""What reading a campaign gives: the campaign itself, or every fault found in it."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from holdcast.findings import CampaignError, Finding

__all__ = ["Campaign", "CampaignError", "Finding"]


@dataclass(frozen=True)
class Campaign:
    """Everything a tester logged, checked, in SI units.

    Parameters
    ----------
    source : Path
        The folder it was read from.
    digest : str
        SHA-256 over the names and bytes of the input files.
    title, author, licence : str
        As the tester wrote them; empty when not given.
    units : {"si", "us"}
        Units for the screen only; every number here is SI.
    anchors : DataFrame, index "anchor"
        One row a configuration: design, form, mass_kg, tip_load_kg [kg], fluke_area_m2, fluke_angle_deg,
        shank_length_m, shackle_in, source, measured_by, each ``flag_NAME`` as bool. NaN: not measured.
    seabeds : DataFrame, index "seabed"
        soil, secondary, strength, strength_scheme, strength_basis, undrained_strength_kpa,
        friction_angle_deg, cover, site, travel_h, setup_h, pull_h. A measured strength stands beside the
        class; the measured one counts.
    trials : DataFrame, index "trial"
        Every row of the file in its order, excluded ones too; ``status`` is ``used``, ``excluded`` or
        ``not used yet``. held_n is 0 when it never held; released_n is inf when it was not seen to move;
        veer_held_deg is NaN when it held through the whole angle.
    rodes : DataFrame, index "rode"
        chain_kg_per_m, chain_length_m, grade, chain_mm, shackle_in.
    instruments : DataFrame, index "instrument"
        calibrated, error_pct.
    boat : mapping
        ``bow_height_m`` [m] when given.
    thresholds : mapping
        ``efficiency`` [1] when given.
    priors : mapping
        Tables by the prior's name, as written; checked where priors are known.
    weights : mapping
        Weight of a seabed [1], for an overall ranking; empty when not given.
    doubts : tuple of Finding
        What a person should look at.
    """

    source: Path
    digest: str
    title: str
    author: str
    licence: str
    units: str
    anchors: pd.DataFrame
    seabeds: pd.DataFrame
    trials: pd.DataFrame
    rodes: pd.DataFrame
    instruments: pd.DataFrame
    boat: Mapping[str, float]
    thresholds: Mapping[str, float]
    priors: Mapping[str, Mapping[str, object]]
    weights: Mapping[str, float]
    doubts: tuple[Finding, ...]
