"""What a feature of a design does, and how that is known."""
