"""Results folders and log files on disk: locked, written whole, kept, tidied."""
