"""Logs of two grounds, each design on a day of its own: bands of what was hidden."""
