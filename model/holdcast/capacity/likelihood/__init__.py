"""What a reading says of a load."""
