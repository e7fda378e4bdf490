"""What to test next: the tests of one day on the water, chosen by what they are expected to narrow."""
