"""Why the odds fall: what each imperfection of a regime takes of them."""
