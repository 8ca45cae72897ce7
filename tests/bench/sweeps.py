"""Measure sweeps: what the file costs, how they resume, and what a cluster gains."""

import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path

import petsim
from petsim.spec.library import load_regime
from petsim.study.processes import processors

INTERVALS = [f"{2 * n} min" for n in range(1, 31)]

PEAK_OF_A_SWEEP = """
import resource, sys, petsim
values = [f"{600 + n} s" for n in range(int(sys.argv[1]))]
lives, vary = int(sys.argv[2]), {"checks.every": values}
petsim.sweep("lamplet", ["ten-minute"], vary, out="s", lives=lives, days=1)
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
"""


def _seconds(work: Callable[[], object]) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def _regimes() -> Iterator[dict[str, object]]:
    data = load_regime("ten-minute").model_dump(by_alias=True)
    for interval in INTERVALS:
        yield data | {"checks": data["checks"] | {"every": interval}}


def against_the_kernel(rounds: int, lives: int) -> list[float]:
    """Time of a sweep of 30 intervals of whole lives, over that of the same lives as batches."""
    workers, ratios = processors(), []
    for seed in range(rounds):
        with tempfile.TemporaryDirectory() as folder:
            swept = _seconds(
                partial(
                    petsim.sweep,
                    *("lamplet", ["ten-minute"], {"checks.every": INTERVALS}),
                    out=Path(folder, "s"),
                    lives=lives,
                    until="death",
                    seed=seed,
                )
            )
        alone = sum(
            _seconds(
                partial(
                    petsim.batch,
                    *("lamplet", regime),
                    lives=lives,
                    until="death",
                    seed=seed,
                    workers=workers,
                )
            )
            for regime in _regimes()
        )
        ratios.append(swept / alone)
    return ratios


def finished(cells: int) -> tuple[float, float]:
    """Seconds to give the command of a finished sweep again, and to open it and read its odds."""
    values = f"10 min..{600 + cells - 1} s/1 s"
    with tempfile.TemporaryDirectory() as folder:
        command = [
            *(sys.executable, "-m", "petsim", "sweep", "ten-minute", "--out", "s", "--quiet"),
            *("--vary", f"checks.every={values}", "--lives", "20", "--days", "0.1"),
        ]
        again = partial(subprocess.run, command, cwd=folder, check=True)
        again()
        resumed = _seconds(again)
        opened = _seconds(lambda: petsim.open_sweep(Path(folder, "s")).odds())
    return resumed, opened


def peak_memory(cells: int, lives: int) -> int:
    """What `getrusage` says of a process that sweeps so many cells of so many lives of a day."""
    with tempfile.TemporaryDirectory() as folder:
        done = subprocess.run(
            [sys.executable, "-c", PEAK_OF_A_SWEEP, str(cells), str(lives)],
            cwd=folder,
            capture_output=True,
            text=True,
            check=True,
        )
    return int(done.stdout)


@contextmanager
def dask(workers: int) -> Iterator[Path]:
    """A scheduler and so many workers of one thread each: the file that says where it is."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder, "scheduler.json")
        options = {"cwd": folder, "stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
        start = [sys.executable, "-m", "dask"]
        alone = ["--no-dashboard", "--port", "0", "--scheduler-file", str(file)]
        running = [subprocess.Popen([*start, "scheduler", *alone], **options)]
        ready = ["--nthreads", "1", "--no-dashboard", "--scheduler-file", str(file)]
        running += [subprocess.Popen([*start, "worker", *ready], **options) for _ in range(workers)]
        try:
            while not file.is_file():
                time.sleep(0.1)
            yield file
        finally:
            for process in reversed(running):
                process.terminate()
                process.wait()


def on_a_cluster(workers: int, lives: int) -> float:
    """Seconds of a sweep of ten intervals on Dask workers, once they are warm."""
    from distributed import Client

    with dask(workers) as file, tempfile.TemporaryDirectory() as folder:
        client = Client(scheduler_file=str(file))
        client.wait_for_workers(workers)
        executor = client.get_executor()

        def sweep(name: str, number: int) -> None:
            petsim.sweep(
                *("lamplet", ["ten-minute"], {"checks.every": INTERVALS[:10]}),
                out=Path(folder, name),
                lives=number,
                until="death",
                executor=executor,
            )

        sweep("warm", 100 * workers)
        took = _seconds(partial(sweep, "measured", lives))
        client.close()
    return took
