"""What one reading is expected to be, and how unusual one is."""
