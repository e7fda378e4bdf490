"""Seabeds: soils and strength words, by the scheme that the words come from."""

import pandas as pd

from holdcast.campaign.checks.collected import Findings, nearest
from holdcast.campaign.checks.labels import check_unique
from holdcast.campaign.columns.known_columns import FINE_SOILS, STRENGTH_WORDS
from holdcast.campaign.files.sheets import Sheet

__all__ = ["check_seabeds", "seabed_frame"]


def check_seabeds(sheet: Sheet, findings: Findings) -> None:
    """Add a fault for each strength word that its soil or scheme does not have."""
    check_unique(sheet, "seabed", findings)
    strengths = pd.Series(_strength_words(sheet.frame), dtype="str")
    filled = (strengths != "").to_numpy(dtype=bool) & sheet.sound("soil", "strength_scheme", "strength")
    schemes, soils = sheet.frame["strength_scheme"], sheet.frame["soil"]
    for scheme, soil in dict.fromkeys(zip(schemes[filled], soils[filled], strict=True)):
        if not soil:
            continue  # no column soil, a fault already
        words = STRENGTH_WORDS[scheme][_column_of(soil)]
        here = filled & (schemes == scheme).to_numpy(dtype=bool) & (soils == soil).to_numpy(dtype=bool)

        def fix(place: int, soil: str = soil, words: tuple[str, ...] = words) -> str:
            return _fix(strengths.iloc[place], words, soil)

        bad = here & ~strengths.isin(words).to_numpy(dtype=bool)
        allowed = f"{', '.join(words)} ({soil}, {scheme})"
        sheet.report(findings, bad, "strength", allowed=allowed, fix=fix)


def _column_of(soil: str) -> int:
    """Return which of a scheme's two lists of words a soil uses."""
    return 0 if soil in FINE_SOILS else 1


def _strength_words(frame: pd.DataFrame) -> list[str]:
    return [text.casefold() for text in frame["strength"]]


def _fix(word: str, allowed: tuple[str, ...], soil: str) -> str:
    schemes = [scheme for scheme, pair in STRENGTH_WORDS.items() if word in pair[_column_of(soil)]]
    if schemes:
        return f"The word belongs to the scheme {' or '.join(schemes)}: name it in strength_scheme."
    words_of_other_soils = [word for pair in STRENGTH_WORDS.values() for word in pair[1 - _column_of(soil)]]
    if word in words_of_other_soils:
        return f"That word is not used for {soil}: check the soil, or choose one of the allowed words."
    likely = nearest(word.replace(" ", "_"), allowed)
    return f"Did you mean {likely}?" if likely else "Write one of the allowed words, or leave it blank."


def seabed_frame(sheet: Sheet) -> pd.DataFrame:
    """Return the seabeds by label, words of strength and cover in small letters."""
    frame = sheet.frame.copy()
    frame["strength"] = pd.Series(_strength_words(frame), index=frame.index, dtype="str")
    frame["cover"] = pd.Series([text.casefold() for text in frame["cover"]], index=frame.index, dtype="str")
    return frame.set_index("seabed")
