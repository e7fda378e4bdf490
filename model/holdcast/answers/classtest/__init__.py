"""The class test against a stockless anchor."""
