"""Numbers, sentences and tables as plain text."""
