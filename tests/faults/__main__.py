"""Plant faults in the package, one at a time, and say which of them the tests do not notice.

    python -m tests.faults --faults 100 --workers 2

Each fault is planted in a copy of the checkout, and the tests of its part are run there until one
fails, the slow ones last: what they alone notice is said. What changes nothing that can be seen is
not noticed either, so look at each of those.
"""

from __future__ import annotations

import argparse
import os
import random
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from queue import SimpleQueue
from tempfile import TemporaryDirectory

import pytest

from tests.faults.mutants import Mutant, mutants

ROOT = Path(__file__).parents[2]
LOG_TESTS = ("file.py", "writer.py", "notes.py", "simulated.py", "survey.py", "page.py")
EVIDENCE_TESTS = (
    "timeline.py",
    "tape.py",
    "means.py",
    "starts.py",
    "books.py",
    "censored.py",
    "durations.py",
    "growth_times.py",
    "illness_kernel.py",
    "misbehaviour_kernel.py",
    "levels_kernel.py",
    "sleep.py",
    "sleep_eyes.py",
    "power.py",
    "light.py",
    "doubt.py",
    "bad_logs.py",
    "fit.py",
)
"""Tests of a part by what is short and most of it comes first."""
PARTS = {
    "life": (["petsim/life"], ["tests/life", "tests/agreement", "tests/theory"]),
    "rigs": (
        [
            "petsim/life/schedule.py",
            "petsim/life/reference/light.py",
            "petsim/life/reference/eyes.py",
            "petsim/life/reference/care.py",
            "petsim/life/compiled/light.py",
            "petsim/life/compiled/late.py",
            "petsim/life/compiled/care.py",
            "petsim/life/compiled/states.py",
            "petsim/life/taking_over.py",
            "petsim/life/pet_now.py",
            "petsim/life/pet_left.py",
        ],
        [
            "tests/life/test_rules_light.py",
            "tests/life/test_rules_lateness.py",
            "tests/life/test_rules_slips.py",
            "tests/life/test_rules_caretaker.py",
            "tests/life/test_pet_now.py",
            "tests/life/test_pet_left.py",
            "tests/life/test_stepping.py",
            "tests/agreement",
        ],
    ),
    "spec": (["petsim/spec"], ["tests/spec", "tests/cases", "tests/life", "tests/study"]),
    "log": (
        ["petsim/life/log"],
        ["tests/life/test_log_" + name for name in LOG_TESTS],
    ),
    "evidence": (
        ["petsim/evidence"],
        ["tests/evidence/test_" + name for name in EVIDENCE_TESTS],
    ),
    "stats": (
        [
            "petsim/study/stats.py",
            "petsim/study/measures.py",
            "petsim/study/requirements.py",
            "petsim/study/precision.py",
        ],
        ["tests/study", "tests/theory", "tests/view"],
    ),
}
"""By name: where faults are planted, and which tests are to notice them, the likeliest first."""
LONGEST = 1800
"""Seconds after which the tests are ended, as the fault may keep them from ending."""
NOT_SEEN, ENDLESS, BY_SLOW_ALONE = "NOT SEEN", "endless", "by a slow test alone: "


def planted_in(part: str) -> list[Mutant]:
    """Return all faults that can be planted in a part, its files named from the root."""
    places, _ = PARTS[part]
    files = [
        file
        for place in places
        for file in ([Path(place)] if place.endswith(".py") else sorted(Path(place).rglob("*.py")))
    ]
    return [mutant for file in files for mutant in mutants(file)]


def sampled(parts: Sequence[str], faults: int, seed: int) -> Iterator[tuple[str, Mutant]]:
    """Yield faults of parts in turn, as many of each, drawn without replacement."""
    for part in parts:
        known = planted_in(part)
        drawn = random.Random(f"{part} {seed}").sample(known, min(faults // len(parts), len(known)))
        yield from ((part, mutant) for mutant in drawn)


def noticed_by(part: str, mutant: Mutant, folder: Path) -> str:
    """Plant a fault in a copy of the checkout, run the tests there, and put it right again.

    Returns:
        The first test that fails; NOT_SEEN if none does, ENDLESS if they had to be ended.
    """
    file = folder / mutant.file
    before = file.read_bytes()
    file.write_text(mutant.planted(), encoding="utf-8")
    try:
        quick = first_failure(PARTS[part][1], "not slow", folder)
        if quick != NOT_SEEN:
            return quick
        slow = first_failure(PARTS[part][1], "slow", folder)
        return slow if slow == NOT_SEEN else BY_SLOW_ALONE + slow
    finally:
        file.write_bytes(before)


def first_failure(tests: Sequence[str], marked: str, folder: Path) -> str:
    """Return the first of some tests that fails in a copy of the checkout, as `noticed_by`."""
    options = ["-x", "-q", "-n", "0", "-p", "no:cacheprovider", "-m", marked]
    try:
        done = subprocess.run(
            [sys.executable, "-m", "pytest", *options, *tests],
            cwd=folder,
            env=os.environ | {"PYTHONPATH": str(folder)},
            capture_output=True,
            encoding="utf-8",
            timeout=LONGEST,
            check=False,
        )
    except subprocess.TimeoutExpired:
        return ENDLESS
    if done.returncode in (pytest.ExitCode.OK, pytest.ExitCode.NO_TESTS_COLLECTED):
        return NOT_SEEN
    failed = re.search(r"^(?:FAILED|ERROR) (\S+)", done.stdout, re.MULTILINE)
    return failed[1] if failed else "before the tests began"


def main() -> None:
    """Plant faults and print each with what came of it, then how many were noticed."""
    parser = argparse.ArgumentParser(prog="python -m tests.faults")
    parser.add_argument("--faults", type=int, default=90, help="how many in all (default 90)")
    parser.add_argument(
        "--parts", nargs="+", choices=PARTS, default=[*PARTS], help="where (default all)"
    )
    parser.add_argument("--seed", type=int, default=0, help="which of those that there are")
    parser.add_argument("--workers", type=int, default=2, help="copies tested at a time")
    chosen = parser.parse_args()
    os.chdir(ROOT)
    with TemporaryDirectory(prefix="petsim-faults-") as scratch:
        folders: SimpleQueue[Path] = SimpleQueue()
        for number in range(chosen.workers):
            folder = Path(scratch, str(number))
            leave_out = shutil.ignore_patterns(".*", "__pycache__", "*.sweep*")
            shutil.copytree(ROOT, folder, ignore=leave_out)
            folders.put(folder)

        def tried(fault: tuple[str, Mutant]) -> str:
            folder = folders.get()
            try:
                return noticed_by(*fault, folder)
            finally:
                folders.put(folder)

        faults = list(sampled(chosen.parts, chosen.faults, chosen.seed))
        results: dict[str, list[str]] = {part: [] for part in chosen.parts}
        with ThreadPoolExecutor(chosen.workers) as pool:
            for (part, mutant), test in zip(faults, pool.map(tried, faults), strict=True):
                results[part].append(test)
                print(f"{mutant}\n    {test}", flush=True)
    for part, tests in results.items():
        slow = sum(test.startswith(BY_SLOW_ALONE) for test in tests)
        noticed = len(tests) - tests.count(NOT_SEEN)
        print(f"{part}: {noticed} of {len(tests)} noticed, {slow} of them by slow tests alone")


if __name__ == "__main__":
    main()
