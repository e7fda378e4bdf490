"""Whether a campaign that reads well has anything to fit."""

from holdcast.campaign.records import Campaign, CampaignError, Finding

__all__ = ["need_pulls"]


def need_pulls(campaign: Campaign) -> None:
    """Raise when no pull of a campaign counts.

    Raises
    ------
    CampaignError
        With that one fault.
    """
    if (campaign.trials["status"] == "used").any():
        return
    raise CampaignError(
        (
            Finding(
                "fault",
                "trials.csv",
                None,
                "test",
                "no pull that counts",
                "at least one row with test pull that is not excluded",
                "Log a pull, or clear the exclude cell of a row that should count.",
            ),
        )
    )
