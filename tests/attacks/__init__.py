"""Attacks on the command by generators, short ones in the tests and long ones by hand."""
