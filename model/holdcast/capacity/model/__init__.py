"""The model: its priors, its parts and its graph."""
