"""How much one cell leans on the priors: power-scaling, without refitting.

Each group of priors is raised to a power near one by importance weights, and the change of the cell's
distribution is measured (cumulative Jensen-Shannon distance): Kallioinen, Paananen, Bürkner & Vehtari 2023,
*Stat. Comput.* 34:57 (value from memory), as computed by ArviZ.
"""

import json
from collections.abc import Mapping
from typing import Any

import numpy as np
import xarray as xr
from arviz_stats import psense
from scipy import special, stats

from holdcast.answers.explain.influence import cell_draws
from holdcast.capacity.fitting import Fit
from holdcast.capacity.model.priors import default_priors

__all__ = ["GROUPS", "SENSITIVE", "log_prior", "prior_sensitivity"]

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
    kept = fit.tree["log_likelihood"].to_dataset()
    posterior = fit.posterior.sel(draw=kept["draw"])
    densities = log_prior(fit, posterior)
    tree = xr.DataTree.from_dict(
        {
            "posterior": xr.Dataset(
                {"cell": posterior["log_capacity"].sel(anchor=anchor, seabed=seabed, drop=True)}
            ),
            "log_prior": densities,
            "log_likelihood": kept[["log_load"]],
        }
    )
    asked = {name: [str(v) for v in names if v in densities] for name, names in GROUPS.items()}
    asked = {name: names for name, names in asked.items() if names}
    asked["all of these"] = [name for names in asked.values() for name in names]
    prior = [
        float(psense(tree, var_names=["cell"], group="prior", group_var_names=v)["cell"])
        for v in asked.values()
    ]
    likelihood = float(psense(tree, var_names=["cell"], group="likelihood")["cell"])
    counts = np.array(prior) >= SENSITIVE
    made = xr.Dataset(
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
        coords={"group": list(asked)},
    )
    return made


def log_prior(fit: Fit, posterior: xr.Dataset) -> xr.Dataset:
    """Return the log density of each prior with fixed parameters at each draw, dims (chain, draw), by name.

    Parameters
    ----------
    fit : Fit
        Its attributes tell the parameters that were used.
    posterior : Dataset
        Draws; priors of variables that are not among them are left out.
    """
    used = json.loads(str(fit.tree.attrs["priors"]))
    known = default_priors()
    made = {
        name: _log_density(known[name].distribution, parameters, posterior[name])
        for name, parameters in used.items()
        if name in posterior and name in known
    }
    return xr.Dataset(made)


def _log_density(distribution: str, values: Mapping[str, float], draws: xr.DataArray) -> xr.DataArray:
    """Return the log density summed over all dims but chain and draw."""
    rest = [dim for dim in draws.dims if dim not in ("chain", "draw")]
    if distribution == "dirichlet":
        weights = xr.DataArray(list(values.values()), dims="part", coords={"part": list(values)})
        constant = special.gammaln(float(weights.sum())) - float(special.gammaln(weights).sum())
        return ((weights - 1.0) * np.log(draws)).sum("part") + constant
    frozen: Any
    if distribution == "normal":
        frozen = stats.norm(values["mean"], values["sd"])
    elif distribution == "log-normal":
        frozen = stats.lognorm(values["log_sd"], scale=values["median"])
    else:
        frozen = stats.beta(values["a"], values["b"], loc=values["low"], scale=values["high"] - values["low"])
    return draws.copy(data=frozen.logpdf(draws.to_numpy())).sum(rest)
