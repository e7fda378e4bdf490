"""The table of cells: every anchor in every seabed."""
