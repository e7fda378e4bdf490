"""What changed between two fits."""
