"""What a rig would have logged of a simulated life: what it saw and pressed, and nothing else."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator
from dataclasses import replace
from itertools import groupby
from operator import attrgetter

from petsim.life.kinds import EventKind
from petsim.life.log.entries import ALIVE, Action, Check, Entry, LoggedLife, Look, Run, Value
from petsim.life.record import Begun, Life, Seen
from petsim.spec.clocks import Begins
from petsim.spec.model import SIGNALS

_IN_EACH_LOOK = ("form", "stage")
_NO_LOOKS = ("clock", "stage")
"""What a rig knows without a look."""
_PLAIN = ("weight", "discipline")


def logged(life: Life) -> LoggedLife:
    """Return what a rig would have logged of a traced life.

    Each look has the form and the stage, without error, and what else was looked at, as it was
    taken for. An action is the one that was meant, as a slip can't be seen, and its outcome is
    unknown; one that a power cut or the end cuts off is unfinished. A run ends with the last line
    that the rig would have written before the power cut.

    The log of a life that goes on from a state begins with that, once the rig is up, and not with
    a birth.
    """
    entries, skipped = tuple(_entries(life)), tuple(_skipped(life))
    runs = list(_runs(life, _lines(entries, skipped)))
    since = runs[0].since if runs else life.summary["end_s"]
    is_up_to_the_end = bool(runs) and runs[-1].is_clean
    clock = life.clock(int(since))
    seen = {sight.signal for sight in life.sights}.union(_IN_EACH_LOOK)
    signals = (*life.model.needs, *SIGNALS, *_IN_EACH_LOOK, *_PLAIN)
    log = LoggedLife(
        source=repr(life),
        begins=Begins(clock.weekday, clock.second),
        is_born=life.start is None,
        until=runs[-1].until if runs else since,
        end=("died" if life.summary["died"] else "left") if is_up_to_the_end else None,
        entries=entries,
        runs=tuple(runs),
        pet=life.model.id,
        regime=life.regime,
        signals=tuple(signal for signal in signals if signal in seen),
        lost=_under_way_at_the_start(life, since),
        skipped=skipped,
    )
    return log if since == 0 else _from(since, log)


# What was seen and pressed


def _entries(life: Life) -> Iterator[Entry]:
    """Everything in its order: of one second, too, in which nothing may take any time."""
    number = 0 if life.start is None else life.start.counts["checks"]
    checks = [
        Check(entry.t, number)
        for number, entry in enumerate(
            (entry for entry in life.entries if entry.event == EventKind.CHECK), number + 1
        )
    ]
    place = 0
    for part in _in_checks(life):
        while place < len(checks) and checks[place].number <= part.check:
            yield checks[place]
            place += 1
        yield part
    yield from checks[place:]


def _in_checks(life: Life) -> Iterator[Look | Action]:
    """The looks and actions of all checks."""
    looks, place = _Looks(life), 0
    cuts = [entry.t for entry in life.entries if entry.event == EventKind.OUTAGE_BEGINS]
    for begun in life.begun:
        yield from looks.of(life.sights[place : begun.place])
        place = begun.place
        yield _action(begun, cuts, life.summary["end_s"])
    yield from looks.of(life.sights[place:])


def _action(begun: Begun, cuts: list[int], end: int) -> Action:
    """An action that was begun, as a log has it: cut off in the second in which it would land."""
    t, over = begun.t, begun.t + begun.takes
    if over >= end or bisect_right(cuts, t) < bisect_right(cuts, over):
        return Action(t, begun.check, begun.action, t, 0, "unfinished")
    return Action(over, begun.check, begun.action, t, begun.presses)


class _Looks:
    """The looks of a life, made of the signals that were seen."""

    def __init__(self, life: Life) -> None:
        grown = (EventKind.BIRTH, EventKind.GROWTH, EventKind.TAKEN_OVER)
        entries = [entry for entry in life.entries if entry.event in grown]
        self._since = [entry.t for entry in entries]
        self._forms = [life.start.form if life.start else "", *(entry.what for entry in entries)]
        self._model = life.model

    def of(self, sights: tuple[Seen, ...]) -> Iterator[Look]:
        """The looks in which these were seen, which follow each other."""
        observation = attrgetter("t", "check", "step", "look")
        for (t, check, step, _), run in groupby(sights, observation):
            saw: dict[str, Value] = {
                sight.signal: sight.seen for sight in run if sight.signal not in _NO_LOOKS
            }
            if saw:
                form = self._forms[bisect_right(self._since, t)]
                stage = self._model.forms[form].stage
                yield Look(t, check, step, saw | {"form": form, "stage": stage})


def _skipped(life: Life) -> Iterator[int]:
    """When a check was skipped while the power was on."""
    is_on = life.start is None or life.start.power
    for entry in life.entries:
        if entry.event in (EventKind.OUTAGE_BEGINS, EventKind.OUTAGE_ENDS):
            is_on = entry.event == EventKind.OUTAGE_ENDS
        elif entry.event == EventKind.CHECK_SKIPPED and is_on:
            yield entry.t


# When the rig was up


def _runs(life: Life, lines: list[float]) -> Iterator[Run]:
    """The times between two power cuts.

    lines: the seconds in which a rig writes a line whatever it has written before, in order.
    """
    since = 0 if life.start is None else life.start.t
    up: int | None = since if life.start is None or life.start.power else None
    for entry in life.entries:
        if entry.event == EventKind.OUTAGE_BEGINS:
            assert up is not None
            yield Run(up, _last_line(up, lines, entry.t), is_clean=False)
            up = None
        elif entry.event == EventKind.OUTAGE_ENDS:
            up = entry.t
    if up is not None:
        yield Run(up, life.summary["end_s"], is_clean=True)


def _lines(entries: Iterable[Entry], skipped: Iterable[float]) -> list[float]:
    pressed = (entry.began for entry in entries if isinstance(entry, Action))
    return sorted((*(entry.t for entry in entries), *pressed, *skipped))


def _last_line(up: int, lines: list[float], cut: int) -> float:
    """The second of the last line of a rig that is up since a second, before the power is cut."""
    place = bisect_left(lines, cut)
    last = max(up, lines[place - 1]) if place else up
    return last + (cut - 1 - last) // ALIVE * ALIVE if last < cut else last


# A log that begins later


def _under_way_at_the_start(life: Life, since: float) -> tuple[tuple[float, float], ...]:
    """The time in which an action may land that was begun before the log, if there is such one."""
    act = None if life.start is None else life.start.act
    return () if act is None or act.ends <= since else ((since, act.ends),)


def _from(since: float, log: LoggedLife) -> LoggedLife:
    """The same log with its times counted from a second on."""
    return replace(
        log,
        until=log.until - since,
        entries=tuple(_earlier(since, entry) for entry in log.entries),
        runs=tuple(Run(run.since - since, run.until - since, run.is_clean) for run in log.runs),
        lost=tuple((start - since, end - since) for start, end in log.lost),
        skipped=tuple(t - since for t in log.skipped),
    )


def _earlier(since: float, entry: Entry) -> Entry:
    if isinstance(entry, Action):
        return entry._replace(t=entry.t - since, began=entry.began - since)
    return entry._replace(t=entry.t - since)
