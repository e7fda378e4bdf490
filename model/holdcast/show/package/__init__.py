"""What the tables of a results folder hold, told in a file that other programs read."""
