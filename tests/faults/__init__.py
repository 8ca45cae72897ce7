"""Faults planted in the package on purpose, to see whether the tests notice them."""
