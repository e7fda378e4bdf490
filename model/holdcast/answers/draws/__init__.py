"""Draws of a fit and everything that is worked out from them draw by draw; every answer asks here."""
