"""The commands, one file each; every one reads, asks one question, and shows the answer."""
