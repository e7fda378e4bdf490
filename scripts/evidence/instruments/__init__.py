"""Invented logs that are read by instruments which are out."""
