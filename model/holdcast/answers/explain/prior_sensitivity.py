"""How much one cell leans on the priors: power-scaling, without refitting.

Each group of priors is raised to a power near one by importance weights, and the change of the cell's
distribution is measured (cumulative Jensen-Shannon distance): Kallioinen, Paananen, Bürkner & Vehtari 2023,
*Stat. Comput.* 34:57 (value from memory), as computed by ArviZ.
"""

from collections.abc import Mapping

import numpy as np
import xarray as xr
from arviz_stats import psense

from holdcast.answers.explain.influence import cell_draws
from holdcast.capacity.fitting import Fit
from holdcast.capacity.log_prior import log_prior

__all__ = ["GROUPS", "SENSITIVE", "prior_sensitivity"]

SENSITIVE = 0.05
"""From here on a cell counts as sensitive (Kallioinen et al. 2023, value from memory)."""
GROUPS: Mapping[str, tuple[str, ...]] = {
    "ground": ("ground_typical", "ground_soil", "ground_strength_slope", "ground_spread"),
    "size and area": ("size_exponent", "size_exponent_deviation", "area_exponent"),
    "penetration": (
        "resistance_typical",
        "resistance_strength_slope",
        "resistance_soil",
        "resistance_deviation",
        "cover_resistance",
        "penetration_steepness",
        "tip_growth",
    ),
    "forms": ("form_spread", "form_seabed_spread"),
    "features": ("feature_typical", "feature_seabed_spread"),
    "designs": ("design_spread", "design_share"),
    "visits and scatter": ("visit_spread", "pull_scatter_typical"),
    "angle": ("strength_of_fall",),
}
"""Priors that are scaled together.  Effects given their spread are not: their prior is learnt."""


def prior_sensitivity(fit: Fit, anchor: str, seabed: str) -> xr.Dataset:
    """Return how sensitive one cell is to each group of priors and to the likelihood.

    Returns
    -------
    Dataset, dim group
        ``prior`` (group) [1]: sensitivity to the group's priors; the last group is "all of these".
        ``likelihood``: sensitivity to all pulls together, one number.  ``dominates`` (group): the prior
        counts (`SENSITIVE` or more) and the pulls do not.  ``conflict`` (group): both count, so prior and
        pulls may pull apart.

    Raises
    ------
    KeyError
        When the anchor or the seabed is not known.
    """
    cell_draws(fit, anchor, seabed)
    likelihoods = fit.tree["log_likelihood"].to_dataset()
    posterior = fit.posterior.sel(draw=likelihoods["draw"])
    densities = log_prior(str(fit.tree.attrs["priors"]), posterior)
    tree = xr.DataTree.from_dict(
        {
            "posterior": xr.Dataset(
                {"cell": posterior["log_capacity"].sel(anchor=anchor, seabed=seabed, drop=True)}
            ),
            "log_prior": densities,
            "log_likelihood": likelihoods[["log_load"]],
        }
    )
    groups = {name: [str(v) for v in names if v in densities] for name, names in GROUPS.items()}
    groups = {name: names for name, names in groups.items() if names}
    groups["all of these"] = [name for names in groups.values() for name in names]
    prior = [
        float(psense(tree, var_names=["cell"], group="prior", group_var_names=names)["cell"])
        for names in groups.values()
    ]
    likelihood = float(psense(tree, var_names=["cell"], group="likelihood")["cell"])
    counts = np.array(prior) >= SENSITIVE
    return xr.Dataset(
        {
            "prior": ("group", prior, {"units": "1", "long_name": "power-scaling sensitivity to the prior"}),
            "likelihood": (
                (),
                likelihood,
                {"units": "1", "long_name": "power-scaling sensitivity to the pulls"},
            ),
            "dominates": ("group", counts & (likelihood < SENSITIVE)),
            "conflict": ("group", counts & (likelihood >= SENSITIVE)),
        },
        coords={"group": list(groups)},
    )
