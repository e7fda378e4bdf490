"""Campaigns simulated from the model's own priors: their layouts, and how they are run and predicted."""
