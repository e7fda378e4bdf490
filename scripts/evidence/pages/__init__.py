"""What outcomes add up to: scores, tables, pages and pictures."""
