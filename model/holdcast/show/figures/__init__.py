"""Still pictures."""
