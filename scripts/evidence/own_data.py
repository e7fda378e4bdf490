"""Compare own_data with true refits: hide each of ten cells' pulls, fit again, and compare the spreads.

Run as ``python scripts/evidence/own_data.py [CAMPAIGN] [--cells 10] [--out docs/own_data.md]``.
"""

import argparse
from pathlib import Path

import numpy as np

from holdcast.answers.cells.own_data import without_own_pulls
from holdcast.campaign import read_campaign
from holdcast.capacity import fit
from holdcast.capacity.inputs.layout import lay_out
from holdcast.capacity.model.build import build_model
from holdcast.capacity.model.priors import with_overrides
from holdcast.capacity.sampler.compiling import compile_model
from holdcast.capacity.sampler.refitting import hide_pulls, with_new_data
from holdcast.capacity.sampler.sampling import ATTEMPTS, draw_posterior
from holdcast.package_data import path
from pages.version import version_line

Row = tuple[str, str, int, float, float, float, float, float]


def compare(campaign_folder: Path, number: int) -> list[Row]:
    """Return a row a cell: labels, pulls, spreads (all, computed without, refitted without), shares."""
    campaign = read_campaign(campaign_folder)
    inputs = lay_out(campaign)
    model = build_model(inputs, with_overrides(campaign.priors))
    compiled = compile_model(model, own_source=True)
    spreads = without_own_pulls(fit(campaign))
    anchors, seabeds = inputs["anchor_of"].to_numpy(), inputs["seabed_of"].to_numpy()
    cells = sorted(set(zip(anchors.tolist(), seabeds.tolist(), strict=True)))
    places = np.random.default_rng(1).choice(len(cells), size=min(number, len(cells)), replace=False)
    rows = []
    for place in sorted(places.tolist()):
        anchor, seabed = cells[place]
        own = (anchors == anchor) & (seabeds == seabed)
        hidden = hide_pulls(inputs, own)
        raw, _ = draw_posterior(with_new_data(compiled, model, hidden), ATTEMPTS[0], 1)
        capacity = raw["posterior"]["log_capacity"].isel(anchor=anchor, seabed=seabed)
        before = float(spreads["sd_all"][anchor, seabed])
        computed, refitted = float(spreads["sd_without"][anchor, seabed]), float(capacity.std())
        labels = str(inputs["anchor"].to_numpy()[anchor]), str(inputs["seabed"].to_numpy()[seabed])
        row = (*labels, int(own.sum()), before, computed, refitted)
        rows.append((*row, 1.0 - before / computed, max(0.0, 1.0 - before / refitted)))
        print(rows[-1], flush=True)
    return rows


def page(rows: list[Row]) -> str:
    """Return the comparison as a table for the documents."""
    lines = [
        "# own_data against true refits",
        "",
        "Made by `scripts/evidence/own_data.py` on the invented demo campaign: ten tested cells at random,",
        "each fitted again with its own pulls hidden.  Spreads: standard deviations of log capacity.",
        "",
        "| anchor | seabed | pulls | sd, all | without, computed | without, refit | own_data | refit |",
        "|---|---|---|---|---|---|---|---|",
    ]
    lines += [
        f"| {anchor} | {seabed} | {pulls} | " + " | ".join(f"{number:.2f}" for number in numbers) + " |"
        for anchor, seabed, pulls, *numbers in rows
    ]
    difference = np.array([row[6] - row[7] for row in rows])
    lines += [
        "",
        f"Mean difference {difference.mean():+.2f}, largest {np.abs(difference).max():.2f}.",
        "",
        version_line(),
        "",
    ]
    return "\n".join(lines)


def main() -> None:
    """Run the comparison and write its page."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("campaign", nargs="?", type=Path, default=path("demo"))
    parser.add_argument("--cells", type=int, default=10)
    parser.add_argument("--out", type=Path, default=None)
    options = parser.parse_args()
    text = page(compare(options.campaign, options.cells))
    if options.out:
        options.out.write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main()
