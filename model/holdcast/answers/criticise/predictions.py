"""What each pull of the log is predicted from: draw by draw, a mixture of a pull that set and one that slid.

Of a pull that set, the log load scatters about the capacity, its visit and its spot; of one that did not,
about what the anchor's weight slides at.  Where the log says whether the anchor set, only that branch counts,
the draws weighed by their chance of it; otherwise both do, by the chance of setting that the other pulls of
the spot leave.

An effect that was fitted to a visit or a design takes up whatever that visit or design has in common, so what
effects are replaced by new ones decides what a residual can show:

- *left out*: everything else as fitted, the draws weighted as if the pull had not been seen (PSIS,
  see :mod:`holdcast.answers.explain.influence`); shows what differs from pull to pull;
- *new visit*: the effects of its visit and of its anchor's spot replaced by new ones; shows what differs from
  visit to visit;
- *new design*: the effects of its design, traits, configuration and spot replaced by those of a new design,
  on the load as on the chance of setting (each for itself, though a design that holds more sets more often);
  shows what differs from anchor to anchor.

The last two are mixed predictions (Marshall & Spiegelhalter 2007, *Bayesian Anal.* 2:409, value from memory),
of draws that have seen the pull: they err to the quiet side.
"""

from dataclasses import dataclass, replace

import numpy as np
import xarray as xr
from numpy.typing import NDArray
from scipy.special import expit, ndtr, ndtri, stdtr

from holdcast.answers.draws.draws import by_sample, draws_of
from holdcast.capacity.fitting import Fit
from holdcast.capacity.likelihood.kinds import ABOVE, DEGREES_OF_FREEDOM, DID_NOT_SET, NOT_SAID, SET
from holdcast.capacity.model.design_parts import LOADING
from holdcast.capacity.model.design_split import effects_of_anchors
from holdcast.capacity.pointwise.pulls_as_drawn import PullsAsDrawn
from holdcast.capacity.pointwise.student_and_normal import shares_below

__all__ = [
    "LEFT_OUT",
    "NEW_DESIGN",
    "NEW_VISIT",
    "PREDICTIONS",
    "Prediction",
    "left_out_prediction",
    "predictions",
    "written_setting",
]

LEFT_OUT, NEW_VISIT, NEW_DESIGN = "left out", "new visit", "new design"
PREDICTIONS = (LEFT_OUT, NEW_VISIT, NEW_DESIGN)
"""What a pull is predicted from; see the module."""

_NORMAL_WIDTH = float(stdtr(DEGREES_OF_FREEDOM, 1.0) - 0.5)
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(9)
"""Of a standard normal: where log odds spread by 2 a mean chance is off by at most 5e-4 (computed)."""

Numbers = NDArray[np.float64]


@dataclass(frozen=True)
class Prediction:
    """One prediction of every pull.

    Attributes
    ----------
    centre, scale : arrays, shape (trial, sample)
        Median and scale of the log load of a pull that set [log N].
    variance : array, shape (trial, sample)
        Of new effects on it.
    sets : array, shape (trial, sample)
        Chance that the anchor sets [1].
    sliding, sliding_scatter : arrays, shape (trial, sample)
        Middle and scatter of the log load at which it slides if not [log N].
    weight : array, shape (trial, sample)
        What each draw counts; adds up to 1 over draws.
    """

    centre: Numbers
    scale: Numbers
    variance: Numbers
    sets: Numbers
    sliding: Numbers
    sliding_scatter: Numbers
    weight: Numbers

    def chance_of_setting(self) -> Numbers:
        """Return the chance that each pull's anchor sets, shape (trial,)."""
        return np.asarray((self.weight * self.sets).sum(axis=-1))

    def knowing(self, setting: NDArray[np.int64]) -> "Prediction":
        """Return what is predicted of the load where the log says whether the anchor set.

        Parameters
        ----------
        setting : array, shape (trial,)
            Codes of :mod:`holdcast.capacity.likelihood.kinds`; where not said, nothing changes.  The word is
            taken as the right one: a load that speaks against it stands out.
        """
        sets = np.where(
            (setting == SET)[:, None], 1.0, np.where((setting == DID_NOT_SET)[:, None], 0.0, self.sets)
        )
        branch = np.where(sets == 1.0, self.sets, 1.0 - self.sets)
        weight = self.weight * np.where((setting == NOT_SAID)[:, None], 1.0, branch)
        total = weight.sum(axis=-1, keepdims=True)
        # Where no draw gives the branch a chance, which of them counts cannot be told from it.
        weight = np.where(total > 0.0, weight / np.where(total > 0.0, total, 1.0), self.weight)
        return replace(self, sets=sets, weight=weight)

    def share_below(self, end: Numbers, as_read: Numbers) -> Numbers:
        """Return the share of each prediction below some loads, shape (trial,).

        Parameters
        ----------
        end : array, shape (trial, sample)
            Log load of a pull that set, at reference conditions [log N].
        as_read : array, shape (trial, 1)
            The same load as it was read, which is what an anchor slides at [log N].
        """
        normal = np.broadcast_to(np.sqrt(self.variance), end.shape)
        held = shares_below((end - self.centre) / self.scale, normal / self.scale)
        slid = ndtr((as_read - self.sliding) / self.sliding_scatter)
        share = self.weight * (self.sets * held + (1.0 - self.sets) * slid)
        return np.asarray(np.clip(share.sum(axis=-1), 0.0, 1.0))

    def expected(self) -> Numbers:
        """Return the mean log load of each prediction [log N], shape (trial,)."""
        middle = self.sets * self.centre + (1.0 - self.sets) * self.sliding
        return np.asarray((self.weight * middle).sum(axis=-1))

    def spread(self, had_set: Numbers) -> Numbers:
        """Return the spread of each pull's own branch [log N], heavy tails left out, shape (trial,).

        Parameters
        ----------
        had_set : array, shape (trial,)
            Chance that the pull's anchor had set.
        """
        width = self.scale / ndtri(0.5 + _NORMAL_WIDTH)
        held = self._variance(self.centre, width**2 + self.variance)
        slid = self._variance(self.sliding, self.sliding_scatter**2)
        return np.sqrt(had_set * held + (1.0 - had_set) * slid)

    def _variance(self, middle: Numbers, within: Numbers) -> Numbers:
        mean = (self.weight * middle).sum(axis=-1, keepdims=True)
        return np.asarray((self.weight * (within + (middle - mean) ** 2)).sum(axis=-1))


def left_out_prediction(fit: Fit, weight: Numbers) -> Prediction:
    """Return what each pull is predicted from when it is left out; whether it set is open.

    Parameters
    ----------
    fit : Fit
    weight : array, shape (trial, sample)
        What each draw counts when the pull is left out.
    """
    _, centre, spots, scale, sets, sliding, scatter = _said(fit)
    return Prediction(centre, scale, spots**2, sets, sliding, scatter, weight)


def _said(fit: Fit) -> list[Numbers]:
    """Return what draws say of each pull, each (trial, sample).

    The spot's effect and the median of which it is part, the spread of spots where it is not known, scale,
    chance of setting, and middle and scatter of sliding.
    """

    def laid_out() -> list[Numbers]:
        pulls, trials = PullsAsDrawn(_kept_draws(fit), fit.inputs), fit.inputs.sizes["trial"]
        of_the_load = pulls.spot, pulls.location, pulls.spot_spread, pulls.scale
        parts = (*of_the_load, pulls.expected_to_set(), pulls.sliding, pulls.sliding_scatter)
        return [np.ascontiguousarray(each.reshape(-1, trials).T) for each in parts]

    return draws_of(fit).once("what draws say of pulls", laid_out)


def predictions(fit: Fit, weight: Numbers) -> dict[str, Prediction]:
    """Return every prediction of the log's pulls by its name; whether they set is open.

    Parameters
    ----------
    fit : Fit
    weight : array, shape (trial, sample)
        What each draw counts when the pull is left out.
    """
    draws, inputs, left_out = _kept_draws(fit), fit.inputs, left_out_prediction(fit, weight)
    centre = left_out.centre
    even = np.full_like(centre, 1.0 / centre.shape[1])
    spot = _said(fit)[0]
    spot_variance = by_sample(draws["spot_spread"]).to_numpy()[None, :] ** 2
    visit = _by_trial(draws["visit_effect"].isel(visit=inputs["visit_of"]))
    visit_variance = by_sample(draws["visit_spread"]).to_numpy()[None, :] ** 2
    odds = _by_trial(draws["sets_log_odds"].isel(_cell(inputs)))
    design, design_variance = _design(draws, inputs)
    new_visit = replace(
        left_out,
        centre=centre - visit - spot,
        variance=visit_variance + spot_variance + np.zeros_like(centre),
        sets=expit(odds),
        weight=even,
    )
    new_design = replace(
        left_out,
        centre=centre - design - spot,
        variance=design_variance + spot_variance,
        sets=_sets_of_new_design(draws, inputs, odds, design, design_variance),
        weight=even,
    )
    return dict(zip(PREDICTIONS, (left_out, new_visit, new_design), strict=True))


def written_setting(fit: Fit) -> NDArray[np.int64]:
    """Return whether each pull's anchor set as the log says it, shape (trial,).

    A pull that was stopped while holding is known to have set, but nobody wrote that down before the load was
    known: among its like it counts as any other.
    """
    settings = fit.inputs["setting"].to_numpy()
    trials = fit.tree["trials"].to_dataset()
    if "set" in trials:
        written = trials["set"].sel(trial=fit.inputs["trial"].to_numpy()).to_numpy().astype(str)
        return np.where(np.isin(written, ["yes", "no"]), settings, NOT_SAID)
    return np.where((settings == SET) & (fit.inputs["kind"].to_numpy() == ABOVE), NOT_SAID, settings)


def _kept_draws(fit: Fit) -> xr.Dataset:
    """Return the draws that the tree keeps a likelihood of."""
    return fit.posterior.sel(draw=fit.tree["log_likelihood"]["draw"])


def _cell(inputs: xr.Dataset) -> dict[str, xr.DataArray]:
    return {"anchor": inputs["anchor_of"], "seabed": inputs["seabed_of"]}


def _design(draws: xr.Dataset, inputs: xr.Dataset) -> tuple[Numbers, Numbers]:
    """Return what each pull's design does to its load, and the variance of a new one's, (trial, sample).

    The variance of a new design's effect in a seabed is the total of all its parts, since a seabed is fully
    like itself; what its traits are worth there is told by their loadings.
    """
    effect = effects_of_anchors(draws, inputs).isel(_cell(inputs))
    own = (1.0 - draws["design_share"].sel(part="trait")) * draws["design_spread"] ** 2
    traits = (draws[LOADING] ** 2).sum("trait").isel(seabed=inputs["seabed_of"])
    return _by_trial(effect), _by_trial(own + traits)


def _sets_of_new_design(
    draws: xr.Dataset, inputs: xr.Dataset, odds: Numbers, design: Numbers, variance: Numbers
) -> Numbers:
    """Return the chance that an anchor of a new design sets at each pull's place, (trial, sample)."""
    own = draws["set_design_effect"].isel(
        design=inputs["design_of"].isel(anchor=inputs["anchor_of"]), seabed=inputs["seabed_of"]
    )
    by_capacity = by_sample(draws["set_by_capacity"] / draws["design_spread"]).to_numpy()[None, :]
    parts = (
        draws["set_share"].sel(set_part=["design", "design_seabed"]).sum("set_part")
        * draws["set_spread"] ** 2
    )
    middle = odds - _by_trial(own) - by_capacity * design
    spread = np.sqrt(by_sample(parts).to_numpy()[None, :] + by_capacity**2 * variance)
    share = _WEIGHTS / _WEIGHTS.sum()
    return np.asarray(sum(w * expit(middle + spread * node) for node, w in zip(_NODES, share, strict=True)))


def _by_trial(array: xr.DataArray) -> Numbers:
    return np.asarray(by_sample(array.reset_coords(drop=True)).transpose("trial", "sample").to_numpy())
