"""Attacks on petsim with random inputs and faults: `python -m tests.attacks`."""
