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
from functools import partial
from importlib.metadata import version
from pathlib import Path
from statistics import median
from typing import Any

import petsim
from petsim.spec.library import load_regime
from tests.bench import sweeps
from tests.bench.plain_model import live

PETSIM = str(Path(sysconfig.get_path("scripts")) / "petsim")
STARTS = 10
FEW, MANY = 1_000, 100_000

PEAK_MEMORY = """
import resource, sys, petsim
petsim.batch("lamplet", "ten-minute", lives=int(sys.argv[1]))
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
"""
RSS_UNIT = 1 if sys.platform == "darwin" else 1024  # bytes; getrusage(2) of macOS and of Linux
MIB = 2**20

FIRST_BATCH = """
import sys, time, petsim
petsim.batch
import numba, pandas, petsim.life.compiled
start = time.perf_counter()
petsim.batch("lamplet", "ten-minute", lives=1, engine="compiled")
print(time.perf_counter() - start)
"""


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


def run(*command: str, cache: str | None = None) -> str:
    """Output of a command that has a directory of its own, so that it leaves nothing behind.

    cache: where numba keeps what it compiles, if not in its usual place.
    """
    environment = os.environ | ({"NUMBA_CACHE_DIR": cache} if cache else {})
    with tempfile.TemporaryDirectory() as folder:
        return subprocess.run(
            command, cwd=folder, env=environment, stdout=subprocess.PIPE, text=True, check=True
        ).stdout


def memory() -> list[Result]:
    """Peak resident memory of a process that lives a batch, and what a life adds to it."""
    few, many = (
        int(run(sys.executable, "-c", PEAK_MEMORY, str(lives))) * RSS_UNIT for lives in (FEW, MANY)
    )
    table = petsim.batch("lamplet", "ten-minute", lives=FEW).lives
    return [
        result(f"peak memory, {FEW:,} lives", "MiB", few / MIB),
        result(f"peak memory, {MANY:,} lives", "MiB", many / MIB),
        result("a life in the table", "bytes", table.memory_usage(deep=False).sum() / FEW),
    ]


def start_up() -> list[Result]:
    """What one waits for before the first life."""
    bare = [seconds(run, sys.executable, "-c", "pass") for _ in range(STARTS)]
    helped = [seconds(run, PETSIM, "--help") for _ in range(STARTS)]
    with tempfile.TemporaryDirectory() as cache:
        compiled = float(run(sys.executable, "-c", FIRST_BATCH, cache=cache))
        kept = [float(run(sys.executable, "-c", FIRST_BATCH, cache=cache)) for _ in range(STARTS)]
    return [
        result("python -c pass", "s", *bare),
        result("petsim --help", "s", *helped),
        result("first batch on a machine, which compiles", "s", compiled),
        result("first batch of a later process", "s", *kept),
    ]


def comparison() -> list[Result]:
    """The question of the README, as a whole command."""
    arguments = ("compare", "ten-minute", "thirty-minute")
    times = [seconds(run, PETSIM, *arguments) for _ in range(3)]
    return [result(" ".join(("petsim", *arguments)), "s", *times)]


def against_plain(rounds: int, lives: int) -> list[Result]:
    """Whole lives a second on one core, the plain model and petsim's engines by turns."""

    def plain(seed: int) -> None:
        for life in range(lives):
            live(seed * lives + life)

    def rate(number: int, work: Callable[..., object], *arguments: object, **options: Any) -> float:
        return number / seconds(partial(work, *arguments, **options))

    kinds: dict[str, list[float]] = {
        name: [] for name in ("plain model", "reference engine", "compiled engine")
    }
    lives_of(lives=1)
    for seed in range(rounds):
        kinds["plain model"].append(rate(lives, plain, seed))
        for engine, number in (("reference", lives), ("compiled", 1000 * lives)):
            kinds[f"{engine} engine"].append(
                rate(number, lives_of, lives=number, seed=seed, engine=engine)
            )
    pace = kinds["plain model"]
    return [result(name, "lives/s", *rates) for name, rates in kinds.items()] + [
        result(f"{name} / plain model", "", *(r / p for r, p in zip(rates, pace, strict=True)))
        for name, rates in kinds.items()
        if name != "plain model"
    ]


def lives_of(regime: Any = "ten-minute", model: Any = "lamplet", **options: Any) -> None:
    """Whole lives to their death, on one core if not said otherwise."""
    petsim.batch(model, regime, **({"until": "death", "workers": 1, "lives": 2_000} | options))


def asking(rounds: int) -> list[Result]:
    """What a question costs beyond its lives, if the regime or the model was never asked of."""
    evaluator = petsim.Evaluator("lamplet", "ten-minute")
    questions: dict[str, Callable[[int], dict[str, str]]] = {
        "another regime": lambda number: {"checks.every": f"{600 + number} s"},
        "another model": lambda number: {"care.play.works": f"{1 + number / 100} %"},
        "the same again": lambda _: {},
    }
    evaluator.evaluate({}, 1)
    return [
        result(
            f"one life under {name}",
            "ms",
            *(
                1000 * seconds(evaluator.evaluate, question(number), 1)
                for number in range(10 * rounds)
            ),
        )
        for name, question in questions.items()
    ]


def sweeping(rounds: int, lives: int) -> list[Result]:
    """What a sweep costs beyond its lives, and what a second worker of a cluster gains."""
    few, many = (sweeps.peak_memory(*size) * RSS_UNIT / MIB for size in ((10, 2_000), (100, 4_000)))
    finished = [sweeps.finished(1_000) for _ in range(rounds)]
    clusters = [
        sweeps.on_a_cluster(1, lives) / sweeps.on_a_cluster(2, lives) for _ in range(rounds)
    ]
    return [
        result(
            "sweep of 30 intervals / its lives alone", "", *sweeps.against_the_kernel(rounds, lives)
        ),
        result("peak memory, sweep of 10 cells of 2,000 lives", "MiB", few),
        result("peak memory, sweep of 100 cells of 4,000 lives", "MiB", many),
        result("a finished sweep of 1,000 cells, the same command", "s", *(r for r, _ in finished)),
        result("opening it in Python, and its odds", "s", *(o for _, o in finished)),
        result("one Dask worker / two", "", *clusters),
    ]


def verification() -> list[Result]:
    """What a sceptic waits for, with the engine compiled and without."""
    with tempfile.TemporaryDirectory() as cache:
        first = seconds(partial(run, PETSIM, "verify", cache=cache))
        later = seconds(partial(run, PETSIM, "verify", cache=cache))
    return [
        result("petsim verify, first on a machine", "s", first),
        result("petsim verify", "s", later),
    ]


def pairs(rounds: int) -> list[Result]:
    """Times of two batches on the compiled engine, by turns, as ratios."""

    def ratio(what: str, first: Callable[[], None], second: Callable[[], None]) -> Result:
        first()
        second()
        ratios = [seconds(first) / seconds(second) for _ in range(rounds)]
        return result(what, "", *ratios)

    def every(regime: str, interval: str) -> Callable[[], None]:
        data = load_regime(regime).model_dump(by_alias=True)
        return partial(lives_of, data | {"checks": data["checks"] | {"every": interval}})

    usual = partial(lives_of, "ten-minute")
    eyes = load_regime("camera-rig").model_dump(by_alias=True)["eyes"]
    seeing = [
        partial(lives_of, load_regime("ten-minute").model_dump(by_alias=True)
                | {"eyes": eyes, "checks": {"every": interval, "first": "random"}})
        for interval in ("1 min", "10 min")
    ]  # fmt: skip
    return [
        ratio("camera-rig / ten-minute", partial(lives_of, "camera-rig"), usual),
        ratio("every minute / every ten", every("ten-minute", "1 min"), usual),
        ratio("every minute / every ten, eyes of camera-rig", *seeing),
        ratio("one worker / two", partial(lives_of, lives=20_000),
              partial(lives_of, lives=20_000, workers=2)),
        ratio("ten times the lives / one", partial(lives_of, lives=10_000),
              partial(lives_of, lives=1_000)),
        ratio("twelve days / six", partial(lives_of, until=None, days=12),
              partial(lives_of, until=None, days=6)),
    ]  # fmt: skip


def rigs(rounds: int) -> list[Result]:
    """Times of camera-rig with what real rigs and people add, as multiples of its time without."""
    rig = load_regime("camera-rig").model_dump(by_alias=True)
    spells = {
        "clear": "exponential 3 h",
        "lasts": "exponential 20 min",
        "waste": {"overlooks": "40%", "imagines": "20%"},
        "hunger": {"misreads": "30%"},
        "mood": {"misreads": "30%"},
    }
    looks = [
        {"look": ["calling", "discipline"]},
        {"when": {"waste": "at least 1"}, "look": ["hunger", "discipline"]},
    ]
    wrong = {"feed": {"play": "40%", "lights_on": "10%"}, "clean": {"feed": "50%"}}
    added: dict[str, dict[str, Any]] = {
        "spells": {"eyes": rig["eyes"] | {"spells": spells}},
        "looks at the status screen": {"routine": [*rig["routine"], *looks]},
        "wrong presses": {
            "hands": {
                name: hand | {"into": wrong.get(name, {})} if name != "opening" else hand
                for name, hand in rig["hands"].items()
            }
        },
        "forgotten checks": {"checks": rig["checks"] | {"forgets": "5%"}},
    }
    together = {key: value for fields in added.values() for key, value in fields.items()}
    late = {"checks": rig["checks"] | {"late": "exponential 3 min"}}
    times = [f"{minute // 60:02}:{minute % 60:02}" for minute in range(0, 1440, 10)]
    regimes = {
        **added,
        "all of these": together,
        "late checks": late,
        "144 clock times": {"checks": {"at": times}},
    }
    ratios: dict[str, list[float]] = {name: [] for name in regimes}
    lives_of(rig)
    for seed in range(rounds):
        usual = seconds(partial(lives_of, rig, seed=seed))
        for name, fields in regimes.items():
            ratios[name].append(seconds(partial(lives_of, rig | fields, seed=seed)) / usual)
    return [result(f"camera-rig with {name} / without", "", *ratios[name]) for name in regimes]


def sizes(rounds: int) -> list[Result]:
    """Time of a life as the model and the routine grow: the same pet with more of one thing."""
    found = []
    for needs, forms, steps in ((2, 3, 2), (4, 3, 4), (4, 3, 8), (4, 12, 4), (4, 12, 8)):
        model, regime = sized(needs, forms, steps)
        work = partial(lives_of, regime, model, until=None, days=10, lives=2_000)
        work()
        times = [seconds(work) / 2_000 * 1e6 for _ in range(rounds)]
        found.append(result(f"{needs} needs, {forms} forms, {steps} steps, ten days", "us", *times))
    return found


def sized(needs: int, forms: int, steps: int) -> tuple[dict[str, Any], dict[str, Any]]:
    """An invented pet of so many needs that drop every half an hour, and who looks after it."""
    names = [f"need {number}" for number in range(needs)]
    last = forms - 1
    model = {
        "petsim": "model 1",
        "name": "Sized",
        "outcome stage": "adult",
        "aim": f"form {last}",
        "needs": {name: {"full": 4} for name in names},
        "care": {f"lift {name}": {"raises": {name: 1}} for name in names},
        "stages": {
            "young": {"drops": dict.fromkeys(names, "exponential 30 min")},
            "adult": {"drops": dict.fromkeys(names, "exponential 30 min")},
        },
        "forms": {
            f"form {n}": {"stage": "young", "lasts": "20 h", "grows into": f"form {n + 1}"}
            for n in range(last)
        }
        | {f"form {last}": {"stage": "adult", "lasts": "300 days"}},
    }
    routine = [
        {"when": {name: "below 4"}, "do": f"lift {name}", "repeat": "until met"}
        for name in (names * steps)[:steps]
    ]
    checks = {"every": "10 min", "first": "0 s"}
    return model, {"petsim": "regime 1", "name": "Sized", "checks": checks, "routine": routine}


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
        "numba": version("numba"),
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

    # Memory first, and no compiling here: Linux counts the peak of the starting process into that
    # of the one it starts.
    run(sys.executable, "-c", PEAK_MEMORY, "1")
    results = memory() + start_up() + comparison()
    results += against_plain(options.rounds, options.lives)
    results += pairs(options.rounds) + rigs(options.rounds) + sizes(options.rounds)
    results += asking(options.rounds)
    results += sweeping(options.rounds, 100 * options.lives) + verification()

    if options.json:
        print(json.dumps({"machine": machine(), "results": [asdict(r) for r in results]}, indent=2))
        return
    for name, text in machine().items():
        print(f"{name:9}  {text}")
    print()
    print(table(results))


if __name__ == "__main__":
    main()
