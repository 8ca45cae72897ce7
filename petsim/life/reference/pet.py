"""The pet: its needs, waste, illness, sleep, misbehaviour, growth and deaths."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

from petsim.life import draws
from petsim.life.kinds import ILLNESS, LIGHTS, WASTE, EventKind, Turn
from petsim.life.luck import Luck
from petsim.life.policy import Clock, clock_at
from petsim.life.reference.illness import IllnessProcess
from petsim.life.reference.tally import Tally
from petsim.life.reference.timers import AwakeTimer, Seconds, Timer, order
from petsim.life.state import ALL, State
from petsim.spec.clocks import Window
from petsim.spec.laws import Distribution
from petsim.spec.model import (
    MOST_DISCIPLINE,
    NEGLECT,
    OLD_AGE,
    UNDECIDED,
    UNTREATED,
    Conditions,
    Form,
    Model,
)
from petsim.spec.quantities import DAY


class Pet:
    """The state of one pet and everything of it that falls due.

    until_outcome: whether the life is over with the growth that decides its outcome.
    ends: called when the life is over.
    """

    def __init__(
        self,
        model: Model,
        env: Seconds,
        luck: Luck,
        tally: Tally,
        *,
        until_outcome: bool,
        ends: Callable[[], object],
    ) -> None:
        self._model = model
        self._env = env
        self._luck = luck
        self._tally = tally
        self._until_outcome = until_outcome
        self._ends = ends

        self._clock = clock_at(0, model.begins)
        self.form_name = model.root
        self.form: Form = model.forms[model.root]
        self.levels = {name: need.starts for name, need in model.needs.items()}
        self.pile = 0
        self.asleep = False
        self.lights = True
        self.misbehaving = False
        self.weight = model.weight.starts
        self.discipline = model.discipline.starts
        self._misses_in_form = dict.fromkeys((ALL, *model.causes), 0)
        self._misses_in_life = {**self._misses_in_form}
        self._set_up_timers()

    def _set_up_timers(self) -> None:
        env, needs = self._env, list(enumerate(self._model.needs))
        self._awake_timers: list[AwakeTimer] = []
        self._growth = Timer(env, order(Turn.GROWTH), self._outlasts_its_form)
        self._sleep_edge = Timer(env, order(Turn.SLEEP), self._crosses_a_sleep_edge)
        self._drops = {
            need: self._awake(Turn.DROP, index, partial(self._drop, need)) for index, need in needs
        }
        self._waste = self._awake(Turn.WASTE, 0, self._leaves_waste)
        self._misbehaviour_ends = self._awake(Turn.MISBEHAVIOUR, 0, self._lapses)
        self._misbehaviour_begins = self._awake(Turn.MISBEHAVIOUR, 1, self._misbehaves)
        self._deadlines = {
            need: self._awake(Turn.DEADLINE, index, partial(self._need_missed, need))
            for index, need in needs
        }
        n = len(needs)
        self._waste_deadline = self._awake(Turn.DEADLINE, n, self._waste_missed)
        self._lights_deadline = Timer(env, order(Turn.DEADLINE, n + 2), self._lights_due)
        self._fatal = {
            need: self._awake(Turn.DEATH, index, partial(self._dies, self._model.needs[need].death))
            for index, need in needs
        }
        self._illness = IllnessProcess(
            env,
            self._luck,
            self._tally,
            Timer(env, order(Turn.DEADLINE, n + 1), partial(self._miss, ILLNESS)),
            Timer(env, order(Turn.DEATH, n), partial(self._dies, UNTREATED)),
        )
        self._neglect = Timer(env, order(Turn.DEATH, n + 1), partial(self._dies, NEGLECT))
        self._old_age = Timer(env, order(Turn.DEATH, n + 2), partial(self._dies, OLD_AGE))

    @property
    def _timers(self) -> dict[str, Timer]:
        """What can fall due in a later second, by the names that a state has for it."""
        return {
            "growth": self._growth,
            "sleep edge": self._sleep_edge,
            **{f"drop {need}": timer for need, timer in self._drops.items()},
            "waste": self._waste,
            "lapse": self._misbehaviour_ends,
            "misbehaves": self._misbehaviour_begins,
            **{f"deadline {need}": timer for need, timer in self._deadlines.items()},
            "waste deadline": self._waste_deadline,
            "lights deadline": self._lights_deadline,
            **{f"fatal {need}": timer for need, timer in self._fatal.items()},
            **self._illness.timers,
        }

    def _awake(self, turn: Turn, index: int, ring: Callable[[], None]) -> AwakeTimer:
        timer = AwakeTimer(self._env, order(turn, index), ring)
        self._awake_timers.append(timer)
        return timer

    # What can be seen of it

    @property
    def ill(self) -> bool:
        """Whether it is ill."""
        return self._illness.ill

    @property
    def calling(self) -> bool:
        """Whether it calls: awake, with a need at 0 or misbehaving."""
        if self.asleep or self.form.dormant:
            return False
        return self.misbehaving or 0 in self.levels.values()

    @property
    def clock(self) -> Clock:
        """Its own clock now."""
        now = self._env.now
        if self._clock.t != now:
            self._clock = clock_at(now, self._model.begins)
        return self._clock

    def full(self, need: str) -> int:
        """The highest level of a need."""
        return self._model.needs[need].full

    # Growth

    def be_born(self, begins_to_call: Callable[[], None], grown: Callable[[], None]) -> None:
        """Become the root form, at second 0.

        begins_to_call: called when a need reaches 0 awake or a misbehaviour begins.
        grown: called after each growth.
        """
        self._begins_to_call = begins_to_call
        self._grown = grown
        self._illness.be_born()
        for need, level in self.levels.items():
            self._tally.enter(f"level_s.{need}.{level}", 0)
        self._enter(self._model.root, EventKind.BIRTH)

    def state(self, t: int) -> dict[str, Any]:
        """Return what a state of second t says of it."""
        timers = self._timers.items()
        left = {name: t.left for name, t in timers if isinstance(t, AwakeTimer)}
        return {
            "form": self.form_name,
            "levels": dict(self.levels),
            "pile": self.pile,
            "weight": self.weight,
            "discipline": self.discipline,
            "asleep": self.asleep,
            "lights": self.lights,
            "misbehaving": self.misbehaving,
            **self._illness.state(t),
            "misses_in_form": dict(self._misses_in_form),
            "misses_in_life": dict(self._misses_in_life),
            "due": {name: t.at for name, t in timers if t.at is not None},
            "left": {name: seconds for name, seconds in left.items() if seconds is not None},
        }

    def be_taken_over(
        self, state: State, begins_to_call: Callable[[], None], grown: Callable[[], None]
    ) -> None:
        """Be taken over at second 0 as a state says; the rest is as in `be_born`."""
        self.go_on(state, begins_to_call, grown)
        self._tally.note(state.t, EventKind.TAKEN_OVER, state.form)
        if self._until_outcome and state.outcome != UNDECIDED:
            self._ends()
            return
        self._settle_sleep()
        self._set_risk()
        self._grown()

    def go_on(
        self, state: State, begins_to_call: Callable[[], None], grown: Callable[[], None]
    ) -> None:
        """Go on from where a state says that it was left; the rest is as in `be_born`."""
        self._begins_to_call = begins_to_call
        self._grown = grown
        self.form_name, self.form = state.form, self._model.forms[state.form]
        self.levels, self.pile = dict(state.levels), state.pile
        self.weight, self.discipline = state.weight, state.discipline
        self.asleep, self.lights = state.asleep, state.lights
        self.misbehaving = state.misbehaving
        self._misses_in_form = dict(state.misses_in_form)
        self._misses_in_life = dict(state.misses_in_life)
        self._illness.resume(state, self.form.illness)
        for name, timer in self._timers.items():
            timer.resume(state.due.get(name))
            if self.asleep and isinstance(timer, AwakeTimer):
                timer.resume_asleep(state.left.get(name))
        for need, level in self.levels.items():
            self._tally.enter(f"level_s.{need}.{level}", state.t)
        if self.asleep:
            self._tally.enter("asleep_s", state.t)

    def _outlasts_its_form(self) -> None:
        rules = self.form.grows_into
        if not rules:
            self._old_age.set(0)
            return
        successor = next(rule.form for rule in rules if self._meets(rule.conditions))
        self._enter(successor, EventKind.GROWTH)

    def _meets(self, conditions: Conditions) -> bool:
        counted = (
            (conditions.misses_in_form, self._misses_in_form),
            (conditions.misses_in_life, self._misses_in_life),
        )
        for comparisons, misses in counted:
            if not all(bound.holds(misses[cause]) for cause, bound in comparisons.items()):
                return False
        return (conditions.discipline is None or conditions.discipline.holds(self.discipline)) and (
            conditions.weight is None or conditions.weight.holds(self.weight)
        )

    def _enter(self, name: str, kind: EventKind) -> None:
        was_dormant = kind is EventKind.BIRTH or self.form.dormant
        self._stop_misbehaving()
        self.form_name, self.form = name, self._model.forms[name]
        self._misses_in_form = dict.fromkeys(self._misses_in_form, 0)
        self._report_growth(kind)
        if self._decides_outcome() and self._until_outcome:
            self._ends()
            return
        self.weight = max(self.weight, self.form.weight_min)
        self._growth.set(self._sample("growth", self.form.lasts))
        self._draw_anew()
        self._settle_sleep()
        self._set_risk()
        if was_dormant and not self.form.dormant:
            for need, level in self.levels.items():
                if level == 0:
                    self._empties(need)
        self._grown()

    def _report_growth(self, kind: EventKind) -> None:
        now, row = self._env.now, self._tally.row
        row[f"entered_s.{self.form_name}"] = now
        row[f"weight_at.{self.form_name}"] = self.weight
        row[f"discipline_at.{self.form_name}"] = self.discipline
        self._tally.note(now, kind, self.form_name)

    def _decides_outcome(self) -> bool:
        row = self._tally.row
        if self.form.stage != self._model.outcome_stage or row["outcome"] != UNDECIDED:
            return False
        row["outcome"] = self.form_name
        return True

    def _draw_anew(self) -> None:
        """At growth every wait that depends on the stage's rates starts again."""
        for need, timer in self._drops.items():
            self._restart(timer, f"drops {need}", self.form.drops.get(need))
        waste, misbehaviour = self.form.waste, self.form.misbehaviour
        self._restart(self._waste, "waste", waste.every if waste else None)
        self._restart(
            self._misbehaviour_begins, "misbehaviour", misbehaviour.every if misbehaviour else None
        )

    def _restart(self, timer: Timer, source: str, wait: Distribution | None) -> None:
        if wait is None:
            timer.cancel()
        else:
            timer.set(self._sample(source, wait))

    def _sample(self, source: str, duration: Distribution) -> int:
        return draws.sample(duration, self._luck[source].next())

    # Sleep

    def _settle_sleep(self) -> None:
        sleeps = self._sleeps_now()
        if self.asleep and not sleeps:
            self._wake()
        elif sleeps and not self.asleep:
            self._fall_asleep()
        self._sleep_edge.cancel()
        self._sleep_edge.start(_seconds_to_edge(self.form.sleeps, self.clock.second))

    def _sleeps_now(self) -> bool:
        return any(self.clock.within(window) for window in self.form.sleeps)

    def _crosses_a_sleep_edge(self) -> None:
        self._settle_sleep()

    def _fall_asleep(self) -> None:
        now = self._env.now
        self.asleep = True
        self._tally.enter("asleep_s", now)
        self._tally.note(now, EventKind.ASLEEP)
        if self.misbehaving:
            self._stop_misbehaving()
            self._await_misbehaviour()
        for timer in self._awake_timers:
            timer.fall_asleep()
        self._lights_deadline.start(self.form.lights_grace)

    def _wake(self) -> None:
        now = self._env.now
        self.asleep = False
        self.lights = True
        self._tally.leave("asleep_s", now)
        self._tally.note(now, EventKind.AWAKE)
        self._lights_deadline.cancel()
        for timer in self._awake_timers:
            timer.wake()

    def _lights_due(self) -> None:
        if self.lights:
            self._miss(LIGHTS)

    # Needs

    def _drop(self, need: str) -> None:
        self._drops[need].set(self._sample(f"drops {need}", self.form.drops[need]))
        if self.levels[need] > 0:
            self._tally.note(self._env.now, EventKind.DROP, need, self.levels[need] - 1)
            self._lower(need, 1)

    def _lower(self, need: str, by: int) -> None:
        before = self.levels[need]
        self._set_level(need, max(0, before - by))
        if before > 0 and self.levels[need] == 0:
            self._empties(need)

    def raise_need(self, need: str, by: int) -> bool:
        """Raise a need's level; return whether that changed anything."""
        before = self.levels[need]
        self._set_level(need, min(self._model.needs[need].full, before + by))
        if before == 0:
            self._deadlines[need].cancel()
            self._fatal[need].cancel()
        return self.levels[need] != before

    def _set_level(self, need: str, level: int) -> None:
        now, before = self._env.now, self.levels[need]
        if level != before:
            self.levels[need] = level
            self._tally.leave(f"level_s.{need}.{before}", now)
            self._tally.enter(f"level_s.{need}.{level}", now)

    def _empties(self, need: str) -> None:
        self._deadlines[need].start(self.form.grace.get(need))
        self._fatal[need].start(self.form.fatal_after.get(need))
        if not self.asleep:
            self._begins_to_call()

    def _need_missed(self, need: str) -> None:
        self._miss(need)
        self._deadlines[need].start(self.form.again_after.get(need))

    def _miss(self, cause: str) -> None:
        for column in ("misses", f"misses.{cause}", f"misses_in.{self.form_name}"):
            self._tally.count(column)
        self._tally.count(f"misses_at.{self.clock.hour:02}")
        for misses in (self._misses_in_form, self._misses_in_life):
            misses[cause] += 1
            misses[ALL] += 1
        in_life, fatal = self._misses_in_life[ALL], self._model.fatal_misses
        self._tally.note(self._env.now, EventKind.MISS, cause, in_life)
        if fatal is not None and in_life >= fatal:
            self._neglect.set(0)

    # Waste

    def _leaves_waste(self) -> None:
        waste = self.form.waste
        assert waste is not None
        self._waste.set(self._sample("waste", waste.every))
        if self.pile >= waste.pile_max:
            return
        self.pile += 1
        self._tally.note(self._env.now, EventKind.WASTE, value=self.pile)
        if self.pile == 1:
            self._waste_deadline.start(waste.grace)
        self._set_risk()

    def _waste_missed(self) -> None:
        self._miss(WASTE)
        if self.form.waste is not None:
            self._waste_deadline.start(self.form.waste.again_after)

    def clean(self) -> bool:
        """Clear its waste away; return whether there was any."""
        if self.pile == 0:
            return False
        self.pile = 0
        self._waste_deadline.cancel()
        self._set_risk()
        return True

    def _set_risk(self) -> None:
        """What its risk of falling ill goes by has changed, or may have."""
        self._illness.set_risk(self.form.illness, self.pile, self.weight)

    # Misbehaviour

    def _await_misbehaviour(self) -> None:
        if self.form.misbehaviour is not None:
            wait = self._sample("misbehaviour", self.form.misbehaviour.every)
            self._misbehaviour_begins.set(wait)

    def _misbehaves(self) -> None:
        misbehaviour = self.form.misbehaviour
        assert misbehaviour is not None
        self.misbehaving = True
        self._misbehaviour_ends.set(self._sample("misbehaviour window", misbehaviour.window))
        self._tally.note(self._env.now, EventKind.MISBEHAVES)
        self._begins_to_call()

    def _stop_misbehaving(self) -> None:
        self.misbehaving = False
        self._misbehaviour_ends.cancel()

    def _lapses(self) -> None:
        self._stop_misbehaving()
        self.discipline = max(0, self.discipline - self._model.discipline.lapse_costs)
        self._tally.count("lapses")
        self._tally.note(self._env.now, EventKind.LAPSE, value=self.discipline)
        self._await_misbehaviour()

    def reprimand(self) -> bool:
        """Reprimand it; return whether that was fair."""
        discipline = self._model.discipline
        if self.misbehaving:
            self._stop_misbehaving()
            self.discipline = min(MOST_DISCIPLINE, self.discipline + discipline.step)
            self._await_misbehaviour()
            return True
        self._tally.count("unfair")
        for need, cost in discipline.unfair_costs.items():
            self._lower(need, cost)
        return False

    # What care does

    def gain(self, by: int) -> bool:
        """Change its weight; return whether that changed anything."""
        weight = max(self.form.weight_min, self.weight + by)
        if weight == self.weight:
            return False
        self.weight = weight
        self._set_risk()
        return True

    def treat(self) -> bool:
        """Give it a dose; return whether it needed one."""
        return self._illness.treat()

    def turn_lights(self, to: str) -> bool:
        """Turn the lights on or off; return whether that changed anything, as it can't awake."""
        on = to == "on" or not self.asleep
        changed = on != self.lights
        self.lights = on
        return changed

    # Death

    def _dies(self, cause: str | None) -> None:
        assert cause is not None
        row = self._tally.row
        row["died"] = cause
        if row["outcome"] == UNDECIDED:
            row["outcome"] = cause
        self._tally.note(self._env.now, EventKind.DEATH, cause)
        self._ends()


def _seconds_to_edge(windows: tuple[Window, ...], second: int) -> int | None:
    """Seconds from a second of the day to the next at which sleep begins or ends; None if never."""

    def holds(at: int) -> bool:
        return any(window.holds(at % DAY, 0) for window in windows)

    waits = sorted({(edge - second - 1) % DAY + 1 for w in windows for edge in (w.start, w.end)})
    return next((wait for wait in waits if holds(second + wait) != holds(second)), None)
