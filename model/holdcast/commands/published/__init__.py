"""What is written beside a fit: its tables, its page, the page for the boat."""
