"""What is used where a user gives nothing, for the commands and for those that repeat them."""

from __future__ import annotations

MODEL = "lamplet"
REGIME = "ten-minute"
"""The regime whose checks, eyes, hands and power a Python policy has if it names none."""
SEED = 0
CELL_LIVES = 1_000
"""Lives in each cell of a sweep."""
POINTS = 16
"""Trajectories, or points, of a sensitivity."""
LIVES = {"compiled": 5_000, "reference": 1_000}
"""Lives under each regime by engine, such that two regimes are answered in seconds; half a minute,
if not all of them by the compiled engine."""
EXPECTED_LIVES = {"compiled": 2_000, "reference": 100}
"""Lives that bands of counts are made from, by engine; as many more are held against them."""
MOST_LIVES = {"compiled": 100_000, "reference": 10_000}
"""Lives under each regime at most, where a precision says how many: some minutes' worth."""
CHECK_LIMIT = 60.0
"""Seconds of the computer's time that a Python policy may take for one check, or to be loaded."""
MOST_CANDIDATES = 500
"""Combinations that are all looked at for the cheapest; of more, only a sample is."""
SAMPLED_CANDIDATES = 256
"""Points of such a sample."""
