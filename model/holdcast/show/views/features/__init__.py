"""What a feature does, in words, tables and a picture."""
