"""Hand petsim what a stranger might: `python -m tests.attacks --minutes 30`.

The attacks take turns, each try with a seed of its own. What went wrong is printed with the command
that tries the same again; at the end, how many tries there were of each attack, and how many
faults.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter
from itertools import count

from tests.attacks.frame import attacks, fault_of


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.attacks", description=__doc__)
    parser.add_argument("--minutes", type=float, default=1.0, help="how long (default 1)")
    parser.add_argument("--seed", type=int, default=0, help="of the first try of each (default 0)")
    parser.add_argument("--only", choices=attacks(), help="the only one to try")
    chosen = parser.parse_args()

    names = [chosen.only] if chosen.only else list(attacks())
    ends = time.monotonic() + 60 * chosen.minutes
    tries, faults = Counter[str](), Counter[str]()
    for seed in count(chosen.seed):
        for name in names:
            fault = fault_of(name, seed)
            tries[name] += 1
            if fault is not None:
                faults[name] += 1
                again = f"python -m tests.attacks --only {name} --seed {seed} --minutes 0"
                print(f"{name}: {fault}\n    again: {again}", flush=True)
        if time.monotonic() >= ends:
            break
    print(f"{'attack':16}{'tries':>8}{'faults':>8}")
    for name in names:
        print(f"{name:16}{tries[name]:8}{faults[name]:8}")
    sys.exit(bool(faults))


if __name__ == "__main__":
    main()
