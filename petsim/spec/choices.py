"""The words there are to choose from in files, in Python and on the command line."""

from __future__ import annotations

from typing import Literal, TypeAlias

SpecKind: TypeAlias = Literal["model", "regime", "pet"]

ENGINES = ("auto", "reference", "compiled")
"""What lives the lives: the fastest that can, or one by its name."""
UNTIL = ("outcome", "death")
"""How long lives are followed, if not for a number of days."""
KEEP = ("sums", "lives")
"""What a sweep keeps of its lives."""
SAMPLES = ("latin", "sobol")
"""Points of a sweep that fill the ranges evenly."""
SAMPLE_OF = {"morris": "morris", "sobol": "saltelli"}
"""The methods that show which unknown matters, and the sample that each takes."""
PROMISING = "tpe"
"""The sample each of whose points is chosen by what was seen at others."""
LOOKED_AT = (*SAMPLES, PROMISING)
"""How points are chosen where not all that can be chosen is looked at."""
REACHED_BY = ("bound", "estimate")
"""What has to reach the odds asked for: the lower end of their interval, or their estimate."""
TABLES = ("odds", "summary", "differences", "means", "cells", "lives")
"""The tables of a sweep that can be written to a file."""
STARTERS: tuple[SpecKind, ...] = ("model", "regime", "pet")
"""The kinds of files of which there is one to start from, and a JSON Schema."""
TIME, PRESSED = "time", "pressed"
"""The columns of a table of notes that have times and actions, if no others are named."""
DATA = (
    *("compare", "run", "sweep", "sensitivity"),
    *("explain", "choose", "tolerance", "expect", "trials", "fit"),
    *("check", "verify"),
)
"""The commands that print data with --json, each of which has a JSON Schema."""
