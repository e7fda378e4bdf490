"""Days on the water in invented worlds: what is pulled, what is read, and what a refit then knows."""
