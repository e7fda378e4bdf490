"""What was tested: campaign files read, checked once and brought to SI units."""

from holdcast.campaign.read import read_campaign
from holdcast.campaign.records import Campaign, CampaignError, Finding
from holdcast.campaign.starter import write_starter
from holdcast.campaign.trials import accounting

__all__ = ["Campaign", "CampaignError", "Finding", "accounting", "read_campaign", "write_starter"]
