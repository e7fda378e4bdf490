"""The public prediction for what was hidden, from a fit in which the hidden members are absent.

A member without pulls tells a fit nothing: integrated out, the posterior of all others is that of a fit which
never had it.  So its draws are dropped from the refit, and nothing is sampled or compiled again.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import pandas as pd
import xarray as xr

from holdcast.answers.predict.predict import predict
from holdcast.campaign.records import Campaign
from holdcast.capacity.fitting import Fit
from holdcast.capacity.inputs.layout import lay_out
from holdcast.capacity.model.priors import Prior
from holdcast.capacity.tree import assemble, root_attributes
from holdcast.evaluate.refit import Refit
from simulated.holdout_layout import Hidden

__all__ = ["fit_without", "predicted"]

_READ = ("lower", "upper", "kind", "fall_lower", "fall_upper", "fall_slope", "speed", "rode_known")


def fit_without(
    refitted: Refit,
    campaign: Campaign,
    seen: xr.Dataset,
    hidden: Hidden,
    priors: Mapping[str, Prior],
    seed: int,
) -> Fit:
    """Return the fit of the campaign that lacks the hidden anchors, the hidden seabed and their pulls.

    Parameters
    ----------
    refitted : Refit
        To data in which their pulls tell nothing.
    campaign : Campaign
        With all members.
    seen : Dataset
        What the refit was told.
    hidden : Hidden
        What to leave out.
    priors : mapping
        Of the refit.
    seed : int
        Of what a prediction draws for new members.
    """
    gone, trials = [hidden.size, hidden.anchor], campaign.trials
    log = replace(
        campaign,
        anchors=campaign.anchors.drop(index=gone),
        seabeds=campaign.seabeds.drop(index=[hidden.seabed]),
        trials=trials[~trials["anchor"].isin(gone) & (trials["seabed"] != hidden.seabed)],
    )
    inputs = lay_out(log)
    readings = seen.sel(trial=inputs["trial"])
    inputs = inputs.assign({name: readings[name] for name in _READ})
    draws = refitted.posterior.sel(
        {dim: inputs[dim] for dim in refitted.posterior.dims if dim in inputs.dims}
    )
    tree = assemble(draws, xr.Dataset(), xr.Dataset(), inputs, log, seed)
    tree.attrs = root_attributes(log, priors, seed, "holdout")
    return Fit(tree, refitted.verdict)


def predicted(fit: Fit, campaign: Campaign, cells: Sequence[tuple[str, str]]) -> dict[str, list[list[float]]]:
    """Return quantiles of log capacity and of one new pull [log N], one list a quantile, for some cells.

    Parameters
    ----------
    fit : Fit
        Of :func:`fit_without`.
    campaign : Campaign
        Describes the anchors and seabeds asked for.
    cells : sequence of (anchor, seabed)
    """
    rows = [
        {
            "request": f"{anchor} in {seabed}",
            **campaign.anchors.loc[anchor].to_dict(),
            **campaign.seabeds.loc[seabed].to_dict(),
            "anchor": anchor,
            "seabed": seabed,
        }
        for anchor, seabed in cells
    ]
    answer = predict(fit, pd.DataFrame(rows).set_index("request"))
    return {
        what: np.round(np.log(answer[name].transpose("quantile", "request").to_numpy()), 4).tolist()
        for what, name in (("capacity", "capacity_n"), ("pull", "new_pull_n"))
    }
