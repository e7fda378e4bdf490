"""Doubts about the gear: pulls that loaded a link of the rode beyond its working load."""

import numpy as np
import pandas as pd

from holdcast.campaign.records import Campaign, Finding
from holdcast.physics.errors import PhysicsError
from holdcast.physics.tackle.rode_row import links_of
from holdcast.physics.tackle.strength import Link, goes_together, overload, pin_fit

__all__ = ["gear_doubts"]

_LISTED_TRIALS = 6


def gear_doubts(campaign: Campaign) -> tuple[Finding, ...]:
    """Return a doubt for each rode a test loaded beyond a link's working load, or whose sizes are not known.

    Every row of the log counts, excluded or not: the rode was loaded all the same.
    """
    doubts: list[Finding] = []
    highest = _highest_load(campaign.trials)
    for rode, row in campaign.rodes.iterrows():
        loads = highest[(campaign.trials["rode"] == rode).to_numpy()].dropna()
        try:
            links = links_of(row.to_dict())
        except PhysicsError as error:
            doubts.append(
                _doubt(f"rode {rode}", str(error), "correct the size or grade in rodes.csv", "rodes.csv")
            )
            continue
        if sentence := _pin(row):
            doubts.append(
                _doubt(f"rode {rode}", sentence, "use a shackle whose pin passes the chain", "rodes.csv")
            )
        beyond = loads[loads > min((link.working_n for link in links), default=np.inf)]
        if len(beyond):
            doubts.append(_overloaded(str(rode), beyond, links))
    return tuple(doubts)


def _pin(row: pd.Series) -> str:
    """Return a sentence when the shackle's pin does not pass the chain, else blank."""
    grade = "" if pd.isna(row["grade"]) else str(row["grade"])
    chain, shackle = float(row["chain_mm"]), float(row["shackle_in"])
    if not grade or np.isnan(chain) or np.isnan(shackle):
        return ""
    return goes_together(shackle, grade, chain) if pin_fit(shackle, chain) == "does not fit" else ""


def _overloaded(rode: str, beyond: pd.Series, links: tuple[Link, ...]) -> Finding:
    listed = ", ".join(map(str, beyond.index[:_LISTED_TRIALS]))
    more = f" and {len(beyond) - _LISTED_TRIALS} more" if len(beyond) > _LISTED_TRIALS else ""
    return _doubt(
        f"rode {rode}, trials {listed}{more}: up to {beyond.max():.0f} N",
        f"a working load is not a breaking load, but a link that fails under load maims. "
        f"{overload(float(beyond.max()), links)}",
        "inspect and replace the links; use stronger gear or lower loads, and keep people clear of the rode",
        "trials.csv",
    )


def _highest_load(trials: pd.DataFrame) -> pd.Series:
    released = trials["released_n"].where(np.isfinite(trials["released_n"]), 0.0)
    return pd.concat([trials["held_n"], released], axis=1).max(axis=1)


def _doubt(found: str, allowed: str, fix: str, file: str) -> Finding:
    return Finding("doubt", file, None, "rode", found, allowed, fix)
