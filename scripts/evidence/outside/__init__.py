"""Data that nobody here invented: published two-way tables as campaigns, published anchors."""
