"""One answer a file, in words and tables."""
