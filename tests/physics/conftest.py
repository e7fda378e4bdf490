"""What the tests of physics share."""

from hypothesis import settings

# How long a case takes says more of a shared machine than of the code.
settings.register_profile("shared machine", deadline=None)
settings.load_profile("shared machine")
