"""What changed between two results, in words, tables and a picture."""
