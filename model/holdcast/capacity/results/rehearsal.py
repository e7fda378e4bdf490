"""A dry write of all that a campaign brings to its results, made before anything is sampled.

Names, labels, texts and attributes are the tester's own; draws are only numbers.  What could not be written,
or would be refused when it is read, is found here and costs nothing.
"""

from collections.abc import Mapping
from importlib.metadata import version

import xarray as xr

from holdcast.campaign.columns.known_columns import ANCHORS, RODES, SEABEDS, TRIALS
from holdcast.campaign.records import Campaign
from holdcast.capacity.log_tables import log_groups
from holdcast.capacity.model.priors import Prior
from holdcast.capacity.results.attributes import attributes_fault
from holdcast.capacity.results.container import tree_bytes
from holdcast.capacity.results.log_check import check_log, check_trials
from holdcast.capacity.results.pair import ResultsError
from holdcast.capacity.results.root import root_attributes
from holdcast.capacity.results.tree_check import check_inputs
from holdcast.capacity.results.variable_check import DescriptionError, Group

__all__ = ["rehearse"]

_COLUMNS = {"anchors": ANCHORS, "seabeds": SEABEDS, "trials": TRIALS, "rodes": RODES}


def rehearse(campaign: Campaign, inputs: xr.Dataset, priors: Mapping[str, Prior], seed: int) -> bytes:
    """Write a campaign's tables, inputs and attributes in memory, and return the file.

    Parameters
    ----------
    campaign, inputs, priors, seed
        As for :func:`holdcast.capacity.model_fitting.fit_model`.

    Raises
    ------
    ResultsError
        When they cannot be written, or would not be believed when they are read back.
    """
    tree = xr.DataTree.from_dict({"constant_data": inputs, **log_groups(campaign)})
    tree.attrs = root_attributes(campaign, priors, seed, version("holdcast"))
    try:
        if fault := attributes_fault(tree.attrs):
            raise DescriptionError(fault)
        groups = {name: Group(name, group.to_dataset()) for name, group in tree.children.items()}
        check_inputs(groups["constant_data"])
        for name, columns in _COLUMNS.items():
            if name in groups:
                check_log(groups[name], columns, groups["constant_data"])
        check_trials(groups)
        return tree_bytes(tree)
    except MemoryError:
        raise
    except Exception as error:  # the file library names what it cannot hold in many ways
        reason = " ".join(str(error).split())[:200]
        raise ResultsError(
            f"the results of this campaign could not be written ({reason}); nothing was sampled. Look at the "
            "names and columns of your own, and please report it"
        ) from error
