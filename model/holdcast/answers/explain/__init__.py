"""Where one band comes from."""
