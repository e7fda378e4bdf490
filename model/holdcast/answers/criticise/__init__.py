"""What the model misses of the log's own pulls."""
