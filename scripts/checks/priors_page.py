"""Write docs/priors.md: the table of priors, and what it says of holding efficiencies before any data.

Run as ``python scripts/checks/priors_page.py``; a test fails when the page is not what this makes.
"""

import csv
import tempfile
from pathlib import Path

import numpy as np
import xarray as xr

from holdcast.campaign import read_campaign
from holdcast.capacity.inputs.layout import lay_out
from holdcast.capacity.model.build import build_model
from holdcast.capacity.model.priors import default_priors, priors_table, with_overrides
from holdcast.capacity.tree import prior_group

PAGE = Path(__file__).resolve().parents[2] / "docs" / "priors.md"
SEED = 1
FORMS = ("twin_fluke", "scoop", "plough", "claw", "stock", "grapnel", "stockless", "other")
SEABEDS = (
    ("clay", "very_low"), ("clay", "medium"), ("clay", "very_high"), ("silt", "low"), ("silt", ""),
    ("sand", "very_loose"), ("sand", "medium_dense"), ("sand", "very_dense"), ("gravel", "dense"),
    ("cobble", ""), ("rock", ""),
)  # fmt: skip
MASS_KG, GRAVITY = 10.0, 9.80665

HEAD = """# The priors

What the model holds to be likely before it sees a pull. `scripts/checks/priors_page.py` writes this page
from the table in `model/holdcast/capacity/model/prior_table.py`; [model.md](model.md) gives the equations
in which each name stands.

A log-normal prior is given by its median and the standard deviation of its log; a beta prior lies between
`low` and `high` with shapes `a` and `b`; a Dirichlet prior by the weights of its parts. Effects are on log
capacity: 0.1 is about 10%. "Value from memory" means that the source was not read again; "a choice" that no
source is known.

Any parameter can be changed in `campaign.toml`, by name:

```toml
[priors]
visit_spread = { median = 0.25 }
size_exponent = { mean = 0.9, sd = 0.05 }
```

An unknown name or parameter stops the reading and names the nearest known one. The priors used are saved
with the results.

"""

EFFICIENCIES = """
## What they say of a 10 kg anchor before any data

The trade has seen holding efficiencies (capacity over weight) of about 1 to 150 over all ground and all
designs (common practice, no source). The check: {draws} draws from the prior, one 10 kg anchor of each of
the {forms} forms with nothing else measured, in each of the seabeds below. Over all of them **90% lie
between {low} and {high}**, with the middle at {middle}.

| seabed | 5% | 50% | 95% |
|---|---|---|---|
{rows}

These are wide on purpose: a campaign's own pulls narrow them. The middle of each seabed is a statement of
the priors, not of any anchor.
"""


def prior_efficiencies() -> xr.DataArray:
    """Return draws of holding efficiencies from the prior, dims (chain, draw, anchor, seabed)."""
    names = [f"{soil}, {strength.replace('_', ' ') or 'class not known'}" for soil, strength in SEABEDS]
    tables = {
        "anchors": [("anchor", "form", "mass_kg"), *((form, form, MASS_KG) for form in FORMS)],
        "seabeds": [
            ("seabed", "soil", "strength"),
            *((name, *pair) for name, pair in zip(names, SEABEDS, strict=True)),
        ],
        "trials": [
            ("trial", "anchor", "seabed", "test", "date", "held_n", "released_n"),
            ("1", FORMS[0], names[0], "pull", "2024-05-01", 1000, 1100),
        ],
    }
    with tempfile.TemporaryDirectory() as folder:
        for name, rows in tables.items():
            with (Path(folder) / f"{name}.csv").open("w", encoding="utf-8", newline="") as stream:
                csv.writer(stream).writerows(rows)
        inputs = lay_out(read_campaign(folder))
    prior = prior_group(build_model(inputs, with_overrides({})), inputs, SEED)
    return np.exp(prior["log_capacity"]) / (MASS_KG * GRAVITY)


def page() -> str:
    """Return the text of docs/priors.md."""
    table = priors_table(default_priors())
    lines = ["| name | distribution | for each | unit | reason | source |", "|---|---|---|---|---|---|"]
    for row in table.itertuples():
        distribution = f"{row.distribution} ({row.parameters})"
        lines.append(
            f"| `{row.name}` | {distribution} | {row.dims} | {row.unit} | {row.reason} | {row.source} |"
        )
    return HEAD + "\n".join(lines) + "\n" + _efficiencies()


def _efficiencies() -> str:
    drawn = prior_efficiencies()
    low, middle, high = np.quantile(drawn, [0.05, 0.5, 0.95])
    by_seabed = drawn.quantile([0.05, 0.5, 0.95], ("chain", "draw", "anchor"))
    rows = [
        "| " + " | ".join([str(seabed), *map(_short, by_seabed.sel(seabed=seabed).to_numpy())]) + " |"
        for seabed in drawn["seabed"].to_numpy()
    ]
    return EFFICIENCIES.format(
        draws=drawn.sizes["draw"],
        forms=drawn.sizes["anchor"],
        low=_short(low),
        middle=_short(middle),
        high=_short(high),
        rows="\n".join(rows),
    )


def _short(value: float) -> str:
    return f"{float(f'{value:.2g}'):g}"


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
