"""The cheapest regime that reaches what it has to."""
