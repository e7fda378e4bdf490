"""What a results folder is: two files of one fit, described once and checked whenever they are read."""
