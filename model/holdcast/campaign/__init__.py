"""What was tested: campaign files read, checked once and brought to SI units."""

from holdcast.campaign.checks.trials import accounting
from holdcast.campaign.files.starter import write_starter
from holdcast.campaign.read import read_campaign
from holdcast.campaign.records import Campaign, CampaignError, Finding

__all__ = ["Campaign", "CampaignError", "Finding", "accounting", "read_campaign", "write_starter"]
