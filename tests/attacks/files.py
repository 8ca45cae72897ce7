"""Files of all kinds, damaged by chance: each is refused with a line, in time, or can be lived."""

from __future__ import annotations

import re
import time
from collections.abc import Callable
from pathlib import Path
from random import Random
from typing import Any

import yaml

import petsim
from petsim.errors import PetsimError, Problem, SpecError
from petsim.spec.library import load_model, load_regime
from petsim.spec.names import folder, shipped
from petsim.spec.study import load_study
from petsim.study.check import check_files
from petsim.view.show import show_file

SECONDS = 2.0
"""Of the processor's time that reading a file may take."""
MOST = 1_000_000
"""Bytes of a file that is made."""
SHORT = 20_000
"""Bytes of a file of which a life is lived; that of a longer one may need a kernel of its own."""
STUDY = """\
petsim: study 1
name: How often
model: lamplet-quick
regimes: [hourly, thirty-minute]
vary:
  checks.every: 20 min..60 min/20 min
  passes: [1, 2]
lives: 2
seed: 7
days: 2
"""
POLICY = '''\
"""Somebody who cleans."""


class Cleans:
    """Cleans what there is."""

    regime = "hourly"

    def check(self, look):
        """Clean while there is something to clean."""
        if look.waste:
            yield "clean"
'''
PIECES = (
    "", " ", "\n", "\t", ":", ": ", "- ", "{", "}", "[", "]", "'", '"', "#", "&a ", "*a", "!x ",
    "|", ">", "? ", "%", "@", ",", "~", "\r", "\x00", "\x1b[31m", "\ufeff",
    "\u202e", "\u2028", "\x85", "e\u0301" + 40 * "\u0301", "\ud800", '"\\ud800"', '"\\e[2J"',
    '"\\UFFFFFFFF"', "%YAML 9.9\n---\n",
    "---\n", "...\n", "<<: ", "9" * 400, "1e999999", "-1", "+1", "0", "1/0", "PT1H", "P1Y", "never",
    "none", "random", "until met", "otherwise", "not ", "all", "24:00", "25:00", "22:00 to 22:00",
    "uniform 1 min to 2 min", "exponential 1 s", "100%", "0%", "at least 2147483647", "below 0",
    "hunger", "stage", "form", "do", "petsim", "model 1", "regime 1", "study 1", "../", "/",
    "1 s..1 h/1 s", "1..2*1.0000001", "yes", "def", "yield", "return", "self",
)  # fmt: skip
"""What is put into texts."""


def attack(random: Random, folder: Path) -> str | None:
    """Damage a file and read it; return what was wrong with how it was read, if anything."""
    kind, text = random.choice(_whole_files())
    content = _encoded(random.choice(_DAMAGES)(random, text), random)[:MOST]
    path = (
        folder
        / f"attacked{random.choice(('', ' it', '-2'))}.{'py' if kind == 'policy' else 'yaml'}"
    )
    path.write_bytes(content)
    for use in (_loading(kind), _checked, _shown):
        wrong = _use(use, path)
        if wrong is not None:
            return f"a {kind} of {len(content)} bytes: {wrong}"
    return _lived(kind, path)


def _whole_files() -> list[tuple[str, str]]:
    files = [
        (kind, (folder(shelf) / f"{name}.yaml").read_text(encoding="utf-8"))
        for kind, shelf in (("model", "models"), ("regime", "regimes"))
        for name in shipped(shelf)  # type: ignore[arg-type]
    ]
    return [*files, *[("study", STUDY), ("policy", POLICY)] * 2]


def _loading(kind: str) -> Callable[[Path], Any]:
    return {
        "model": load_model,
        "regime": lambda path: load_regime(path, "lamplet-quick"),
        "study": load_study,
        "policy": lambda path: petsim.check_policy(str(path), "lamplet-quick"),
    }[kind]


def _checked(path: Path) -> None:
    for finding in check_files([str(path)], "lamplet-quick"):
        for problem in finding.problems:
            if not problem.isprintable():
                raise ValueError(problem)


def _shown(path: Path) -> str:
    return show_file(str(path))


def _use(use: Callable[[Path], Any], path: Path) -> str | None:
    """Use a file, and return what was wrong with how it was refused or how long it took."""
    began, wrong = time.process_time(), None
    try:
        use(path)
    except SpecError as error:
        wrong = next(filter(None, map(_misplaced, error.problems)), None)
    except PetsimError as error:
        wrong = None if str(error).isprintable() else f"says {str(error)!r}"
    except Exception as error:
        wrong = f"raised {error!r}"
    took = time.process_time() - began
    return f"took {took:.1f} s" if wrong is None and took > SECONDS else wrong


def _misplaced(problem: Problem) -> str | None:
    """What is wrong with how a problem of a file is told, if anything."""
    if problem.line is None and not problem.found.startswith(("no such", "found the unknown")):
        return f"told without a line: {problem}"
    return None if str(problem).isprintable() else f"told with control characters: {problem!r}"


def _lived(kind: str, path: Path) -> str | None:
    """Live a short life under what a file says, if it can be read; return what went wrong."""
    model, regime = (path, "hourly") if kind == "model" else ("lamplet-quick", path)
    if kind not in ("model", "regime") or path.stat().st_size > SHORT:
        return None
    try:
        petsim.batch(model, regime, lives=1, days=0.5, engine="compiled", workers=1)
    except PetsimError:
        return None
    except Exception as error:
        return f"a {kind} that was read can't be lived: {error!r}"
    return None


def _encoded(text: str, random: Random) -> bytes:
    encoding = random.choice(("utf-8",) * 30 + ("utf-16", "utf-32", "latin-1", "utf-8-sig"))
    try:
        return text.encode(encoding, "surrogatepass")
    except UnicodeEncodeError:
        return text.encode("utf-8", "surrogatepass")


def _of_pieces(random: Random, text: str) -> str:
    """A text with a few pieces cut out or put in."""
    for _ in range(random.randint(1, 4)):
        start = random.randrange(len(text) + 1)
        end = min(len(text), start + random.choice((0, 0, 1, 2, 12)))
        text = text[:start] + random.choice(PIECES) + text[end:]
    return text


def _of_bytes(random: Random, text: str) -> str:
    """A text a few of whose bytes are others."""
    content = bytearray(text.encode())
    for _ in range(random.randint(1, 6)):
        content[random.randrange(len(content))] = random.randrange(256)
    return content.decode("utf-8", "replace")


def _of_tokens(random: Random, text: str) -> str:
    """A text whose words have changed places, or of which one stands for another."""
    words = re.findall(r"\w+|\s+|[^\w\s]+", text)
    for _ in range(random.randint(1, 5)):
        one, other = random.randrange(len(words)), random.randrange(len(words))
        words[one], words[other] = words[other], random.choice((words[one], words[other]))
    return "".join(words)


def _of_lines(random: Random, text: str) -> str:
    """A text in which some lines come again, up to a thousand times, or elsewhere."""
    lines = text.splitlines(keepends=True)
    start = random.randrange(len(lines))
    part = lines[start : start + random.randint(1, 8)]
    place = random.choice((start, random.randrange(len(lines))))
    return "".join([*lines[:place], *part * random.choice((1, 2, 30, 1_000)), *lines[place:]])


def _of_structure(random: Random, text: str) -> str:
    """A text whose keys and values, as a tree, have changed."""
    try:
        tree = yaml.load(text, Loader=yaml.BaseLoader)
    except yaml.YAMLError:
        return text
    if not isinstance(tree, dict):
        return text
    for _ in range(random.randint(1, 3)):
        _change(random, tree)
    return yaml.dump(tree, sort_keys=False, allow_unicode=True)


def _change(random: Random, tree: Any) -> None:
    """Take something of a tree away, put another thing or a text there, or repeat it."""
    places = [*_places(tree)]
    where, key = random.choice(places)
    other, other_key = random.choice(places)
    value = other[other_key]
    match random.randrange(4):
        case 0:
            del where[key]
        case 1:
            where[key] = yaml.load(yaml.dump(value), Loader=yaml.BaseLoader)
        case 2:
            where[key] = random.choice(PIECES)
        case _:
            count = random.choice((3, 40, 1_000))
            copies = [yaml.load(yaml.dump(value), Loader=yaml.BaseLoader)] * count
            if isinstance(other, dict):
                other |= {f"{other_key} x{n}": copy for n, copy in enumerate(copies)}
            else:
                other.extend(copies)


def _places(tree: Any) -> list[tuple[Any, Any]]:
    """Each container of a tree with each key or index in it."""
    items = tree.items() if isinstance(tree, dict) else enumerate(tree)
    return [
        place
        for key, value in items
        for place in [(tree, key), *(_places(value) if isinstance(value, dict | list) else [])]
    ]


_DAMAGES: tuple[Callable[[Random, str], str], ...] = (
    _of_pieces,
    _of_bytes,
    _of_tokens,
    _of_lines,
    _of_structure,
)
