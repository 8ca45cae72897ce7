"""What is in a log, in numbers, and what it can't say, as nobody looked."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise
from typing import Final, NamedTuple

from petsim.life.log.entries import Action, Check, LoggedLife, Look
from petsim.spec.model import SIGNALS

LEAST_DROPS: Final = 5
"""Drops of a need in a form from which its waits can be told."""
LEAST_OUTAGES: Final = 20
"""Power cuts from which it can be told how often they come."""
LEAST_LOOKS: Final = 10
"""Looks of which one at least should have led to nothing."""
_PLAIN = ("form", "stage", "weight", "discipline", "age")
_UNSEEN = {
    "waste": "how often it comes stays a guess",
    "ill": "illness stays a guess",
    "asleep": "when the pet sleeps stays a guess",
    "lights": "whether they are on is not known",
    "calling": "misbehaviour stays a guess",
    "weight": "what it does to illness and growth stays a guess",
    "discipline": "what changes it stays a guess",
    "form": "when the pet grew is not known",
}
"""What stays a guess if a signal is never looked at."""
_UNREPEATED = {
    "waste": "an overlooked pile looks just like one that comes a check later",
    "ill": "an imagined illness looks just like one that the first dose cures",
}
"""What stays a guess if a signal is never looked at twice with no action between."""


class Survey(NamedTuple):
    """A logged life in numbers.

    days: from its first second to the last. seen: looks at each signal; unreadable: those at which
    it could not be made out. actions: of each, those begun; unfinished: those of which the log has
    the first press only. up: seconds for which the rig was up. outages: seconds of each.
    """

    days: float
    checks: int
    skipped: int
    looks: int
    seen: Mapping[str, int]
    unreadable: Mapping[str, int]
    actions: Mapping[str, int]
    unfinished: int
    up: float
    outages: tuple[float, ...]


def survey(life: LoggedLife) -> Survey:
    """Return a logged life in numbers."""
    looks = [entry for entry in life.entries if isinstance(entry, Look)]
    actions = [entry for entry in life.entries if isinstance(entry, Action)]
    return Survey(
        days=life.until / 86_400,
        checks=sum(isinstance(entry, Check) for entry in life.entries),
        skipped=len(life.skipped),
        looks=len(looks),
        seen=_in_order(life, Counter(signal for look in looks for signal in look.saw)),
        unreadable=_in_order(life, Counter(name for look in looks for name in look.unreadable)),
        actions=dict(Counter(action.action for action in actions).most_common()),
        unfinished=sum(action.outcome == "unfinished" for action in actions),
        up=sum(run.until - run.since for run in life.runs),
        outages=tuple(after.since - run.until for run, after in pairwise(life.runs)),
    )


def _in_order(life: LoggedLife, counts: Counter[str]) -> dict[str, int]:
    names = dict.fromkeys((*life.signals, *counts))
    return {name: counts[name] for name in names if counts[name]}


def blind_spots(lives: Sequence[LoggedLife]) -> Iterator[str]:
    """Yield what the log of some lives can't say, each with its reason first."""
    if not lives:
        return
    surveys = [survey(life) for life in lives]
    seen = {signal for each in surveys for signal in each.seen}
    listed = {signal for life in lives for signal in life.signals}
    unseen = {need: f"{need} stays a guess" for need in listed.difference(_UNSEEN, _PLAIN)}
    for signal, guess in {**dict(sorted(unseen.items())), **_UNSEEN}.items():
        if signal not in seen:
            yield f"{signal} is never looked at: {guess}"
    for signal, guess in _UNREPEATED.items():
        if signal in seen and not any(_looks_twice(life, signal) for life in lives):
            yield f"{signal} is never looked at twice in a check: {guess}"
    yield from _few_drops(lives)
    yield from _few_outages(surveys)
    if _acts_after_every_look(lives):
        yield "no look led to nothing: looks without an action seem to be missing"


def _looks_twice(life: LoggedLife, signal: str) -> bool:
    """Whether a signal is looked at twice in a check with no action between."""
    last: tuple[int, bool] | None = None
    for entry in life.entries:
        if isinstance(entry, Look) and entry.check and signal in entry.saw:
            if last == (entry.check, True):
                return True
            last = entry.check, True
        elif isinstance(entry, Action):
            last = None
    return False


def _few_drops(lives: Sequence[LoggedLife]) -> Iterator[str]:
    """Say of each need in which forms it dropped too seldom, between one look and the next."""
    drops: dict[str, Counter[str]] = {}
    for life in lives:
        levels: dict[str, int] = {}
        form = ""
        for look in (entry for entry in life.entries if isinstance(entry, Look)):
            form = str(look.saw.get("form", look.saw.get("stage", form)))
            for need, level in look.saw.items():
                if need in (*SIGNALS, *_PLAIN):
                    continue
                counts = drops.setdefault(need, Counter())
                counts[form] += max(0, levels.get(need, 0) - int(level))
                levels[need] = int(level)
    for need, counts in drops.items():
        few = [form for form, number in counts.items() if number < LEAST_DROPS]
        if few:
            forms = f" as {', '.join(few)}" if any(few) else ""
            fewer = f"fewer than {LEAST_DROPS} drops of {need} were seen{forms}"
            yield f"{fewer}: its waits stay a guess"


def _few_outages(surveys: Sequence[Survey]) -> Iterator[str]:
    number = sum(len(each.outages) for each in surveys)
    if 0 < number < LEAST_OUTAGES:
        cuts = "1 power cut" if number == 1 else f"{number} power cuts"
        yield f"{cuts} in all: how often they come is known roughly"


def _acts_after_every_look(lives: Sequence[LoggedLife]) -> bool:
    """Whether many looks are there and an action comes next after each."""
    nexts = [
        isinstance(after, Action)
        for life in lives
        for entry, after in pairwise(life.entries)
        if isinstance(entry, Look)
    ]
    return len(nexts) >= LEAST_LOOKS and all(nexts)
