"""Boat and tackle: loads of wind, strength of chain and shackles, rules of class."""
