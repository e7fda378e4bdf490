"""What a campaign brings to its results is written once, in memory, before anything is sampled."""

from dataclasses import replace

import numpy as np
import pytest

from holdcast.campaign.records import Campaign
from holdcast.capacity.inputs.layout import lay_out
from holdcast.capacity.model.priors import default_priors
from holdcast.capacity.results.pair import ResultsError
from holdcast.capacity.results.rehearsal import rehearse

ODD = ("flag_", "flag_A b", "price/eur", ".", "..", "a%2Fb", "é/ü")


@pytest.mark.parametrize("table", ["anchors", "seabeds", "trials"])
def test_columns_of_the_testers_own_can_have_any_name(small_campaign: Campaign, table: str) -> None:
    """A column that begins as a feature's is the tester's own text wherever features are not kept."""
    names = ODD if table != "anchors" else ODD[2:]
    rows = getattr(small_campaign, table)
    campaign = replace(small_campaign, **{table: rows.assign(**dict.fromkeys(names, "as written"))})
    assert rehearse(campaign, lay_out(campaign), default_priors(), 1)


def test_a_feature_is_true_or_false(small_campaign: Campaign) -> None:
    campaign = replace(small_campaign, anchors=small_campaign.anchors.assign(**{"flag_A b": "as written"}))
    with pytest.raises(ResultsError, match="flag_A b holds something other than true and false"):
        rehearse(campaign, lay_out(small_campaign), default_priors(), 1)


def test_a_column_that_no_file_can_hold_is_told_before_sampling(small_campaign: Campaign) -> None:
    complex_numbers = np.full(len(small_campaign.trials), 1.0 + 2.0j)
    campaign = replace(small_campaign, trials=small_campaign.trials.assign(own=complex_numbers))
    with pytest.raises(ResultsError, match="nothing was sampled"):
        rehearse(campaign, lay_out(small_campaign), default_priors(), 1)
