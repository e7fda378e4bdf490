"""Where one cell's band comes from, in words, tables and a picture."""
