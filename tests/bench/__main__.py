"""Measure petsim on this machine: `python -m tests.bench [--json]`. Numbers, no verdicts."""

import argparse
import json
import os
import platform
import subprocess
import sys
import sysconfig
import tempfile
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass
from importlib.metadata import version
from pathlib import Path
from statistics import fmean, median

from tests.bench.plain_model import DAY, live

PETSIM = str(Path(sysconfig.get_path("scripts")) / "petsim")
STARTS = 10
FEW, MANY = 200, 2000

PEAK_MEMORY = """
import resource, sys, petsim
petsim.batch("lamplet", "ten-minute", lives=int(sys.argv[1]), workers=1)
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
"""
RSS_UNIT = 1 if sys.platform == "darwin" else 1024  # bytes; getrusage(2) of macOS and of Linux
MIB = 2**20


@dataclass(frozen=True)
class Result:
    """One quantity: the median of its runs, the least and the greatest."""

    what: str
    unit: str
    median: float
    least: float
    greatest: float
    runs: int


def result(what: str, unit: str, *values: float) -> Result:
    return Result(what, unit, median(values), min(values), max(values), len(values))


def seconds(work: Callable[..., object], *arguments: object) -> float:
    start = time.perf_counter()
    work(*arguments)
    return time.perf_counter() - start


def run(*command: str) -> str:
    """Output of a command that has a directory of its own, so that it leaves nothing behind."""
    with tempfile.TemporaryDirectory() as folder:
        return subprocess.run(
            command, cwd=folder, stdout=subprocess.PIPE, text=True, check=True
        ).stdout


def memory() -> list[Result]:
    """Peak resident memory of a process that lives a batch."""
    few, many = (
        int(run(sys.executable, "-c", PEAK_MEMORY, str(lives))) * RSS_UNIT for lives in (FEW, MANY)
    )
    return [
        result(f"peak memory, {FEW} lives", "MiB", few / MIB),
        result(f"peak memory, {MANY} lives", "MiB", many / MIB),
        result("memory per further life", "bytes", (many - few) / (MANY - FEW)),
    ]


def start_up() -> list[Result]:
    bare = [seconds(run, sys.executable, "-c", "pass") for _ in range(STARTS)]
    helped = [seconds(run, PETSIM, "--help") for _ in range(STARTS)]
    return [
        result("python -c pass", "s", *bare),
        result("petsim --help", "s", *helped),
    ]


def comparison() -> list[Result]:
    arguments = ("compare", "ten-minute", "thirty-minute")
    return [result(" ".join(("petsim", *arguments)), "s", seconds(run, PETSIM, *arguments))]


def speed(rounds: int, lives: int) -> list[Result]:
    """Whole lives a second on one core, the plain model and petsim by turns."""
    import petsim
    from petsim.spec.library import load_model, load_regime

    model = load_model("lamplet")
    regime = load_regime("ten-minute", model)

    def plain_days(seed: int, lives: int) -> float:
        return fmean(live(seed * lives + life).env.now for life in range(lives)) / DAY

    def petsim_days(seed: int, lives: int) -> float:
        batch = petsim.batch(model, regime, lives=lives, seed=seed, until="death", workers=1)
        return float(batch.lives["end_s"].mean()) / DAY

    def timed(days: Callable[[int, int], float], seed: int) -> tuple[float, float]:
        start = time.perf_counter()
        mean = days(seed, lives)
        return lives / (time.perf_counter() - start), mean

    plain_days(0, 1)
    petsim_days(0, 1)
    plain_rates, plain_means, petsim_rates, petsim_means = zip(
        *(timed(plain_days, seed) + timed(petsim_days, seed) for seed in range(rounds)),
        strict=True,
    )
    ratios = [ours / plain for ours, plain in zip(petsim_rates, plain_rates, strict=True)]
    return [
        result("plain model", "lives/s", *plain_rates),
        result("petsim.batch, one worker", "lives/s", *petsim_rates),
        result("petsim / plain model", "", *ratios),
        result("length of a life, plain model", "days", *plain_means),
        result("length of a life, petsim", "days", *petsim_means),
    ]


def processor() -> str:
    """Name of the processor; Linux keeps it where `platform` does not look."""
    cpuinfo = Path("/proc/cpuinfo")
    if cpuinfo.exists():
        for line in cpuinfo.read_text().splitlines():
            if line.startswith("model name"):
                return line.partition(":")[2].strip()
    return platform.processor() or platform.machine()


def machine() -> dict[str, str]:
    return {
        "processor": f"{processor()}, {os.cpu_count()} cores",
        "system": platform.platform(),
        "python": f"{platform.python_implementation()} {platform.python_version()}",
        "petsim": version("petsim"),
        "simpy": version("simpy"),
    }


def table(results: list[Result]) -> str:
    rows = [("", "median", "least", "greatest", "runs", "")]
    for r in results:
        numbers = (f"{value:,.4g}" for value in (r.median, r.least, r.greatest))
        rows.append((r.what, *numbers, str(r.runs), r.unit))
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return "\n".join(
        "  ".join(
            [row[0].ljust(widths[0])]
            + [cell.rjust(width) for cell, width in zip(row[1:-1], widths[1:-1], strict=True)]
            + [row[-1]]
        ).rstrip()
        for row in rows
    )


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.bench", description=__doc__)
    parser.add_argument("--rounds", type=int, default=5, help="rounds by turns (default 5)")
    parser.add_argument("--lives", type=int, default=40, help="lives a round (default 40)")
    parser.add_argument("--json", action="store_true", help="print JSON instead of a table")
    options = parser.parse_args()

    # Memory first: Linux counts the peak of the starting process into that of the one it starts.
    results = memory() + start_up() + comparison() + speed(options.rounds, options.lives)

    if options.json:
        print(json.dumps({"machine": machine(), "results": [asdict(r) for r in results]}, indent=2))
        return
    for name, text in machine().items():
        print(f"{name:9}  {text}")
    print()
    print(table(results))


if __name__ == "__main__":
    main()
