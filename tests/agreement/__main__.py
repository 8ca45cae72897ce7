"""Live random lives on both engines for a while: `python -m tests.agreement --minutes 30`.

Prints how many lives there were; stops at the first difference and writes its world down.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

from hypothesis import HealthCheck, Phase, given, seed, settings

from tests.agreement.differences import Engines, write
from tests.strategies import World, worlds

EXAMPLES = 500


class DisagreementError(Exception):
    """Two engines lived one life differently."""


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.agreement", description=__doc__)
    parser.add_argument("--minutes", type=float, default=1.0, help="how long (default 1)")
    parser.add_argument("--lives", type=int, default=20, help="lives of each world (default 20)")
    parser.add_argument("--most", type=int, default=10**12, help="stop after so many lives")
    parser.add_argument("--start", type=int, default=0, help="number of the first round of worlds")
    parser.add_argument("--out", type=Path, default=Path("disagreement"), help="folder for files")
    options = parser.parse_args()

    ends, lived, count = time.monotonic() + 60 * options.minutes, 0, options.start

    @settings(
        max_examples=min(EXAMPLES, -(-options.most // options.lives)),
        deadline=None,
        database=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(worlds() | worlds(rig=True))
    def agree(world: World) -> None:
        nonlocal lived
        if time.monotonic() > ends or lived >= options.most:
            return
        engines = Engines(world)
        for number in range(world.life, world.life + options.lives):
            found, _ = engines.difference(world.seed, number)
            lived += 1
            if found:
                replay = write(world._replace(life=number), options.out)
                raise DisagreementError(f"after {lived} lives: {found}\n{replay}")

    while time.monotonic() < ends and lived < options.most:
        try:
            seed(count)(agree)()
        except DisagreementError as found:
            sys.exit(str(found))
        count += 1
        print(f"{lived} lives agree, rounds {options.start} to {count - 1}", flush=True)


if __name__ == "__main__":
    main()
