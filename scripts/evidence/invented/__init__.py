"""Worlds that are not the model, the logs that testers would write in them, and what rivals make of these."""
