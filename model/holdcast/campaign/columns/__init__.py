"""What each column is: its name, unit and values."""
