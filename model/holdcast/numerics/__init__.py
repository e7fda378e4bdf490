"""Mathematics that every room may use: plain functions of arrays, without a library that is slow to load."""
