"""From a campaign to labelled arrays."""
