"""What the model misses of a log: sentences, tables, rows for the files."""
