"""Whether the bands are true: refits that hide something, scores of what was hidden, simulated campaigns."""
