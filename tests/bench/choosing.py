"""Measure choosing: how often its promise holds, and how long two parameters take.

`python -m tests.bench.choosing promise` makes 500 searches among candidates with known odds, on
lives that a random number generator makes; `speed` times two parameters of ten values each, to one
percentage point, on all processors. Figures, no verdicts.
"""

from __future__ import annotations

import argparse
import os
import time

import petsim
from petsim.advice.choosing.racing import On
from petsim.study.processes import processors
from petsim.study.stats import clopper_pearson
from tests.advice.sources import chosen_falls_short, one_of_eight_falls_short

SEARCHES = 500
ASKED = {"ten-minute": 0.9, "camera-rig": 0.7}
"""The odds to reach."""
VARY = {
    "checks.every": "5 min..23 min/2 min",
    "checks.forgets": "0%, 1%, 2%, 3%, 4%, 5%, 6%, 7%, 8%, 9%",
}


def promise() -> None:
    """How often a candidate that falls short is confirmed."""
    cases = {
        "40 just short and one that reaches it, raced and confirmed": chosen_falls_short,
        "eight just short, tried one after another": one_of_eight_falls_short,
        "the same 41, by the estimate, for which nothing is promised": lambda seed: (
            chosen_falls_short(seed, On.ESTIMATE)
        ),
    }
    for what, falls_short in cases.items():
        wrong = sum(map(falls_short, range(SEARCHES)))
        share, low, high = (100 * x for x in clopper_pearson(wrong, SEARCHES))
        print(f"{what}: {wrong} of {SEARCHES}, {share:.1f} % ({low:.1f} to {high:.1f})", flush=True)


def speed() -> None:
    """How long it takes to choose among 100 combinations."""
    petsim.batch("lamplet", "ten-minute", lives=10)
    for regime, at_least in ASKED.items():
        load, began, busy = os.getloadavg()[0], time.perf_counter(), time.process_time()
        found = petsim.choose("lamplet", regime, VARY, at_least=at_least)
        took, worked = time.perf_counter() - began, time.process_time() - busy
        print(
            f"{regime}, {len(found.candidates)} combinations, to 1 point: {took:.0f} s, "
            f"{worked:.0f} s of work for {processors()} processors, {found.lives_in_all} lives, "
            f"load {load:.1f} before",
            flush=True,
        )


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("what", choices=("promise", "speed"))
    {"promise": promise, "speed": speed}[parser.parse_args().what]()
