"""How bad eyes, hands and power may be, each by itself, and all of them together."""
