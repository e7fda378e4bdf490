"""The Bayesian model: from a campaign to a posterior of the capacity of every anchor in every seabed."""

from holdcast.capacity.fit import DEFAULT_SEED, Fit, fit
from holdcast.capacity.store import ResultsError, load, save

__all__ = ["DEFAULT_SEED", "Fit", "ResultsError", "fit", "load", "save"]
