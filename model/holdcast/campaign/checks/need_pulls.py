"""Whether a campaign that reads well has anything to fit."""

from holdcast.campaign.records import Campaign, CampaignError, Finding, pulls_with_load

__all__ = ["need_pulls"]


def need_pulls(campaign: Campaign) -> None:
    """Raise when no pull of a campaign counts, or none of those that count has a load.

    Raises
    ------
    CampaignError
        With that one fault.
    """
    if len(pulls_with_load(campaign.trials)):
        return
    raise CampaignError(
        (
            Finding(
                "fault",
                "trials.csv",
                None,
                "test",
                "no pull that counts",
                "at least one row with test pull and a load that is not excluded",
                "Log a pull, or clear the exclude cell of a row that should count.",
            ),
        )
    )
