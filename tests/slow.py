"""Time every test, and list those that `-m "not slow"` leaves out: `python -m tests.slow`.

With no other options it runs all tests, two at a time, so let nothing else run beside it. A test is
slow if its cases take over LIMIT each on average, or over ALL_CASES together; the time of fixtures
does not count.
"""

from __future__ import annotations

import sys
from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from pathlib import Path
from statistics import mean
from zlib import crc32

import pytest

LISTED = Path(__file__).with_suffix(".txt")
LIMIT, ALL_CASES = 0.4, 25.0
"""Seconds of one case, on average, and of all cases of a test together."""


def function_of(case: str) -> str:
    """Return what names a test in the list: without what is in brackets after it."""
    return case.partition("[")[0]


def listed() -> set[str]:
    """Return the tests that are slow, each as its file, classes and function."""
    return set(LISTED.read_text(encoding="utf-8").split())


def share(text: str) -> tuple[int, int]:
    """Return which of how many shares is meant by a text such as 2/8."""
    which, shares = map(int, text.split("/"))
    if not 1 <= which <= shares:
        raise ValueError(text)
    return which, shares


def is_in_share(case: str, which: int, shares: int) -> bool:
    """Say whether a case is in one of some shares of all tests; all cases of a test are in one."""
    return crc32(function_of(case).encode()) % shares == which - 1


def slow_of(seconds: Mapping[str, Sequence[float]]) -> list[str]:
    """Return which tests are slow, given the seconds of each one's cases."""
    return sorted(
        test for test, each in seconds.items() if mean(each) > LIMIT or sum(each) > ALL_CASES
    )


class Times:
    """A plugin of pytest that notes the seconds of each case, by test."""

    def __init__(self) -> None:
        self.of_tests: defaultdict[str, list[float]] = defaultdict(list)

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.when == "call" and report.passed:
            self.of_tests[function_of(report.nodeid)].append(report.duration)


def main(options: Collection[str]) -> int:
    """Run all tests with options of pytest, and write the list if they pass; the exit code."""
    times = Times()
    code = pytest.main(["-q", *options], plugins=[times])
    if code == pytest.ExitCode.OK:
        LISTED.write_text("\n".join(slow_of(times.of_tests)) + "\n", encoding="utf-8")
    return int(code)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:] or ["-n", "2"]))
