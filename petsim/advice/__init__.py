"""Answers to what the maker asks: why odds fall, what would do, how good the rig must be."""
