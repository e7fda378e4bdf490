"""Which anchor holds more."""
