"""Files of requests changed at random: answered with finite bands, or refused with a fault."""

import csv
import random
from pathlib import Path

import numpy as np

from holdcast.answers.draws.rode import rode_table
from holdcast.answers.predict.predict import predict
from holdcast.campaign.records import CampaignError
from holdcast.campaign.requests import KnownNames, read_requests
from holdcast.capacity.fitting import Fit
from holdcast.capacity.log_tables import log_table
from mutated.nasty import NAMES, mutated_bytes, nasty_text

__all__ = ["mutated_requests", "requests"]

_HEAD = ["request", "anchor", "seabed", "mass_kg", "form", "design", "soil", "strength", "scope", "depth_m"]


def mutated_requests(path: Path, fit: Fit, seed: int) -> Path:
    """Write a changed file of requests for a fit and return it."""
    chance = random.Random(seed)
    anchors, seabeds = (list(map(str, fit.inputs[dim].to_numpy())) for dim in ("anchor", "seabed"))
    rows = [list(_HEAD)]
    for number in range(chance.randrange(1, 5)):
        good = [
            f"r{number}",
            chance.choice(anchors),
            chance.choice(seabeds),
            "",
            "",
            "",
            "",
            "",
            "5",
            "4",
        ]
        new = [f"n{number}", "", "", "12", "scoop", "", "clay", "low", "", ""]
        rows.append(chance.choice((good, new)))
    for _ in range(chance.randrange(0, 4)):
        row = chance.choice(rows)
        row[chance.randrange(len(row))] = chance.choice((nasty_text(chance), chance.choice(NAMES)))
    with path.open("w", encoding="utf-8", errors="surrogatepass", newline="") as stream:
        csv.writer(stream).writerows(rows)
    if chance.random() < 0.15:
        path.write_bytes(mutated_bytes(path.read_bytes(), chance))
    return path


def requests(work: Path, seed: int, fit: Fit) -> str:
    """Try one changed file of requests; one in ten that is read is answered too."""
    path = mutated_requests(work / "requests.csv", fit, seed)
    anchors, seabeds = (log_table(fit.tree, name) for name in ("anchors", "seabeds"))
    names = KnownNames(anchors, seabeds, list(rode_table(fit).index))
    try:
        rows, _ = read_requests(path, names, skip_bad=bool(seed % 2))
    except CampaignError as error:
        assert any(finding.severity == "fault" for finding in error.findings), "refused without a fault"
        return "refused"
    if seed % 10 == 0:
        try:
            answer = predict(fit, rows)
        except (KeyError, ValueError) as error:  # what the command tells as bad input
            assert str(error), "a refusal without words"
            return "refused"
        assert np.isfinite(answer["capacity_n"]).all(), "a band that is no number"
    return "read"
