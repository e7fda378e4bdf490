"""How long tests take: travel once a visit, setting up once an anchor on the visit, and each pull."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from holdcast.answers.draws.draws import Draws, Floats

__all__ = ["EVERYWHERE", "HOURS", "Hours", "HoursGiven", "hours_of"]

HOURS = {"travel_h": "travel", "setup_h": "setting up", "pull_h": "one pull"}
"""Columns of seabeds.csv in hours."""
EVERYWHERE = ""
"""In place of a seabed's name: every seabed whose own hours are blank."""
type HoursGiven = Mapping[str, Mapping[str, float]]
"""Hours from beside the log: column of `HOURS` to seabed (or `EVERYWHERE`) to hours."""


@dataclass(frozen=True)
class Hours:
    """Hours by seabed, arrays of shape (seabed,).

    Attributes
    ----------
    travel : there and back, once a visit [h].
    setup : once for each anchor on the visit [h].
    pull : for each pull [h].
    """

    travel: Floats
    setup: Floats
    pull: Floats


def hours_of(draws: Draws, visited: list[str], own_hours: HoursGiven) -> Hours:
    """Return the hours of each seabed: those given, else those of seabeds.csv.

    Parameters
    ----------
    draws : Draws
    visited : list of str
        Seabeds that may be visited; only theirs must be known.
    own_hours : HoursGiven
        A seabed's own number replaces that of the log; the number for everywhere fills blank ones.

    Returns
    -------
    Hours
        In the posterior's order of seabeds; NaN where none is known of a seabed that is not visited.

    Raises
    ------
    KeyError
        When hours are given for a seabed that is not known.
    ValueError
        When some are blank, all of them named, or one given is below 0.
    """
    seabeds, columns = draws.labels("seabed"), {}
    for column in HOURS:
        own = dict(own_hours.get(column, {}))
        everywhere = own.pop(EVERYWHERE, np.nan)
        draws.labels("seabed", list(own))
        _not_negative(column, {**own, "every seabed": everywhere})
        columns[column] = _logged(draws, column).fillna(everywhere)
        columns[column].update(pd.Series(own, dtype=float))
    blank = {
        column: [seabed for seabed in visited if np.isnan(hours[seabed])] for column, hours in columns.items()
    }
    if any(blank.values()):
        raise ValueError(_asking_for(blank))
    return Hours(*(columns[column].reindex(seabeds).to_numpy(dtype=float) for column in HOURS))


def _logged(draws: Draws, column: str) -> pd.Series:
    seabeds = draws.labels("seabed")
    if column not in draws.seabeds:
        return pd.Series(np.nan, index=seabeds)
    return draws.seabeds[column].astype(float).reindex(seabeds)


def _not_negative(column: str, hours: Mapping[str, float]) -> None:
    wrong = [
        f"{hour:g} for {seabed}" for seabed, hour in hours.items() if not (hour >= 0.0 or np.isnan(hour))
    ]
    wrong += [f"inf for {seabed}" for seabed, hour in hours.items() if hour == np.inf]
    if wrong:
        raise ValueError(f"{column} must be a number of hours, 0 or more; got {', '.join(wrong)}")


def _asking_for(blank: Mapping[str, list[str]]) -> str:
    """Say which hours are missing, and how to give each."""
    lines = []
    for column, seabeds in blank.items():
        if seabeds:
            option = f"--{column.replace('_', '-')}"
            named = ", ".join(repr(seabed) for seabed in seabeds)
            lines.append(
                f"  {column} ({HOURS[column]}) is blank for {named}: "
                f'{option} "{seabeds[0]}=0.5" for one seabed, {option} 0.5 for every blank one'
            )
    return "\n".join(
        [
            "the log does not say how long a test takes, and a plan must not guess:",
            *lines,
            "Or fill in seabeds.csv and fit again, or leave a seabed out with --without.",
        ]
    )
