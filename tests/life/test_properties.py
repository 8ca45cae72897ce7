"""What holds in every life, whatever the pet and whoever looks after it.

The pets and regimes are random and invented (`tests.strategies`). Most of what is asked of a life
is that its summary and its event log, kept apart by the engine, tell the same story: `Ledger` goes
through the log with nothing but the model, as one who audits books.
"""

from __future__ import annotations

import math
from collections import Counter
from functools import cache, partial
from itertools import groupby, pairwise
from operator import attrgetter

from hypothesis import strategies as st

from petsim.life.caretaker import load_caretaker
from petsim.life.draws import sample
from petsim.life.kinds import ACTION_KINDS, Turn
from petsim.life.simulate import Span, choose_engine, simulate
from petsim.life.streams import uniform
from petsim.spec.library import load_model, load_regime
from petsim.spec.model import NEGLECT, OLD_AGE, UNDECIDED, UNTREATED
from petsim.spec.parts import as_yaml
from petsim.spec.quantities import DAY
from petsim.study.batch import batch
from tests.drawn import examples, in_rigs, in_worlds, of_each, random_rigs, random_worlds
from tests.strategies import NEEDS, World, models, pace, regimes, worlds


def live(world, *, model=None, regime=None, span=None):
    """The life of a world, or of one with another model, regime or span."""
    return simulate(
        model or world.model,
        regime or world.regime,
        seed=world.seed,
        life=world.life,
        **(span or world.span),
    )


@cache
def lived():
    """All random worlds, each with its life."""
    return tuple((world, live(world)) for world in random_worlds())


@cache
def lived_everywhere():
    """The same, and those with what real rigs and people add."""
    return lived() + tuple((world, live(world)) for world in random_rigs())


def in_all_worlds(number):
    """Make a check of a world a test of random ones, so many without and with what rigs add."""
    return of_each(lambda: random_worlds(number) + random_rigs(number))


class Ledger:
    """A life told from its log: what the pet is like after each event, and for how long it was.

    It also keeps what falls due, so that a miss, a death or an illness comes neither early nor
    late nor for nothing, and what growth goes by. What is drawn from chance it takes as told, but
    for the thresholds of illness.
    """

    def __init__(self, life):
        self.life = life
        self.model = life.model
        self.t = 0
        self.awake_s = 0
        self.form = None
        self.entered = {}
        self.weight = self.model.weight.starts
        self.weight_at = {}
        self.discipline = self.model.discipline.starts
        self.discipline_at = {}
        self.levels = {name: need.starts for name, need in self.model.needs.items()}
        self.pile = 0
        self.doses_left = 0
        self.cured = False
        self.asleep = False
        self.lights = True
        self.misbehaving = False
        self.power = True
        self.in_spell = False
        self.row = Counter()
        self.misses = {"in_form": Counter(), "in_life": Counter()}
        self.illnesses = 0
        self.risk, self.rate = 0.0, 0.0
        # (miss or death, of what): the second it falls due in, by awake time or by the clock
        self.due = {}
        self.due_by_clock = {}
        for event in life.entries:
            self._pass_time(event.t)
            self._follow(event)
        self._pass_time(life.summary["end_s"])

    @property
    def ill(self):
        return self.doses_left > 0

    # Time

    def _pass_time(self, t):
        past, self.t = t - self.t, t
        assert past >= 0
        if past:
            # a cure follows the dose that brings it at once, and so does death of neglect
            assert not self.cured
            assert self.model.fatal_misses is None or self.row["misses"] < self.model.fatal_misses
            self.awake_s += past * (not self.asleep and not self.form.dormant)
            self._run_risk(past)
        for need, level in self.levels.items():
            self.row[f"level_s.{need}.{level}"] += past
        self.row["ill_s"] += past * self.ill
        self.row["asleep_s"] += past * self.asleep
        self.row["spells_s"] += past * self.in_spell
        if not self.lights and t >= self.due_by_clock.get(("miss", "lights"), math.inf):
            del self.due_by_clock["miss", "lights"]
        assert all(due >= self.awake_s for due in self.due.values())
        assert all(due >= t for due in self.due_by_clock.values())

    @property
    def threshold(self):
        """The risk at which it falls ill next, give or take the rounding of sums."""
        return -math.log1p(-uniform(self.life.seed, "illness", self.life.number, self.illnesses))

    def _run_risk(self, past):
        """Run the risk of falling ill; it does in the second that reaches the threshold."""
        assert self.ill or self.risk <= self.threshold + 1e-9
        illness = self.form.illness
        self.rate = 0.0
        if illness is not None and not self.ill:
            excess = max(0, self.weight - (illness.heavy_above or 0))
            per_day = illness.base + illness.per_waste * self.pile + illness.per_excess * excess
            self.rate = per_day / DAY
        self.risk += self.rate * past
        assert self.ill or self.risk <= self.threshold + self.rate + 1e-9

    def _await(self, due, now, waits):
        due.update({of: now + wait for of, wait in waits.items() if wait is not None})

    def _forget(self, what):
        for due in (self.due, self.due_by_clock):
            due.pop(("miss", what), None)
            due.pop(("death", what), None)

    # Events

    def _follow(self, event):
        assert (event.event == "well") == self.cured
        self.cured = False
        if event.event in ACTION_KINDS:
            self._undergo(event.event, event.what)
        else:
            getattr(self, "_" + event.event.replace(" ", "_"))(event)

    def _birth(self, event):
        assert (event.t, event.what) == (0, self.model.root)
        self._growth(event)

    def _growth(self, event):
        was_dormant = self.form is None or self.form.dormant
        if self.form is not None:
            assert event.what == next(r.form for r in self.form.grows_into if self._meets(r))
        self.form = self.model.forms[event.what]
        self.misses["in_form"].clear()
        if self.form.illness is None:
            # what falls due in this second does not happen; later it does, at once
            self.risk = min(self.risk, self.threshold)
        self.entered[event.what] = event.t
        self.weight_at[event.what] = self.weight
        self.discipline_at[event.what] = self.discipline
        self.weight = max(self.weight, self.form.weight_min)
        self.misbehaving = False
        if was_dormant and not self.form.dormant:
            for need, level in self.levels.items():
                if level == 0:
                    self._empties(need)

    def _meets(self, rule):
        wanted = rule.conditions
        found = [
            (
                comparison,
                self.misses[where].total() if cause == "all" else self.misses[where][cause],
            )
            for where in ("in_form", "in_life")
            for cause, comparison in getattr(wanted, f"misses_{where}").items()
        ]
        found += [(wanted.discipline, self.discipline), (wanted.weight, self.weight)]
        return all(comparison is None or comparison.holds(value) for comparison, value in found)

    def _asleep(self, event):
        assert not self.asleep
        self.asleep, self.lights, self.misbehaving = True, True, False
        self._await(self.due_by_clock, event.t, {("miss", "lights"): self.form.lights_grace})

    def _awake(self, _):
        assert self.asleep
        self.asleep, self.lights = False, True
        self._forget("lights")

    def _drop(self, event):
        assert not self.asleep
        self._set_level(event.what, self.levels[event.what] - 1)
        assert self.levels[event.what] == event.value >= 0

    def _set_level(self, need, level):
        before, self.levels[need] = self.levels[need], level
        if level > 0:
            self._forget(need)
        elif before > 0:
            self._empties(need)

    def _empties(self, need):
        grace, fatal = self.form.grace.get(need), self.form.fatal_after.get(need)
        self._await(self.due, self.awake_s, {("miss", need): grace, ("death", need): fatal})

    def _waste(self, event):
        assert not self.asleep
        self.pile += 1
        assert self.pile == event.value <= self.form.waste.pile_max
        if self.pile == 1:
            self._await(self.due, self.awake_s, {("miss", "waste"): self.form.waste.grace})

    def _ill(self, event):
        assert not self.ill
        assert self.risk >= self.threshold - 1e-9
        self.illnesses += 1
        self.doses_left = event.value
        illness = self.form.illness
        assert self.doses_left in illness.doses
        waits = {("miss", "illness"): illness.grace, ("death", "illness"): illness.fatal_after}
        self._await(self.due_by_clock, event.t, waits)

    def _well(self, _):
        assert not self.ill
        self._forget("illness")
        self.risk = 0.0

    def _misbehaves(self, _):
        assert not (self.asleep or self.misbehaving)
        self.misbehaving = True

    def _lapse(self, event):
        assert self.misbehaving
        self.misbehaving = False
        self.discipline = max(0, self.discipline - self.model.discipline.lapse_costs)
        assert self.discipline == event.value

    def _miss(self, event):
        cause, form = event.what, self.form
        if cause in ("illness", "lights"):
            assert self.due_by_clock.pop(("miss", cause)) == event.t
        else:
            assert not self.asleep
            assert self.due.pop(("miss", cause)) == self.awake_s
            again = form.again_after.get(cause)
            if cause == "waste" and form.waste is not None:
                again = form.waste.again_after
            self._await(self.due, self.awake_s, {("miss", cause): again})
        self.misses["in_form"][cause] += 1
        self.misses["in_life"][cause] += 1
        hour = (self.model.begins.clock + event.t) // 3600 % 24
        for column in ("misses", f"misses.{cause}", f"misses_at.{hour:02}"):
            self.row[column] += 1
        self.row[f"misses_in.{list(self.entered)[-1]}"] += 1
        assert event.value == self.row["misses"]

    def _death(self, event):
        # misses of that second count
        assert event.t not in [
            due for (kind, _), due in self.due_by_clock.items() if kind == "miss"
        ]
        if not self.asleep:
            assert self.awake_s not in [
                due for (kind, _), due in self.due.items() if kind == "miss"
            ]
        if event.what == UNTREATED:
            assert self.due_by_clock["death", "illness"] == event.t
        elif event.what == NEGLECT:
            assert self.row["misses"] >= self.model.fatal_misses
        elif event.what == OLD_AGE:
            assert not self.form.grows_into
        else:
            needs = [name for name, need in self.model.needs.items() if need.death == event.what]
            assert self.awake_s in [self.due.get(("death", need)) for need in needs]

    def _outage_begins(self, _):
        assert self.power
        self.power, self.landed_without = False, 0

    def _outage_ends(self, _):
        assert not self.power
        self.power = True

    def _spell_begins(self, _):
        assert not self.in_spell
        self.in_spell = True

    def _spell_ends(self, _):
        assert self.in_spell
        self.in_spell = False

    def _check(self, _):
        assert self.power

    def _check_skipped(self, _):
        pass

    def _check_forgotten(self, _):
        assert self.power

    # Care

    def _undergo(self, kind, name):
        action = self.model.care[name]
        if kind == "slipped":
            assert self.power
            return
        if not self.power:
            # only what was under way when it failed
            self.landed_without += 1
            assert self.landed_without == 1
        assert (kind == "refused") == self._refuses(action)
        if kind == "lost":
            assert action.works < 1
        if kind in ("refused", "lost"):
            return
        assert action.works > 0
        changed = self._has_effects(action)
        if action.reprimands:
            assert kind == ("done" if self.misbehaving else "unfair")
            self._reprimand()
        else:
            assert kind == ("done" if changed else "wasted")

    def _refuses(self, action):
        full = all(self.levels[n] == self.model.needs[n].full for n in action.raises)
        reasons = {
            "asleep": self.asleep,
            "misbehaving": self.misbehaving,
            "full": bool(action.raises) and full,
        }
        return self.form.dormant or any(reasons[reason] for reason in action.refused_when)

    def _state(self):
        return (*self.levels.values(), self.weight, self.pile, self.doses_left, self.lights)

    def _has_effects(self, action):
        before = self._state()
        for need, by in action.raises.items():
            self._set_level(need, min(self.model.needs[need].full, self.levels[need] + by))
        self.weight = max(self.form.weight_min, self.weight + action.weight)
        if action.cleans:
            self.pile = 0
            self._forget("waste")
        if action.doses:
            self.cured = self.doses_left == 1
            self.doses_left = max(0, self.doses_left - 1)
        if action.lights is not None:
            self.lights = action.lights == "on" or not self.asleep
        return self._state() != before

    def _reprimand(self):
        discipline = self.model.discipline
        if self.misbehaving:
            self.misbehaving = False
            self.discipline = min(100, self.discipline + discipline.step)
            return
        for need, cost in discipline.unfair_costs.items():
            self._set_level(need, max(0, self.levels[need] - cost))


def counted(life, kind, what=None):
    """The number of events of a kind in a log, or of those about one thing."""
    return sum(e.event == kind and what in (None, e.what) for e in life.entries)


def lasts(life, form, place):
    """How long a form lasts, by its draw: one for each form taken, in order."""
    u = uniform(life.seed, "growth", life.number, place)
    return sample(life.model.forms[form].lasts, u)


# The summary and the log


@of_each(lived_everywhere)
def test_the_log_accounts_for_all_seconds_of_the_summary(world_and_life):
    _, life = world_and_life
    ledger, row = Ledger(life), life.summary
    for need, wanted in life.model.needs.items():
        columns = [f"level_s.{need}.{level}" for level in range(wanted.full + 1)]
        assert sum(row[column] for column in columns) == row["end_s"]
        assert {c: row[c] for c in columns} == {c: ledger.row[c] for c in columns}
    assert row["asleep_s"] == ledger.row["asleep_s"] <= row["end_s"]
    assert row["ill_s"] == ledger.row["ill_s"] <= row["end_s"]
    assert row["spells_s"] == ledger.row["spells_s"] <= row["end_s"]


@of_each(lived_everywhere)
def test_the_forms_of_a_life_follow_each_other_without_a_gap(world_and_life):
    _, life = world_and_life
    ledger, row = Ledger(life), life.summary
    for form in life.model.forms:
        assert row[f"entered_s.{form}"] == ledger.entered.get(form, -1)
        assert row[f"weight_at.{form}"] == ledger.weight_at.get(form, -1)
        assert row[f"discipline_at.{form}"] == ledger.discipline_at.get(form, -1)
    taken = sorted(ledger.entered, key=ledger.entered.__getitem__)
    ends = [ledger.entered[form] for form in taken[1:]]
    spans = [end - ledger.entered[form] for form, end in zip(taken, ends, strict=False)]
    assert sum(spans) + row["end_s"] - ledger.entered[taken[-1]] == row["end_s"]
    for (form, after), span in zip(pairwise(taken), spans, strict=True):
        assert span == lasts(life, form, taken.index(form))
        assert after in [rule.form for rule in life.model.forms[form].grows_into]
    # the last one was cut short, unless the pet died of its end
    span = row["end_s"] - ledger.entered[taken[-1]]
    whole = lasts(life, taken[-1], len(taken) - 1)
    assert span == whole if row["died"] == OLD_AGE else span <= whole


@of_each(lived_everywhere)
def test_misses_by_cause_by_form_and_by_hour_sum_alike_and_as_in_the_log(world_and_life):
    _, life = world_and_life
    ledger, row = Ledger(life), life.summary
    for part in ("misses.", "misses_in.", "misses_at."):
        columns = [column for column in row if column.startswith(part)]
        assert sum(row[column] for column in columns) == row["misses"] == counted(life, "miss")
        assert {c: row[c] for c in columns} == {c: ledger.row[c] for c in columns}


@of_each(lived_everywhere)
def test_actions_and_checks_are_those_of_the_log(world_and_life):
    _, life = world_and_life
    row = life.summary
    for action in life.model.care:
        landed = {kind: counted(life, kind, action) for kind in ACTION_KINDS}
        slipped = landed.pop("slipped")
        assert row[f"slipped.{action}"] == slipped
        assert row[f"done.{action}"] == sum(landed.values())
        assert row[f"wasted.{action}"] == landed["refused"] + landed["wasted"]
        assert row[f"lost.{action}"] == landed["lost"]
        assert row[f"done.{action}"] >= row[f"wasted.{action}"] + row[f"lost.{action}"]
    assert row["unfair"] == counted(life, "unfair")
    assert row["lapses"] == counted(life, "lapse")
    assert row["checks"] == counted(life, "check")
    assert row["checks_skipped"] == counted(life, "check skipped")
    assert row["checks_forgotten"] == counted(life, "check forgotten")


@of_each(lived)
def test_presses_are_those_of_the_actions_begun_and_checks_opened(world_and_life):
    world, life = world_and_life
    row, hands = life.summary, load_regime(world.regime).hands
    if any(hand.into and hand.slips for hand in hands.actions.values()):
        # what lands instead of another action has the presses of that
        return
    begun = {a: row[f"done.{a}"] + row[f"slipped.{a}"] for a in life.model.care}
    pressed = sum(number * hands.of(action).presses for action, number in begun.items())
    rest = row["presses"] - pressed - row["checks"] * hands.opening.presses
    # at most one action is under way when a life ends, and it takes time
    cut = {hands.of(action).presses for action in begun if hands.of(action).takes}
    assert row["cut_off"] in (0, 1)
    assert rest in (cut if row["cut_off"] else {0})
    assert row["quiet_presses"] <= row["presses"]
    if "quiet hours" not in world.regime:
        assert row["quiet_presses"] == 0


@in_worlds(80)
def test_done_slipped_and_cut_off_are_all_that_was_started(world):
    # with a press for each action and none for opening, presses count the actions started
    hands = world.regime.get("hands", {})
    plain = {name: hand | {"presses": "1", "into": {}} for name, hand in hands.items()}
    plain["opening"] = hands.get("opening", {}) | {"presses": "0"}
    row = live(world, regime=world.regime | {"hands": plain}).summary
    actions = world.model["care"]
    ended = sum(row[f"done.{a}"] + row[f"slipped.{a}"] for a in actions)
    assert row["presses"] == ended + row["cut_off"]


# The order of the log


TURNS = {
    "birth": Turn.GROWTH,
    "growth": Turn.GROWTH,
    "asleep": Turn.SLEEP,
    "awake": Turn.SLEEP,
    "drop": Turn.DROP,
    "waste": Turn.WASTE,
    "ill": Turn.ILLNESS,
    "lapse": Turn.MISBEHAVIOUR,
    "misbehaves": Turn.MISBEHAVIOUR,
    "miss": Turn.DEADLINE,
    "death": Turn.DEATH,
    "outage begins": Turn.OUTAGE,
    "outage ends": Turn.OUTAGE,
    "spell begins": Turn.OUTAGE,
    "spell ends": Turn.OUTAGE,
}
LATER = ("misbehaves", "spell begins", "spell ends")
"""What comes after all else of its turn."""


def place(event, model):
    """The place of an event in its second: its turn, then the order within that."""
    orders = {"drop": tuple(model.needs), "miss": model.causes}
    within = orders[event.event].index(event.what) if event.event in orders else 0
    return TURNS.get(event.event, Turn.CARETAKER), within + (event.event in LATER)


@of_each(lived_everywhere)
def test_the_log_is_in_order_of_time_and_of_turns_within_a_second(world_and_life):
    world, life = world_and_life
    places = [(event.t, *place(event, life.model)) for event in life.entries]
    for before, after in pairwise(places):
        # all but the caretaker's events happen once at most in a second
        assert before < after or before == after == (after[0], Turn.CARETAKER, 0)
    # a grid check and a heard one of one second are one, but for one that is given up before it
    came = [event for event in life.entries if event.event.startswith("check")]
    is_late = load_regime(world.regime).checks.late is not None
    for before, after in pairwise(came):
        assert before.t < after.t or (is_late and before.event == "check skipped")
    assert max(Counter(event.t for event in came).values(), default=0) <= 1 + is_late


@of_each(lived_everywhere)
def test_a_life_ends_with_its_death_its_outcome_or_its_horizon(world_and_life):
    world, life = world_and_life
    row, last = life.summary, life.entries[-1]
    assert row["died"] == (last.what if last.event == "death" else "")
    assert counted(life, "death") == (row["died"] != "")
    if row["died"]:
        assert last.t == row["end_s"]
    elif "until" in world.span:
        assert world.span["until"] == "outcome"
        assert last.event in ("birth", "growth") and last.what == row["outcome"]
        assert last.t == row["end_s"]
    else:
        assert row["end_s"] == round(world.span["days"] * DAY)
        assert last.t < row["end_s"]


@in_all_worlds(150)
def test_the_outcome_is_the_first_form_of_its_stage_or_an_earlier_death(world):
    life = live(world, span={"until": "death"})
    forms = [e.what for e in life.entries if e.event in ("birth", "growth")]
    stages = [life.model.forms[form].stage for form in forms]
    decided = [
        form for form, stage in zip(forms, stages, strict=True) if stage == life.model.outcome_stage
    ]
    assert life.summary["outcome"] == (decided or [life.summary["died"]])[0]
    short = live(world, span={"until": "outcome"})
    assert short.summary["outcome"] == life.summary["outcome"] != UNDECIDED
    assert short.entries == life.entries[: len(short.entries)]


@in_all_worlds(80)
def test_a_horizon_cuts_a_life_and_changes_nothing_before_it(world):
    horizon = (1 + world.life) * pace(world.model)
    whole = live(world, span={"until": "death"})
    part = live(world, span={"days": horizon / DAY})
    assert part.entries == tuple(e for e in whole.entries if e.t < horizon)
    assert part.summary["end_s"] == min(horizon, whole.summary["end_s"])


# Care without a gap


def graces(model):
    """All waits of a model after which something left undone is a miss or fatal."""
    for form in model.forms.values():
        yield from (*form.grace.values(), *form.fatal_after.values(), form.lights_grace)
        for block in (form.waste, form.illness):
            yield block and block.grace
        yield form.illness and form.illness.fatal_after


@st.composite
def perfectly_cared_for(draw):
    """A random model and a caretaker who is perfect, instant and constant.

    Constant can't mean at every moment, as time is whole seconds. What a caretaker must have seen
    to falls due a grace g after the second t it begins in, at t + g, before the caretaker's turn;
    so the last second to act in is t + g - 1. A check every E seconds comes in one of t to
    t + E - 1, in its own turn after t's events. So E up to the smallest grace of the model is
    constant care; perfect are eyes and hands without errors, and actions that always work and are
    never refused; instant, that they take no time.
    """
    model = draw(models())
    waits = [wait for wait in graces(load_model(model)) if wait is not None]
    smallest = min(waits, default=pace(model))
    needs = {f"fill {need}": {"raises": {need: "1"}} for need in model["needs"]}
    plain = {"sweep": {"cleans": "yes"}, "heal": {"doses": "yes"}, "darken": {"lights": "off"}}
    reasons = {"sweep": {"waste": "above 0"}, "heal": {"ill": "yes"}}
    reasons |= {"darken": {"asleep": "yes", "lights": "on"}}
    reasons |= {f"fill {need}": {need: "exactly 0"} for need in model["needs"]}
    regime = {
        "petsim": "regime 1",
        "name": "Perfect",
        "checks": {
            "every": f"{draw(st.sampled_from([smallest, max(1, smallest // 2)]))} s",
            "first": draw(st.sampled_from(["0 s", "random"])),
        },
        "routine": [
            {"when": when, "do": do, "repeat": "until met"} for do, when in reasons.items()
        ],
    }
    return World(
        model | {"care": model["care"] | needs | plain},
        regime,
        {"until": "death"},
        0,
        draw(st.integers(0, 99)),
    )


@of_each(partial(examples, perfectly_cared_for, 60))
def test_perfect_instant_and_constant_care_has_no_misses_and_no_death_but_old_age(world):
    life = live(world)
    assert life.summary["misses"] == 0
    assert life.summary["died"] == OLD_AGE


def test_care_one_second_less_than_constant_can_miss():
    # the sweep above would come in the second of the deadline, 4 s after waste: too late
    model = {
        "petsim": "model 1",
        "name": "A pet",
        "outcome stage": "adult",
        "aim": "tree",
        "needs": {"mood": {"full": "1"}},
        "care": {"sweep": {"cleans": "yes"}},
        "stages": {"adult": {"waste": {"every": "6 s", "pile max": "1", "grace": "4 s"}}},
        "forms": {"tree": {"stage": "adult", "lasts": "12 s"}},
    }

    def misses(every):
        regime = {
            "petsim": "regime 1",
            "name": "A regime",
            "checks": {"every": f"{every} s", "first": "0 s"},
            "routine": [{"do": "sweep"}],
        }
        return simulate(model, regime, until="death").summary["misses"]

    assert (misses(4), misses(5)) == (0, 1)


# The same life, however it is lived


@in_all_worlds(80)
def test_tracing_does_not_change_a_life(world):
    model = load_model(world.model)
    ready = choose_engine(model, load_caretaker(world.regime, model), Span(**world.span))
    plain = ready.live(world.seed, world.life, traced=False)
    traced = ready.live(world.seed, world.life, traced=True)
    assert list(plain.summary.items()) == list(traced.summary.items())
    assert plain.draws == traced.draws
    assert plain.entries == plain.sights == ()


@in_worlds(60)
def test_a_life_replays_alone_whatever_was_lived_before_it(world):
    lives = {
        n: batch(*world[:2], lives=n, seed=world.seed, **world.span, workers=1) for n in (2, 4)
    }
    rows = lives[4].lives.to_dict("records")
    assert rows[:2] == lives[2].lives.to_dict("records")
    for number in reversed(range(4)):
        alone = simulate(*world[:2], seed=world.seed, life=number, **world.span)
        assert rows[number] == alone.summary


@in_all_worlds(80)
def test_a_model_and_a_regime_shown_in_full_give_the_same_life(world, tmp_path_factory):
    place = tmp_path_factory.mktemp("shown")
    sources = load_model(world.model), load_regime(world.regime)
    files = place / "model.yaml", place / "regime.yaml"
    for source, file in zip(sources, files, strict=True):
        file.write_text(as_yaml(source), encoding="utf-8")
    assert (load_model(files[0]), load_regime(files[1])) == sources
    assert live(world, model=files[0], regime=files[1]).entries == live(world).entries


# The same luck


@st.composite
def two_regimes(draw):
    """A world, and another regime for its model."""
    world = draw(worlds())
    return world, draw(regimes(world.model))


@of_each(partial(examples, two_regimes, 60))
def test_another_regime_leaves_growth_its_durations_while_the_forms_are_the_same(pair):
    world, other = pair
    lives = [
        live(world, regime=regime, span={"until": "death"}) for regime in (world.regime, other)
    ]
    growths = [[e for e in life.entries if e.event in ("birth", "growth")] for life in lives]
    for one, two in zip(*growths, strict=False):
        assert one.t == two.t
        if one.what != two.what:
            break


@of_each(partial(examples, two_regimes, 60))
def test_a_caretaker_who_changes_nothing_is_none_to_the_pet(pair):
    world, other = pair
    model = world.model | {"care": world.model["care"] | {"wink": {}}}
    winks = [step | {"do": "wink"} if "do" in step else step for step in other["routine"]]
    idle = other | {"routine": winks, "hands": {}}
    absent = {"petsim": "regime 1", "name": "Nobody"}
    watched, alone = (live(world, model=model, regime=regime) for regime in (idle, absent))
    theirs = [e for e in watched.entries if TURNS.get(e.event, Turn.CARETAKER) < Turn.OUTAGE]
    assert theirs == list(alone.entries)
    sources = {source: n for source, n in watched.draws.items() if source in alone.draws}
    assert sources == alone.draws


def without(row, *parts):
    """A summary without the columns of some needs or actions."""
    return {c: value for c, value in row.items() if not any(f".{part}" in c for part in parts)}


@in_worlds(80)
def test_an_action_more_in_the_model_moves_nothing_else(world):
    spare = {"raises": dict.fromkeys(world.model["needs"], "1"), "works": "50%", "doses": "yes"}
    more = live(world, model=world.model | {"care": {"spare": spare} | world.model["care"]})
    life = live(world)
    assert more.entries == life.entries
    assert without(more.summary, "spare") == life.summary
    assert more.draws == life.draws


@in_worlds(80)
def test_a_need_more_in_the_model_moves_nothing_else(world):
    # it drops at every pace, is full enough never to reach 0, and nobody looks at it
    need, unit = next(name for name in NEEDS if name not in world.model["needs"]), pace(world.model)
    drops = {need: f"exponential {unit} s"}
    stages = {
        name: stage if name == "egg" else stage | {"drops": drops | stage["drops"]}
        for name, stage in world.model["stages"].items()
    }
    needs = {need: {"full": "1000"}} | world.model["needs"]
    more = live(world, model=world.model | {"needs": needs, "stages": stages})
    life = live(world)
    assert [e for e in more.entries if e.what != need] == list(life.entries)
    assert without(more.summary, need) == life.summary
    assert {s: n for s, n in more.draws.items() if s != f"drops {need}"} == life.draws


@in_worlds(150)
def test_what_happens_draws_its_own_chance(world):
    life = live(world, span={"until": "death"})
    model, drawn, regime = life.model, Counter(life.draws), load_regime(world.regime)
    forms = [model.forms[e.what] for e in life.entries if e.event in ("birth", "growth")]
    assert drawn["growth"] == len(forms)
    assert drawn["illness"] == 1 + counted(life, "well")
    assert drawn["doses"] == counted(life, "ill")
    assert drawn["misbehaviour window"] == counted(life, "misbehaves")
    # a growth draws the wait anew, and so does each end of one
    wastes = sum(form.waste is not None for form in forms)
    assert drawn["waste"] >= wastes + counted(life, "waste")
    for need in model.needs:
        drops = sum(need in form.drops for form in forms)
        assert drawn[f"drops {need}"] >= drops + counted(life, "drop", need)
    misbehaviours = sum(form.misbehaviour is not None for form in forms)
    assert drawn["misbehaviour"] >= misbehaviours + counted(life, "lapse")
    for action in model.care:
        landed = life.summary[f"done.{action}"]
        assert drawn[f"works {action}"] == landed - counted(life, "refused", action)
    assert drawn["first check"] == (
        regime.checks.first == "random" and regime.checks.every is not None
    )
    assert drawn["clear times"] == (regime.eyes.spells is not None) + counted(life, "spell ends")
    assert drawn["spell times"] == counted(life, "spell begins")
    for action in model.care:
        slipped = life.summary[f"slipped.{action}"]
        assert drawn[f"instead {action}"] == slipped * bool(regime.hands.of(action).into)
    assert not drawn["late"] or regime.checks.late is not None
    assert drawn["down times"] == counted(life, "outage begins")
    assert drawn["up times"] == (regime.outages is not None) + counted(life, "outage ends")
    assert drawn["reaction"] <= drawn["hears"]
    assert not drawn["hears"] or regime.listens is not None


@in_rigs(150)
def test_what_rigs_and_people_add_draws_its_own_chance(world):
    life = live(world)
    drawn, regime = Counter(life.draws), load_regime(world.regime)
    for action in life.model.care:
        slips = counted(life, "slipped", action) if regime.hands.of(action).into else 0
        assert drawn[f"instead {action}"] == slips
        landed = life.summary[f"done.{action}"]
        assert drawn[f"works {action}"] == landed - counted(life, "refused", action)
    has_spells = regime.eyes.spells is not None
    assert drawn["clear times"] == has_spells + counted(life, "spell ends")
    assert drawn["spell times"] == counted(life, "spell begins")
    forgotten = counted(life, "check forgotten")
    assert drawn["forgets"] in ((0, forgotten + 1) if forgotten == 0 else (forgotten + 1,))
    assert not (drawn["late"] and regime.checks.late is None)
    assert not (drawn["jitter"] and regime.checks.jitter is None)
    assert not (drawn["first check"] and regime.checks.at)


@in_worlds(60)
def test_spells_that_change_no_rate_looks_and_no_chance_to_forget_move_nothing_else(world):
    checks, eyes = ({**world.regime.get(name, {})} for name in ("checks", "eyes"))
    checks.pop("forgets", None)
    eyes.pop("spells", None)
    without = world.regime | {"checks": checks, "eyes": eyes}
    idle = {
        "checks": checks | {"forgets": "0%"},
        "eyes": eyes | {"spells": {"clear": "7 s", "lasts": "3 s"}},
        "routine": [*world.regime["routine"], {"look": ["discipline", "clock"]}],
    }
    life, more = live(world, regime=without), live(world, regime=world.regime | idle)
    assert [e for e in more.entries if not e.event.startswith("spell")] == list(life.entries)
    assert more.summary | {"spells_s": 0} == life.summary
    spells = {"clear times", "spell times"}
    assert {source: n for source, n in more.draws.items() if source not in spells} == life.draws


# What these lives reach


def test_the_random_lives_reach_everything_that_can_happen():
    reached = Counter()
    landed = {*ACTION_KINDS} - {"slipped"}

    seldom_needed = tuple((world, live(world)) for world in random_worlds(400)[300:])
    for _, life in lived_everywhere() + seldom_needed:
        row, needs = life.summary, life.model.needs
        own_deaths = {need.death for need in needs.values()} - {None}
        causes = {
            "a need" if e.what in needs else e.what for e in life.entries if e.event == "miss"
        }
        reached.update({e.event for e in life.entries})
        reached.update(f"miss of {cause}" for cause in causes)
        reached[
            f"died of {'a need' if row['died'] in own_deaths else row['died'] or 'nothing'}"
        ] += 1
        reached["cut off"] += row["cut_off"]
        reached["two sleeps"] += counted(life, "asleep") > 1
        reached["four forms"] += counted(life, "growth") > 2
        reached["another outcome than the aim"] += row["outcome"] not in (life.model.aim, UNDECIDED)
        ties = [{e.event for e in same} for _, same in groupby(life.entries, key=attrgetter("t"))]
        reached["miss and action"] += any("miss" in kinds and kinds & landed for kinds in ties)
        for pair in ("miss", "death"), ("growth", "check"), ("awake", "drop"), ("drop", "check"):
            reached[" and ".join(pair)] += any(kinds.issuperset(pair) for kinds in ties)

    kinds = {*TURNS, *ACTION_KINDS, "well", "check", "check skipped", "check forgotten"}
    misses = {f"miss of {cause}" for cause in ("a need", "waste", "illness", "lights")}
    deaths = {f"died of {cause}" for cause in ("a need", UNTREATED, NEGLECT, OLD_AGE, "nothing")}
    wanted = kinds | misses | deaths | {*reached}
    seldom = {name: reached[name] for name in wanted if reached[name] < 3}
    assert not seldom
