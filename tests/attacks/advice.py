"""Questions of advice with whatever options, damaged logs, and files that can't be written."""

from __future__ import annotations

import json
import os
import stat
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from io import BytesIO, TextIOWrapper
from pathlib import Path
from random import Random

from petsim.cli import main
from tests.attacks.logs import damaged

MODELS = ("lamplet-quick",) * 6 + ("lamplet", "plain-clock", "lamplit", "none.yaml", "", "é")
REGIMES = ("hourly",) * 5 + ("camera-rig", "hands-off", "hourli", "none.yaml", "none.py:A", "../")
AIMS = (
    *("beacon", "lantern", "beacon,lantern", "beacon=1,lantern=0.5", "steady"),
    *("becon", "", ",", "=", "beacon=", "beacon=2", "beacon=-1", "beacon=nan", "beacon,beacon"),
    *("beacon=0", "beacon=1e999", " beacon , lantern ", "beacon\x1b[31m", "spark"),
)
NUMBERS = ("1", "2", "3", "0", "-1", "x", "", "1.5", "9" * 40, "1e3", " 3", "٣")
SHARES = ("50%", "0.5", "1%", "99%", "0%", "100%", "0", "1", "-5%", "200%", "nan", "inf", "x", "%")
DAYS = ("0.1", "0.5", "1", "0", "-1", "1e300", "nan", "x", "")
COSTS = (
    *("presses", "checks", "quiet-presses", "1*presses", "0.2*presses + 1*checks", "hours"),
    *("", "+", "*", "presses*", "1*", "nan*presses", "-1*presses", "1e999*checks", "preses"),
    *("1*presses+", "1*presses+1*presses", "1*\x00", "()", "1**presses"),
)
VARIED = (
    *("checks.every=10min,20min", "checks.every=10min", "checks.every=", "=", "checks.every"),
    *("checks.every=20min..10min/1min", "checks.every=1min..2min/0s", "checks.evry=1min"),
    *("checks.every=10min,10min", "eyes.ill.overlooks=200%", "passes=1", "needs.mood.full=1,2"),
    *("checks.every=1s..1000h/1s", "a.b.c.d=1", "checks=1,2", "checks.every=\x1b[2J"),
)
PRECISIONS = ("20%", "30%", "0.3", "0", "-1%", "100%", "x", "1e-300%")
UNWRITABLE = (
    "no/such/{}",
    "folder.{}",
    "pipe.{}",
    "closed/a.{}",
    "a.txt",
    "",
    ".{}",
    "a.{}/",
    "\n.{}",
)
DATES = ("2027-03-05", "2027-02-30", "x", "", "9999-12-31", "0001-01-01")


def attack(random: Random, folder: Path) -> str | None:
    """Ask a question of advice, and return what is wrong with how it was answered or refused."""
    _make_places(folder)
    (folder / "log.jsonl").write_bytes(damaged(random) if random.random() < 0.7 else b"{}")
    given = _question(random)
    before = _seen(folder)
    code, printed, complained = _run(given, folder)
    what = f"petsim {' '.join(map(repr, given))}: "
    if "Traceback" in printed + complained or code not in (0, 1, 2):
        return f"{what}exit code {code}\n{complained[-3000:]}"
    if code == 2 and not complained.strip():
        return f"{what}is refused without a word"
    if code == 2 and printed.strip():
        return f"{what}prints {printed[:200]!r} and is refused"
    if not f"{printed}{complained}".replace("\n", "").replace("\r", "").isprintable():
        return f"{what}prints control characters: {printed + complained!r}"
    wrong = _half_written(folder, before)
    if wrong is None and _wants_json(given, code):
        wrong = _no_json(printed)
    return wrong and f"{what}{wrong}"


def _question(random: Random) -> list[str]:
    """A command and its options, each of which may be as it should or not."""
    command = random.choice(("explain", "explain", "choose", "tolerance", "expect", "expect"))
    given = [command, _mostly(random, "hourly", REGIMES), *_few(random, command)]
    options = {
        "explain": _of_explain,
        "choose": _of_choose,
        "tolerance": _of_tolerance,
        "expect": _of_expect,
    }[command]
    offered = [*options(random), *_shared(random)]
    for option in random.sample(offered, random.randint(0, 3)):
        given += option
    return given


def _mostly(random: Random, good: str, others: Sequence[str]) -> str:
    """What is as it should be, four times in five, so that what comes after it is met too."""
    return good if random.random() < 0.8 else random.choice(others)


def _few(random: Random, command: str) -> list[str]:
    """What keeps a question short: few lives of a pet that grows fast."""
    lives = _mostly(random, "100" if command in ("explain", "tolerance") else "40", NUMBERS[:-4])
    return ["--model", _mostly(random, "lamplet-quick", MODELS), "--lives", lives]


def _shared(random: Random) -> Iterator[Sequence[str]]:
    """Options that most questions have, and some that they do not."""
    yield "--seed", _mostly(random, "2", NUMBERS)
    yield "--days", _mostly(random, "0.5", DAYS)
    yield "--until", random.choice(("outcome", "death", "x", "day 1 12:00", "day 0 99:99"))
    yield ("--json",)
    yield "--report", _place(random, "html")
    yield "--plot", _place(random, "svg")
    yield "--check-limit", _mostly(random, "20 s", ("1", "0", "-1", "nan", "x"))
    yield random.choice((("--none",), ("--json=1",), ("--lives",), ("--aim",), ("-x", "3")))
    yield "--pet", random.choice(("none.yaml", "log.jsonl", "folder.html"))


def _of_explain(random: Random) -> Iterator[Sequence[str]]:
    yield "--aim", _mostly(random, "beacon", AIMS)
    yield "--life", _mostly(random, "2", NUMBERS)
    yield ("--worst",)
    yield ("--typical",)
    yield "--weight", _mostly(random, "50%", SHARES)
    yield "--precision", _mostly(random, "20%", PRECISIONS)


def _of_choose(random: Random) -> Iterator[Sequence[str]]:
    yield "--aim", _mostly(random, "beacon", AIMS)
    yield "--vary", _mostly(random, "checks.every=10min,20min", VARIED)
    yield "--vary", _mostly(random, "checks.every=10min,20min", VARIED)
    yield "--at-least", _mostly(random, "50%", SHARES)
    yield "--cheapest", _mostly(random, "presses", COSTS)
    yield "--cheapest", _mostly(random, "presses", COSTS)
    yield "--on", random.choice(("average", "each", "x", ""))
    yield "--sample", random.choice(("latin", "sobol", "x", ""))
    yield "--points", random.choice(("2", *NUMBERS[3:]))
    yield "--out", _place(random, "yaml")


def _of_tolerance(random: Random) -> Iterator[Sequence[str]]:
    yield "--aim", _mostly(random, "beacon", AIMS)
    yield "--at-least", _mostly(random, "50%", SHARES)
    yield "--precision", _mostly(random, "20%", PRECISIONS)


def _of_expect(random: Random) -> Iterator[Sequence[str]]:
    yield "--day", _mostly(random, "2", NUMBERS)
    yield "--against", random.choice(("log.jsonl", "log.jsonl", "none.jsonl", "folder.html", ""))
    yield "--ics", _place(random, "ics")
    yield "--from", _mostly(random, "2027-03-05", DATES)
    yield "--confidence", _mostly(random, "50%", SHARES)
    yield (random.choice(REGIMES),)


def _place(random: Random, ending: str) -> str:
    """The name of a file that can be written, or of one that can't."""
    return _mostly(random, "new.{}", UNWRITABLE).format(ending)


def _make_places(folder: Path) -> None:
    """Make what is no file, and a folder in which nothing can be written but by its owner."""
    for ending in ("html", "svg", "ics", "yaml"):
        (folder / f"folder.{ending}").mkdir()
        os.mkfifo(folder / f"pipe.{ending}")
    (folder / "closed").mkdir(mode=stat.S_IRUSR | stat.S_IXUSR)


@contextmanager
def _within(folder: Path) -> Iterator[None]:
    before = Path.cwd()
    os.chdir(folder)
    try:
        yield
    finally:
        os.chdir(before)


def _run(given: Sequence[str], folder: Path) -> tuple[int, str, str]:
    """Run a command here: its exit code, what it printed, and what it complained of."""
    printed, complained = (TextIOWrapper(BytesIO(), "utf-8", newline="") for _ in range(2))
    with _within(folder), redirect_stdout(printed), redirect_stderr(complained):
        try:
            main(given)
            code = 0
        except SystemExit as end:
            code = int(end.code or 0)
    return code, _text(printed), _text(complained)


def _text(written: TextIOWrapper) -> str:
    written.flush()
    assert isinstance(written.buffer, BytesIO)
    return written.buffer.getvalue().decode()


def _seen(folder: Path) -> set[str]:
    return {str(path.relative_to(folder)) for path in folder.rglob("*")}


def _half_written(folder: Path, before: set[str]) -> str | None:
    """What is wrong with the files that a command left."""
    for name in _seen(folder) - before:
        path = folder / name
        if path.name.startswith("."):
            if path.suffix or path.name.count(".") > 1:
                return f"left {name!r}"
            continue
        text = path.read_text(encoding="utf-8")
        ends = {".html": "</html>", ".svg": "</svg>", ".ics": "END:VCALENDAR"}
        if path.suffix in ends and not text.rstrip().endswith(ends[path.suffix]):
            return f"wrote half of {name!r}"
    return None


def _wants_json(given: Sequence[str], code: int) -> bool:
    return code == 0 and "--json" in given and not {"--help", "--ics"} & {*given}


def _no_json(printed: str) -> str | None:
    try:
        json.loads(printed)
    except ValueError as error:
        return f"prints no JSON: {error}"
    return None
