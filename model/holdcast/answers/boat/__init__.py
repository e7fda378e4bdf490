"""Whether one pull holds a boat in a wind."""
