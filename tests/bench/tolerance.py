"""Measure limits: `python -m tests.bench.tolerance`, how often they hold and how long they take.

The pebble of `tests.advice.pebbles` has a limit in closed form: a press of which one in ten may
slip. It is found again and again, with another seed each time. How often its 95 % interval holds
that is printed for each precision wanted, with the 99 % interval of that share, and how far the
mean of the estimates is off. Below it, the seconds that all limits of a shipped regime take, and
the processor time: the latter says more where the machine is busy.
"""

from __future__ import annotations

import argparse
import math
import os
import tempfile
import time
from pathlib import Path
from statistics import mean, stdev

import petsim
from petsim.advice.limits.quantities import quantities
from petsim.advice.limits.tolerance import Search
from petsim.study.evaluate import Evaluator
from petsim.study.stats import wilson
from tests.advice.pebbles import files, once

REPETITIONS, LIVES = 500, 2_000
LEVEL, TRUE = 0.9, 0.1
PRECISIONS = (0.5, 0.2, 0.05)
TIMED = (("camera-rig", 0.9), ("camera-rig", 0.6), ("office-rota", 0.9), ("ten-minute", 0.9))


def coverage(repetitions: int, lives: int) -> None:
    """Print how often the interval of a limit that is known holds it."""
    print(f"{repetitions} limits of at most {lives} lives a value; the true one is {TRUE:.0%}")
    print("within    held                    mean     ± 2 SE   half width")
    with tempfile.TemporaryDirectory() as folder:
        named = files(Path(folder), once())
        for precision in PRECISIONS:
            found = [_limit(named, precision, lives, seed) for seed in range(1, repetitions + 1)]
            held = wilson(sum(low <= TRUE <= high for _, low, high in found), len(found), 0.99)
            limits = [limit for limit, _, _ in found]
            print(
                f"{precision:6.0%}    {100 * held.estimate:.1f} % ({100 * held.low:.1f} to "
                f"{100 * held.high:.1f})   {100 * mean(limits):7.3f} %  "
                f"{200 * stdev(limits) / math.sqrt(len(limits)):7.3f}  "
                f"{100 * mean((high - low) / 2 for _, low, high in found):7.2f}"
            )


def _limit(
    named: tuple[str, str], precision: float, lives: int, seed: int
) -> tuple[float, float, float]:
    evaluator = Evaluator(*named, seed=seed)
    asked = {each.path: each for each in quantities(evaluator.caretaker, evaluator.models[0])}
    search = Search(evaluator, evaluator.caretaker, LEVEL, precision, lives)
    found = search.tolerance(asked["hands.slips"])
    return found.limit, found.low, found.high


def speed() -> None:
    """Print how long all limits of a regime take."""
    print("\nall limits of a regime        s   processor s   limits   load")
    petsim.batch("lamplet", "camera-rig", lives=10)
    for regime, at_least in TIMED:
        start, worked = time.perf_counter(), time.process_time()
        found = petsim.tolerance("lamplet", regime, at_least=at_least)
        took, worked = time.perf_counter() - start, time.process_time() - worked
        case = f"{regime}, {at_least:.0%}"
        print(f"{case:22} {took:8.0f} {worked:13.0f} {found.asked:8} {os.getloadavg()[0]:6.1f}")


def main() -> None:
    """Measure both."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--repetitions", type=int, default=REPETITIONS)
    parser.add_argument("--lives", type=int, default=LIVES)
    asked = parser.parse_args()
    coverage(asked.repetitions, asked.lives)
    speed()


if __name__ == "__main__":
    main()
