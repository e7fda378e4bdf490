"""Seabeds: soils and strength words, by the scheme that the words come from."""

import numpy as np
import pandas as pd

from holdcast.campaign.columns import FINE_SOILS, STRENGTH_WORDS
from holdcast.campaign.findings import Findings, nearest
from holdcast.campaign.labels import check_unique
from holdcast.campaign.sheets import Sheet

__all__ = ["check_seabeds", "seabed_frame"]


def check_seabeds(sheet: Sheet, findings: Findings) -> None:
    """Add a fault for each strength word that its soil or scheme does not have."""
    check_unique(sheet, "seabed", findings)
    strengths = _strength_words(sheet.frame)
    words = [
        STRENGTH_WORDS[scheme][0 if soil in FINE_SOILS else 1]
        for scheme, soil in zip(sheet.frame["strength_scheme"], sheet.frame["soil"], strict=True)
    ]
    bad = np.array([bool(s) and s not in w for s, w in zip(strengths, words, strict=True)], dtype=bool)
    if not bad.any():
        return
    for place in np.flatnonzero(bad & sheet.sound("soil", "strength_scheme", "strength")).tolist():
        one = np.zeros(len(bad), dtype=bool)
        one[place] = True
        scheme, soil = sheet.frame["strength_scheme"].iloc[place], sheet.frame["soil"].iloc[place]
        allowed = f"{', '.join(words[place])} ({soil}, {scheme})"
        fix = _fix(strengths[place], words[place], soil)
        sheet.report(findings, one, "strength", allowed=allowed, fix=fix)


def _strength_words(frame: pd.DataFrame) -> list[str]:
    return [text.casefold() for text in frame["strength"]]


def _fix(word: str, allowed: tuple[str, ...], soil: str) -> str:
    schemes = [
        scheme for scheme, pair in STRENGTH_WORDS.items() if word in pair[0 if soil in FINE_SOILS else 1]
    ]
    if schemes:
        return f"The word belongs to the scheme {' or '.join(schemes)}: name it in strength_scheme."
    other = [word for pair in STRENGTH_WORDS.values() for word in pair[1 if soil in FINE_SOILS else 0]]
    if word in other:
        return f"That word is not used for {soil}: check the soil, or choose one of the allowed words."
    likely = nearest(word.replace(" ", "_"), allowed)
    return f"Did you mean {likely}?" if likely else "Write one of the allowed words, or leave it blank."


def seabed_frame(sheet: Sheet) -> pd.DataFrame:
    """Return the seabeds by label, strength words in small letters."""
    frame = sheet.frame.copy()
    frame["strength"] = pd.Series(_strength_words(frame), index=frame.index, dtype="str")
    return frame.set_index("seabed")
