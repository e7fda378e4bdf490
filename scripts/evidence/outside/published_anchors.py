"""A handbook's curves of drag anchors, carried to 10 kg, against what the priors expect of such anchors.

    PYTHONPATH=scripts/evidence python -m outside.published_anchors --out docs/outside_anchors.md

Nothing is fitted: draws from the model's prior say what a 10 kg anchor of a form holds in a class of ground,
tip load and area unknown, and the page says where in that band each published curve lies.  Ratios of two
curves in one ground are held against the same draws.
"""

import argparse
import sys
import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from holdcast.campaign import read_campaign
from holdcast.capacity.inputs.layout import lay_out
from holdcast.capacity.model.build import build_model
from holdcast.capacity.model.prior_draws import draw_prior
from holdcast.capacity.model.priors import with_overrides
from pages.version import version_line
from pages.worlds_table import markdown_table
from pages.written import write_or_print

__all__ = ["CURVES", "GROUNDS", "Curve", "at_mass", "compare_loads", "compare_ratios", "prior_loads"]

DRAWS, SEED = 4000, 20_261_130
MASS_KG, REFERENCE_KG = 10.0, 4535.92
KIP_N = 4448.2216


class Curve(NamedTuple):
    """One row of the handbook: holding of 10,000 lbf of anchor [kips] and exponent, soft and hard ground."""

    name: str
    form: str
    soft: tuple[float, float] | None
    hard: tuple[float, float]


CURVES = (
    Curve("twin fluke, stock at the crown", "twin_fluke", (87, 0.92), (126, 0.80)),
    Curve("twin fluke, high efficiency", "twin_fluke", (210, 0.94), (270, 0.94)),
    Curve("stockless, fixed flukes", "stockless", (46, 0.92), (70, 0.80)),
    Curve("stockless, movable flukes", "stockless", (24, 0.92), (70, 0.80)),
    Curve("stockless, flukes at 48°", "stockless", None, (44, 0.80)),
)
"""UFC 4-159-03 (2005) eq. 26 (read), tables 5-3 and 5-4 (values from memory); the lower value of hard ground
goes with the fluke angle of 48°.  The curves are of anchors of some 90 kg up."""
GROUNDS = (
    ("clay, extremely low", "clay", "extremely_low", "soft"),
    ("clay, very low", "clay", "very_low", "soft"),
    ("silt, very low", "silt", "very_low", "soft"),
    ("sand, medium dense", "sand", "medium_dense", "hard"),
    ("sand, dense", "sand", "dense", "hard"),
    ("clay, high", "clay", "high", "hard"),
)
"""The handbook's soft soils are clays and silts whose strength grows from nil by 1.9 kPa a metre, its hard
ones sands and stiff clays (read)."""


def at_mass(curve: Curve, side: str, mass_kg: float = MASS_KG) -> float:
    """Return what a curve says of an anchor of this mass [N] on its soft or hard side; NaN without one."""
    kips, exponent = (curve.soft or (np.nan, np.nan)) if side == "soft" else curve.hard
    return kips * KIP_N * (mass_kg / REFERENCE_KG) ** exponent


def prior_loads(draws: int = DRAWS) -> xr.DataArray:
    """Return draws of log capacity [log N], dims (draw, anchor, seabed): an anchor for each curve."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        anchors = [f"{curve.name.replace(',', '')},{curve.form},{MASS_KG}" for curve in CURVES]
        seabeds = [f"{label.replace(',', '')},{soil},{strength}" for label, soil, strength, _ in GROUNDS]
        first = anchors[0].split(",")[0], seabeds[0].split(",")[0]
        files = {
            "anchors": ["anchor,form,mass_kg", *anchors],
            "seabeds": ["seabed,soil,strength", *seabeds],
            "trials": [
                "trial,anchor,seabed,test,held_n,released_n",
                f"1,{first[0]},{first[1]},pull,900,1000",
            ],
        }
        for file, lines in files.items():
            (folder / f"{file}.csv").write_text("\n".join([*lines, ""]), encoding="utf-8")
        inputs = lay_out(read_campaign(folder))
    drawn = draw_prior(build_model(inputs, with_overrides({})), seed=SEED, draws=draws)
    return drawn["log_capacity"].isel(chain=0)


def compare_loads(drawn: xr.DataArray) -> list[dict[str, Any]]:
    """Return a row for each curve and ground: its load [N], the prior's band, and the share of it below."""
    rows = []
    for at, curve in enumerate(CURVES):
        for place, (ground, _, _, side) in enumerate(GROUNDS):
            load = at_mass(curve, side)
            rows.append(
                {"curve": curve.name, "ground": ground, "load": load}
                | _placed(load, drawn.isel(anchor=at, seabed=place).to_numpy())
            )
    return [row for row in rows if np.isfinite(row["load"])]


def compare_ratios(drawn: xr.DataArray) -> list[dict[str, Any]]:
    """Return a row for each two curves of different form, in one soft and one hard ground."""
    rows = []
    for place, (ground, _, _, side) in enumerate(GROUNDS):
        if ground not in ("clay, very low", "sand, medium dense"):
            continue
        for one, upper in enumerate(CURVES):
            for two, lower in enumerate(CURVES):
                if upper.form == "twin_fluke" and lower.form == "stockless":
                    ratio = at_mass(upper, side) / at_mass(lower, side)
                    both = drawn.isel(anchor=one, seabed=place) - drawn.isel(anchor=two, seabed=place)
                    name = f"{upper.name} over {lower.name}"
                    rows.append(
                        {"curve": name, "ground": ground, "load": ratio} | _placed(ratio, both.to_numpy())
                    )
    return [row for row in rows if np.isfinite(row["load"])]


def _placed(value: float, logs: NDArray[np.float64]) -> dict[str, float]:
    low, middle, high = np.exp(np.quantile(logs, (0.05, 0.5, 0.95)))
    return {"low": low, "middle": middle, "high": high, "below": float((logs < np.log(value)).mean())}


def page(loads: Sequence[Mapping[str, Any]], ratios: Sequence[Mapping[str, Any]]) -> str:
    """Return both comparisons as a page."""
    outside = [row for row in (*loads, *ratios) if not 0.05 <= row["below"] <= 0.95]
    named = "; ".join(f"{row['curve']} in {row['ground']}" for row in outside)
    verdict = (
        f"Outside of the 90% band: {named}." if outside else "All of them lie inside the prior's 90% band."
    )
    return f"""# Published anchors against the priors

Made by `PYTHONPATH=scripts/evidence python -m outside.published_anchors --out docs/outside_anchors.md`. A handbook's curves of
drag anchors (UFC 4-159-03, eq. 26 read, parameters from memory) carried to {MASS_KG:g} kg, against {DRAWS:,} draws from the
model's prior: an anchor of that form and mass, nothing else measured. *Share below* is the share of the prior below the
published load: 5% to 95% is inside the band. {verdict}

{_table(loads, "handbook, N", "{:,.0f}")}

Ratios of two forms of one mass in one ground, from the same draws:

{_table(ratios, "handbook", "{:.1f}")}

{version_line()}
"""  # noqa: E501


def _table(rows: Sequence[Mapping[str, Any]], head: str, form: str) -> str:
    """Return rows as a Markdown table."""
    lines = [
        [
            row["curve"], row["ground"], form.format(row["load"]),
            f"{form.format(row['low'])} to {form.format(row['high'])}", form.format(row["middle"]),
            f"{row['below']:.0%}",
        ]
        for row in rows
    ]  # fmt: skip
    return markdown_table(["published", "ground", head, "prior, 90%", "middle", "share below"], lines)


def main() -> int:
    """Draw, compare, write."""
    shown = argparse.RawDescriptionHelpFormatter
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=shown)
    parser.add_argument("--out", type=Path, help="write the tables to this page (Markdown)")
    asked = parser.parse_args()
    drawn = prior_loads()
    text = page(compare_loads(drawn), compare_ratios(drawn))
    write_or_print(text, asked.out)
    return 0


if __name__ == "__main__":
    sys.exit(main())
