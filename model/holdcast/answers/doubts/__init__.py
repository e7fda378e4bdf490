"""Doubts about what came out of a fit, found once a fit."""
