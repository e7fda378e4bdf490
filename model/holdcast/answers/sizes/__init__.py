"""Capacity against mass."""
