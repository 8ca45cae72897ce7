"""Measure how often intervals of costs hold: `python -m tests.bench.advice`, some minutes.

The lamp of `tests.advice.toys` is explained again and again, with another seed each time. How often
the 95 % interval of a cost holds what it is by definition is printed for each imperfection, with
the 99 % interval of that share and how far the mean of the estimates is off.
"""

from __future__ import annotations

import argparse
import math
import time
from collections import defaultdict
from statistics import mean, stdev

import petsim
from petsim.study.stats import wilson
from tests.advice.toys import keeper, lamp, shares

REPETITIONS, LIVES = 200, 1_000


def main() -> None:
    """Explain the lamp, and print how often its intervals hold."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--repetitions", type=int, default=REPETITIONS)
    parser.add_argument("--lives", type=int, default=LIVES)
    asked = parser.parse_args()
    true, start = shares(), time.perf_counter()
    held, estimates = defaultdict[str, int](int), defaultdict[str, list[float]](list)
    for seed in range(1, asked.repetitions + 1):
        found = petsim.explain(lamp(), keeper(), lives=asked.lives, seed=seed)
        for part in found.there:
            held[part.path] += part.share.low <= true[part.path] <= part.share.high
            estimates[part.path].append(part.share.estimate)
    took = time.perf_counter() - start
    print(f"{asked.repetitions} explanations of {asked.lives} lives, {took:.0f} s")
    print(f"{'':14}  {'true':>7}  {'mean':>7}  {'± 2 SE':>7}  held")
    for path, cost in true.items():
        own = estimates[path]
        share = wilson(held[path], len(own), 0.99)
        error = 2 * stdev(own) / math.sqrt(len(own))
        print(
            f"{path:14}  {100 * cost:7.3f}  {100 * mean(own):7.3f}  {100 * error:7.3f}  "
            f"{100 * share.estimate:.1f} % ({100 * share.low:.1f} to {100 * share.high:.1f})"
        )


if __name__ == "__main__":
    main()
