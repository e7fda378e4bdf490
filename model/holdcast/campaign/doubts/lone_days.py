"""A doubt about logs in which no two anchors were pulled on one day."""

import numpy as np
import pandas as pd

from holdcast.campaign.checks.collected import Findings
from holdcast.campaign.doubts.sheet_masks import has_word
from holdcast.campaign.files.sheets import Sheet

__all__ = ["add_lone_day_doubt"]

FEWEST_ANCHORS, FEWEST_DAYS = 3, 4
"""Below which a log says too little for the doubt to help (a choice)."""


def add_lone_day_doubt(trials: Sheet, findings: Findings) -> None:
    """Doubt, once, a log whose every visit saw one anchor only.

    A day then moves an anchor's loads as the ground itself would, and nothing but the prior spread of days
    tells the two apart.
    """
    counts = has_word(trials, "test", "pull") & has_word(trials, "exclude", "")
    counts &= trials.sound("anchor", "seabed", "test", "exclude", "visit", "date")
    pulls = trials.frame[counts]
    day = pulls["date"].dt.strftime("%Y-%m-%d").fillna("").astype("str")
    visit = pulls["visit"].where(pulls["visit"] != "", day)
    pulls = pd.DataFrame({"anchor": pulls["anchor"], "visit": pulls["seabed"] + " / " + visit})[visit != ""]
    anchors_on = pulls.groupby("visit")["anchor"].nunique().to_numpy()
    if pulls["anchor"].nunique() < FEWEST_ANCHORS or len(anchors_on) < FEWEST_DAYS or np.any(anchors_on > 1):
        return
    fix = (
        "A good day and a good anchor then look alike: bands are wider than shared days would make "
        "them, and a fit may need several attempts. Take two or three anchors along, one of them each time."
    )
    found = f"{len(anchors_on)} visits of one anchor each"
    findings.doubt(trials.file, found, "visits on which two anchors were pulled", fix, column="visit")
