"""Compiling, sampling, and whether the draws can be relied on."""
