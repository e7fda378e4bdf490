"""Errors that all readings of one instrument share, as labelled arrays."""

import numpy as np
import xarray as xr

from holdcast.campaign.records import Campaign
from holdcast.capacity.inputs.labels import positions
from holdcast.capacity.inputs.loads import used_tests
from holdcast.capacity.inputs.setting_tests import spots_of

__all__ = ["instrument_inputs"]


def instrument_inputs(campaign: Campaign, spots: list[str]) -> xr.Dataset:
    """Return how far each instrument may be out, and which share of a spot's tests it read.

    Parameters
    ----------
    campaign : Campaign
    spots : list of str
        Labels of all spots: one anchor on one visit.

    Returns
    -------
    Dataset, dims (instrument, spot)
        ``instrument_error_sd`` (instrument): standard deviation of the log of reading over load [1];
        ``instrument_share`` (spot, instrument): share of the spot's tests that it read [1].

    Notes
    -----
    ``error_pct`` is taken as one standard deviation.  Makers mostly give an outer limit, whose standard
    deviation would be smaller by the square root of three if every error within it were as likely (JCGM
    100:2008, 4.3.7, value from memory): so this errs to the wide side.  An instrument whose error is blank or
    nil counts as right.
    """
    error = campaign.instruments.get("error_pct")
    stated = {} if error is None else error[error > 0].to_dict()
    names = [str(name) for name in stated]
    tests = used_tests(campaign)
    read_by = tests["instrument"].isin(names).to_numpy()
    share = np.zeros((len(spots), len(names)))
    spot = positions(list(spots_of(tests)), spots, "spot")
    np.add.at(share, (spot[read_by], positions(list(tests["instrument"][read_by]), names, "instrument")), 1.0)
    share /= np.bincount(spot, minlength=len(spots))[:, None]
    return xr.Dataset(
        {
            "instrument_error_sd": ("instrument", np.array([stated[name] for name in names]) / 100.0),
            "instrument_share": (("spot", "instrument"), share),
        },
        coords={"instrument": names},
    )
