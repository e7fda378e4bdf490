"""Doubts: what may be right, and a person should look at."""
