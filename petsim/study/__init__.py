"""Many lives: batches, intervals and comparisons."""
