"""A log for people, and as plain data: what is in it, and what it can't say."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from petsim.errors import legible
from petsim.life.log.entries import LoggedLife
from petsim.life.log.reader import Gap, Jump, Log
from petsim.life.log.survey import blind_spots, survey
from petsim.spec.quantities import duration_text
from petsim.view.tables import counted


def summary(log: Log) -> str:
    """Return what is in a log, in lines, and what it can't say."""
    head = f"{legible(log.source)}: ok, a log of {counted(len(log.lives))}"
    return "\n".join((head, *(f"  {line}" for line in _lines(log))))


def life(found: LoggedLife) -> str:
    """Return what is in the log of a life, in lines, and what that can't say."""
    return "\n".join((*_life(1, found), *_spots([found])))


def _spots(lives: Sequence[LoggedLife]) -> Iterator[str]:
    spots = [*blind_spots(lives)]
    if spots:
        yield "what it can't say:"
        yield from (f"  {spot}" for spot in spots)


def _lines(log: Log) -> Iterator[str]:
    for number, life in enumerate(log.lives, 1):
        yield from _life(number, life)
    yield from _damage(log)
    yield from _spots(log.lives)


def _life(number: int, life: LoggedLife) -> Iterator[str]:
    found = survey(life)
    born = f"born {life.begins}" if life.is_born else f"from {life.begins} on"
    ends = {"died": "it died", "left": "then it was left", None: "it may live on"}[life.end]
    under = f" under {life.regime}" if life.regime else ""
    yield f"life {number}: {life.pet}{under}, {born}, {found.days:.1f} days, {ends}"
    yield f"  {counted(found.checks, 'check')}, {found.skipped} skipped"
    yield f"  {counted(found.looks, 'look')}{_counts(found.seen)}"
    if found.unreadable:
        yield f"  could not be made out{_counts(found.unreadable)}"
    unfinished = f", {found.unfinished} unfinished" if found.unfinished else ""
    total = sum(found.actions.values())
    yield f"  {counted(total, 'action')}{_counts(found.actions)}{unfinished}"
    outages = counted(len(found.outages), "outage")
    longest = f", the longest {_span(max(found.outages))}" if found.outages else ""
    yield f"  the rig was up for {found.up / 86_400:.1f} days; {outages}{longest}"


def _counts(counts: Mapping[str, int]) -> str:
    return f": {', '.join(f'{name} {n}' for name, n in counts.items())}" if counts else ""


def _span(seconds: float) -> str:
    return duration_text(round(seconds))


def _damage(log: Log) -> Iterator[str]:
    for line in log.cuts:
        yield f"line {line}: was cut off, and does not count"
    for gap in log.gaps:
        yield f"line {gap.line}: {counted(gap.lost, 'line')} missing before it"
    for jump in log.jumps:
        yield f"line {jump.line}: the wall clock jumped by {jump.by:+g} s, which no time here does"
    for drift in log.drifts:
        yield f"line {drift.line}: the pet's clock has moved by {drift.by:+g} s"
    if log.outside:
        entries = "1 entry" if log.outside == 1 else f"{log.outside} entries"
        yield f"{entries} between an end and the next birth: of no life"


def as_dict(log: Log) -> dict[str, Any]:
    """Return what is in a log as plain data."""
    return {
        "lines": log.lines,
        "lives": [_life_as_dict(life) for life in log.lives],
        "cuts": [*log.cuts],
        "gaps": [_gap(gap) for gap in log.gaps],
        "jumps": [_jump(jump) for jump in log.jumps],
        "drifts": [_jump(drift) for drift in log.drifts],
        "outside": log.outside,
        "blind_spots": [*blind_spots(log.lives)],
    }


def _gap(gap: Gap) -> dict[str, int]:
    return {"line": gap.line, "lost": gap.lost}


def _jump(jump: Jump) -> dict[str, float]:
    return {"line": jump.line, "by_s": jump.by}


def _life_as_dict(life: LoggedLife) -> dict[str, Any]:
    found = survey(life)
    return {
        "pet": life.pet,
        "regime": life.regime,
        "begins": str(life.begins),
        "born": life.is_born,
        "end": life.end,
        "days": found.days,
        "checks": found.checks,
        "skipped": found.skipped,
        "looks": found.looks,
        "seen": {**found.seen},
        "unreadable": {**found.unreadable},
        "actions": {**found.actions},
        "unfinished": found.unfinished,
        "up_s": found.up,
        "outages_s": [*found.outages],
    }
