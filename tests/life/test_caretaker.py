"""The caretaker without an engine: on a plain loop it does what it does in a simulated life."""

import math
import subprocess
import sys
from collections import deque

import pytest

from petsim.life.caretaker import Act, Rounds, load_caretaker
from petsim.life.draws import sample
from petsim.life.kinds import ACTION_KINDS, EventKind
from petsim.life.policy import clock_at
from petsim.life.schedule import Schedule
from petsim.life.simulate import simulate
from petsim.life.streams import Stream
from petsim.spec.clocks import Begins
from petsim.spec.library import load_model, load_regime
from petsim.spec.quantities import DAY
from tests.life.worlds import fields, pet, regime, seconds

SEED, NUMBER = 7, 3
END = 9 * DAY
NEEDS = {"drops": {"hunger": "uniform 1 h to 5 h", "mood": "uniform 2 h to 3 h"}}
PET = pet(
    fields(**NEEDS, waste={"every": "9 h", "pile max": 3}),
    fields(**NEEDS),
    egg="5 h",
    lasts="4 days",
    begins="Thursday 08:15",
)


class LifeOverError(Exception):
    """The scripted life has ended."""


class PlainHost:
    """A host that is a loop over a fake clock, with a pet that does what it did in another life.

    It knows of that life when the pet grew, when it began to call, when the power failed, when a
    check was forgotten, and what was seen. What comes of the caretaker's work it writes down:
    `checks` as (t, kind), `actions` as (t, action) when they are over, `presses` in all.
    """

    def __init__(self, life):
        self.now, self.stage = 0, None
        self.checks, self.actions, self.presses = [], [], 0
        self._model, self._regime = life.model, life.caretaker.regime
        self._script, self._sights = deque(life.entries), deque(life.sights)
        self.streams = {
            source: Stream(life.seed, source, life.number)
            for source in ("first check", "jitter", "late", "hears", "reaction")
        }
        self._forgotten = {e.t for e in life.entries if e.event == EventKind.CHECK_FORGOTTEN}
        policy = life.caretaker.policy(life.model, life.number, self._clock)
        self._rounds = Rounds(life.model, self._regime, policy, self, self.streams)

    def live(self):
        """Look after the pet until its life is over."""
        try:
            while self._soonest() < END:
                self._step()
        except LifeOverError:
            pass

    def look(self):
        """An observation: what was seen when this signal was read in the other life."""
        return self

    def forgets(self):
        """Whether the check that comes now was forgotten in the other life."""
        return self.now in self._forgotten

    def __getitem__(self, signal):
        sight = self._sights.popleft()
        assert (sight.t, sight.signal) == (self.now, signal)
        return sight.seen

    def _clock(self):
        return clock_at(self.now, self._model.begins)

    def _scripted(self):
        return self._script[0].t if self._script else math.inf

    def _ringing(self):
        second = self._rounds.next_second
        return math.inf if second is None else second

    def _soonest(self):
        return min(self._scripted(), self._ringing())

    def _step(self):
        """What comes next happens: in one second, the world before the caretaker."""
        self.now = self._soonest()
        if self._scripted() == self.now:
            self._tell(self._script.popleft())
            return
        comes = self._rounds.ring(self.now)
        self.checks += [(self.now, kind) for kind in comes]
        if EventKind.CHECK in comes:
            self._carry_out()

    def _tell(self, event):
        if event.event in (EventKind.BIRTH, EventKind.GROWTH):
            self.stage = self._model.forms[event.what].stage
            self._rounds.grow(event.t)
        elif event.event == EventKind.OUTAGE_BEGINS:
            self._rounds.power_fails()
        elif event.event == EventKind.OUTAGE_ENDS:
            self._rounds.power_returns()
        elif event.event == EventKind.DROP and event.value == 0:
            self._hear(event.t)

    def _hear(self, t):
        listens = self._regime.listens
        if listens and self.streams["hears"].next() < listens.hears:
            self._rounds.answer(t + sample(listens.reacts_in, self.streams["reaction"].next()))

    def _carry_out(self):
        while (act := self._rounds.next_act()) is not None:
            self.presses += act.presses
            self._sleep(act.takes)
            if act.action is not None:
                self.actions.append((self.now, act.action))

    def _sleep(self, takes):
        end = self.now + takes
        if end >= END:
            raise LifeOverError
        while self._scripted() <= end or self._ringing() < end:
            self._step()
        self.now = end


FEED = {"when": {"hunger": "below 4"}, "do": "feed", "repeat": "until met"}
CHEER = {"when": {"mood": "below 2"}, "do": "cheer", "repeat": "until met"}
CLEAN = {"when": {"waste": "at least 1", "calling": "no"}, "do": "clean"}
WEEK = [
    {"during": "22:30 to 07:10", "every": "never"},
    {"during": "08:00 to 16:00 on Mon-Fri", "every": "35 min"},
    {"during": "09:00 to 24:00 on Sat", "every": "17 min"},
]
EARS = {"hears": "95%", "reacts in": "uniform 1 min to 20 min"}
SLOW = {"opening": {"takes": "40 s", "presses": 2}, "feed": {"takes": "7 min"}}
POWER = {"up": "exponential 7 h", "down": "uniform 5 min to 3 h"}
LATE = {"every": "20 min", "first": "random", "late": "exponential 15 min", "windows": WEEK[:2]}
MEALS = {"at": ["07:15", "12:30 on weekdays", "17:00", "18:45", "19:30 on Fri-Mon", "22:40"]}
STATUS = {"look": ["discipline", "calling"]}
REGIMES = {
    "every": regime(FEED, CLEAN, every="10 min"),
    "unconditional": regime({"do": "cheer", "repeat": 2}, FEED, every="3 h", passes=2),
    "windows": regime(FEED, CLEAN, checks={"every": "50 min", "first": "9 min", "windows": WEEK}),
    "by stage": regime(
        FEED,
        checks={
            "every": "45 min",
            "first": "4 min",
            "by stage": {"egg": "never", "young": "7 min", "adult": "25 min"},
        },
    ),
    "random first": regime(FEED, CLEAN, every="90 min", first="random"),
    "jitter": regime(FEED, checks={"every": "20 min", "first": "random", "jitter": "19 min"}),
    "jitter and windows": regime(
        FEED, checks={"every": "20 min", "first": "0 s", "jitter": "16 min", "windows": WEEK}
    ),
    "never": regime(FEED, CLEAN, checks={"every": "never"}),
    "never but heard": regime(FEED, CHEER, checks={"every": "never"}, listens=EARS),
    "grid and heard": regime(
        FEED, CHEER, checks={"every": "7 h", "first": "random", "windows": WEEK[:1]}, listens=EARS
    ),
    "outages": regime(FEED, CLEAN, every="10 min", outages=POWER),
    "busy": regime(FEED, CLEAN, every="6 min", hands=SLOW),
    "late": regime(FEED, CLEAN, checks=LATE),
    "clock times": regime(FEED, CLEAN, checks=MEALS),
    "clock times and jitter": regime(
        FEED,
        checks=MEALS
        | {"jitter": "44 min", "windows": [{"during": "18:50 to 19:15", "every": "never"}]},
    ),
    "clock times and late": regime(FEED, checks=MEALS | {"late": "uniform 0 s to 3 h"}, hands=SLOW),
    "forgetful": regime(
        FEED, CLEAN, checks={"every": "25 min", "first": "0 s", "forgets": "30%"}, listens=EARS
    ),
    "status": regime(
        STATUS, FEED, STATUS | {"when": {"hunger": "below 3"}}, every="90 min", passes=3
    ),
    "late, forgetful and heard": regime(
        FEED,
        CLEAN,
        checks=LATE | {"forgets": "20%"},
        listens=EARS,
        hands=SLOW,
        outages=POWER,
    ),
    "all at once": regime(
        FEED,
        CLEAN,
        checks={"every": "20 min", "first": "random", "jitter": "16 min", "windows": WEEK},
        listens=EARS,
        hands=SLOW,
        outages=POWER,
        eyes={"hunger": {"misreads": "20%"}, "waste": {"overlooks": "30%", "imagines": "5%"}},
        passes=3,
    ),
}


class Thoughtful:
    """Feeds up to what it saw, and looks again, but not in every check."""

    regime = regime(every="15 min", first="random", hands=SLOW, outages=POWER)

    def __init__(self):
        self.checks = 0

    def check(self, look):
        self.checks += 1
        if self.checks % 3:
            seen = look()
            yield from ["feed"] * (5 - seen["hunger"])
            if look()["waste"] > 1:
                yield "clean"


def simulated(source):
    """A life of the reference engine."""
    return simulate(PET, source, seed=SEED, life=NUMBER, days=END / DAY)


def checks_of(life):
    """The checks of a life that started, were skipped or were forgotten, in order."""
    kinds = (EventKind.CHECK, EventKind.CHECK_SKIPPED, EventKind.CHECK_FORGOTTEN)
    return [(event.t, event.event) for event in life.entries if event.event in kinds]


@pytest.mark.parametrize("source", [*REGIMES.values(), Thoughtful], ids=[*REGIMES, "policy"])
def test_the_same_checks_and_actions_come_without_an_engine(source):
    life = simulated(source)
    host = PlainHost(life)
    host.live()
    assert host.checks == checks_of(life)
    assert host.actions == [(e.t, e.what) for e in life.entries if e.event in ACTION_KINDS]
    assert host.presses == life.summary["presses"]
    assert {s: x.drawn for s, x in host.streams.items() if x.drawn} == {
        source: drawn for source, drawn in life.draws.items() if source in host.streams
    }


@pytest.mark.parametrize("name", REGIMES)
def test_those_lives_are_worth_comparing(name):
    summary = simulated(REGIMES[name]).summary
    assert (summary["checks"] > 20) == (name != "never")
    assert (summary["done.feed"] > 20) == (name != "never")
    skipping = ("outages", "busy", "late", "late, forgetful and heard", "all at once")
    assert (summary["checks_skipped"] > 20) == (name in skipping)
    assert (summary["checks_forgotten"] > 20) == ("forgetful" in name)


def loaded_with(module):
    """The modules of SimPy and of the engines that are loaded with one."""
    heavy = ("simpy", "petsim.life.reference", "petsim.life.compiled")
    program = f"import sys, {module}; print(*(set({heavy!r}) & sys.modules.keys()))"
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    return set(done.stdout.split())


def test_the_caretaker_loads_no_engine():
    assert loaded_with("petsim.life.caretaker") == set()
    assert loaded_with("petsim.life.reference") == {"simpy", "petsim.life.reference"}


def due_seconds(schedule, stage, end):
    """The seconds before end at which a schedule has checks fall due, ringing where it says."""
    t, due = schedule.next_second(0, stage), []
    while t is not None and t < end:
        due += [t] if schedule.is_due(t, stage) else []
        t = schedule.next_second(t + 1, stage)
    return due


@pytest.mark.parametrize("stage", ["young", "adult"])
@pytest.mark.parametrize("first", [0, 5, 1000])
@pytest.mark.parametrize(
    "checks",
    [
        {"every": "7 min"},
        {"every": "13 min", "windows": WEEK},
        {"every": "4 min", "windows": WEEK[1:], "by stage": {"young": "never", "adult": "9 min"}},
        {"at": ["07:15 on weekends", "12:30", "12:30:01 on Thu-Sat", "00:00", "23:59:59"]},
        {"at": ["09:00 on Fri"], "windows": [{"during": "09:30 to 09:31", "every": "never"}]},
        {"at": ["09:00", "09:31"], "windows": [{"during": "09:30 to 09:32", "every": "never"}]},
        {},
    ],
)
def test_no_second_that_is_due_lies_between_those_that_a_schedule_names(checks, first, stage):
    begins, end = Begins(4, 60 * 60), 3 * DAY
    content = checks if "at" in checks else {"first": seconds(first), "every": "never"} | checks
    schedule = Schedule(load_regime(regime(checks=content)).checks, first, begins)
    due = due_seconds(schedule, stage, end)
    assert due == [t for t in range(end) if schedule.is_due(t, stage)]
    assert bool(due) == (checks != {})


def test_call_that_is_answered_sooner_takes_the_place_of_the_one_pending():
    caretaker = load_caretaker(regime(checks={"every": "never"}), None)

    class Nobody:
        stage = "young"

        def look(self):
            raise AssertionError("there is no routine to look for")

        def forgets(self):
            raise AssertionError("a check that is heard is not forgotten")

    streams = {source: Stream(0, source, 0) for source in ("first check", "jitter")}
    model = load_model(PET)
    policy = caretaker.policy(model, 0, lambda: clock_at(0, model.begins))
    rounds = Rounds(model, caretaker.regime, policy, Nobody(), streams)
    rounds.grow(0)
    assert rounds.next_second is None
    for second, earliest in ((50, 50), (70, 50), (30, 30)):
        rounds.answer(second)
        assert rounds.next_second == earliest
    assert rounds.ring(30) == [EventKind.CHECK]
    assert rounds.next_second is None
    assert rounds.next_act() == Act(None, takes=0, presses=0)
    assert rounds.next_act() is None
