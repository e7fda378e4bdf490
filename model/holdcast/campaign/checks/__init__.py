"""Faults: what cannot be read or cannot be so."""
