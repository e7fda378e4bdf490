"""Holding capacity of small-craft anchors from logged pulls, with bands."""
