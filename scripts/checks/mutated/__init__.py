"""Inputs changed at random, and what must hold of whatever the program makes of them."""
