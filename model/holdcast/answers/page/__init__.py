"""What the page asks and is asked: joint draws to choose an anchor by."""
