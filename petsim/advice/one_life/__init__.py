"""Why one life went wrong: the links that led to it, and what would have saved it."""
