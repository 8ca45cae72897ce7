"""Many lives: batches, comparisons, sweeps, and what can be said of them."""
