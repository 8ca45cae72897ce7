"""Files to objects: models, regimes and what can be wrong with them."""
