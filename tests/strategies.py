"""Random small pets and regimes, invented and valid by construction, as plain file data.

`models()` draws a model, `regimes(model)` a regime that goes with it, `worlds()` both with a span,
a seed and the number of a life: all that a life is made of. All quantities are text, as in a file.

What seldom happens to a real pet is common here. Nearly all times are round multiples of the
model's *pace*, a few seconds or minutes, and most are fixed, so that much falls due in one second.
A life begins close to midnight, a weekend or a window's edge, and all clock windows lie within a
few paces of its beginning. Illness, misbehaviour and death are frequent, piles and levels small;
graces, penalties, care and whole blocks are missing as often as not.

A *rig* among regimes has most of what real rigs and people add, such as spells of bad light, wrong
presses and forgotten checks, which others have seldom.

Lives are short: up to 6 forms of at most 60 paces (a little more where a law has no longest time),
so the slowest pets live for two days and a half, and no wait for a check or a drop is shorter than
a pace but for a law's lowest values.
"""

from __future__ import annotations

import re
from functools import cache
from typing import Any, NamedTuple

from hypothesis import strategies as st

from petsim.spec.clocks import clock, clock_text
from petsim.spec.quantities import DAY

Data = dict[str, Any]

PACES = (5, 60, 600)
NEEDS = ("hunger", "mood", "thirst", "fun and games")
STAGES = ("infant", "juvenile", "adult", "elder")
FORMS = ("sprout", "leaf", "bud", "bloom", "fruit", "husk")
SIGNALS = ("waste", "ill", "asleep", "lights", "calling")
WEEKDAYS = ("", "", " on weekdays", " on weekends", " on Mon", " on Sun Mon", " on Tue-Sat")
OPERATORS = ("at most ", "at least ", "below ", "above ", "exactly ", "")


class World(NamedTuple):
    """All that a life is made of; `span` is `until` or `days` as `petsim.simulate` takes it."""

    model: Data
    regime: Data
    span: Data
    seed: int
    life: int


def pace(model: Data) -> int:
    """The seconds of which a drawn model's times are multiples."""
    return int(re.fullmatch(r"Invented, at a pace of (\d+) s", model["about"])[1])


# Whether, how much, when. A strategy's first choice is what a failing example shrinks to.


@cache
def chance(percent: int) -> st.SearchStrategy[bool]:
    """True in about so many per cent of the draws, in steps of ten."""
    return st.sampled_from([False] * (10 - percent // 10) + [True] * (percent // 10))


def times(unit: int, *multiples: int) -> st.SearchStrategy[str]:
    """A round time, seldom a second off."""
    multiples = multiples or (1, 2, 3, 6, 12)
    whole = [multiple * unit for multiple in multiples]
    return st.sampled_from([*whole * 3, whole[0] + 1, whole[-1] - 1]).map("{} s".format)


@cache
def laws(unit: int, *multiples: int) -> st.SearchStrategy[str]:
    """A distribution of times like these, mostly fixed."""
    multiples = multiples or (1, 2, 3, 6, 12)
    low, middle, high = (
        multiples[0] * unit,
        multiples[len(multiples) // 2] * unit,
        multiples[-1] * unit,
    )
    spread = [
        f"fixed {middle} s",
        f"uniform {low} s to {low + 2} s",
        f"uniform {low} s to {high + 1} s",
        f"triangular {low} s to {high} s around {middle} s",
        f"triangular {low} s to {low + 3} s around {low} s",
        f"exponential {middle} s",
        f"exponential {low}.5 s",
        f"weibull shape 1.5 scale {middle} s",
        f"lognormal median {middle} s sigma 0.5",
    ]
    return st.one_of(times(unit, *multiples), times(unit, *multiples), st.sampled_from(spread))


@cache
def windows(unit: int, begins: str, *, weekdays: bool) -> st.SearchStrategy[str]:
    """A clock window near a life's beginning, often with an edge in its first seconds."""
    born = clock(begins.rpartition(" ")[2])

    def text(start: int, length: int, ending: str, on: str) -> str:
        opens = (born + start * unit) % DAY
        closes = (opens + length * unit) % DAY
        end = ending if closes == 0 else clock_text(closes)
        return f"{clock_text(opens)} to {end}{on if weekdays else ''}"

    return st.builds(
        text,
        st.sampled_from([-6, -1, 0, 1, 3, 6, 12, 30, 60]),
        st.sampled_from([1, 2, 3, 3, 6, 6, 12, 30, 60]),
        # midnight has two names as an end; a window from midnight to midnight has one
        st.just("24:00"),
        st.sampled_from(WEEKDAYS),
    )


@cache
def comparisons(most: int) -> st.SearchStrategy[str]:
    """A comparison that a number from 0 to `most` can satisfy."""
    numbers = [str(number) for number in range(most + 1)]
    texts = [operator + number for operator in OPERATORS for number in numbers]
    return st.sampled_from([text for text in texts if text not in ("below 0", f"above {most}")])


@cache
def chances(*percents: str) -> st.SearchStrategy[str]:
    """One of a few probabilities."""
    return st.sampled_from(percents or ("0%", "5%", "0.3", "50%", "100%"))


def some(draw: Any, percent: int, **fields: st.SearchStrategy[Any]) -> Data:
    """Fields of a file, each there in about so many per cent; underscores become spaces."""
    return {
        name.replace("_", " "): draw(values)
        for name, values in fields.items()
        if draw(chance(percent))
    }


def each(draw: Any, percent: int, names: Any, values: st.SearchStrategy[Any]) -> Data:
    """A mapping of some of the names, each there in about so many per cent."""
    return {name: draw(values) for name in names if draw(chance(percent))}


# Models


@st.composite
def models(draw: Any) -> Data:
    """A model: 1 to 3 needs, 1 to 6 forms in up to 5 stages, with or without a dormant root."""
    unit = draw(st.sampled_from(PACES))
    begins = draw(_beginnings(unit))
    needs = draw(_needs())
    forms = list(FORMS[: draw(st.sampled_from([1, 2, 3, 4, 4, 5, 5, 6]))])
    stage_of = {form: draw(st.sampled_from(STAGES)) for form in forms}
    if draw(chance(40)):
        # an egg alone would have nothing to live for
        forms = ["seed", *forms]
        stage_of = {"seed": "egg", **stage_of}
    awake = [stage for stage in dict.fromkeys(stage_of.values()) if stage != "egg"]
    stages = {stage: draw(_rates(unit, begins, needs)) for stage in awake}
    if "seed" in forms:
        stages |= {"egg": {"dormant": "yes", **some(draw, 50, weight_min=st.sampled_from("04"))}}
    later = [form for form in forms if stage_of[form] != stage_of[forms[0]]]
    aim = draw(st.sampled_from(later or forms))
    return {
        "petsim": "model 1",
        "name": "A random pet",
        "about": f"Invented, at a pace of {unit} s",
        "begins": begins,
        "outcome stage": stage_of[aim],
        "aim": aim,
        "needs": needs,
        "discipline": draw(_disciplines(needs)),
        **some(draw, 50, weight=st.fixed_dictionaries({"starts": st.sampled_from("0359")})),
        **some(draw, 30, fatal_misses=st.sampled_from(["1", "3", "8", "20", "never"])),
        "care": draw(_care(needs)),
        "stages": stages,
        "forms": draw(_forms(unit, begins, needs, stages, stage_of)),
    }


def _beginnings(unit: int) -> st.SearchStrategy[str]:
    clocks = [9 * 3600, 0, DAY - 6 * unit, DAY - 30 * unit, 12 * 3600 + 1]
    days = ("Monday ", "Friday ", "Sunday ", "")
    return st.builds(
        lambda day, second: day + clock_text(second), st.sampled_from(days), st.sampled_from(clocks)
    )


@st.composite
def _needs(draw: Any) -> Data:
    needs: Data = {}
    for name in draw(st.permutations(NEEDS))[: draw(st.sampled_from([1, 2, 2, 3, 3]))]:
        full = draw(st.sampled_from([1, 2, 3, 5]))
        needs[name] = {"full": str(full)}
        needs[name] |= some(draw, 60, starts=st.integers(0, full).map(str))
        needs[name] |= some(draw, 80, death=st.sampled_from([f"no {name}", "worn out"]))
    return needs


@st.composite
def _disciplines(draw: Any, needs: Data) -> Data:
    step = st.sampled_from(["0", "4", "30", "100"])
    discipline = some(draw, 70, starts=st.sampled_from(["0", "50", "98"]), step=step)
    discipline |= some(draw, 70, lapse_costs=st.sampled_from(["2", "60"]))
    if draw(chance(30)):
        need = draw(st.sampled_from(list(needs)))
        cost = draw(st.integers(0, int(needs[need]["full"])))
        discipline["unfair costs"] = {need: str(cost)}
    return discipline


@st.composite
def _care(draw: Any, needs: Data) -> Data:
    """The usual actions, most of them there, and up to two of any mix of effects."""
    usual = {f"raise {need}": {"raises": {need: "1"}} for need in needs} | {
        "clean": {"cleans": "yes"},
        "dose": {"doses": "yes"},
        "lights_off": {"lights": "off"},
        "lights_on": {"lights": "on"},
        "reprimand": {"reprimands": "yes"},
    }
    care = {name: effects for name, effects in usual.items() if draw(chance(90))}
    for name in ("whim", "odd job")[: draw(st.integers(0, 2))]:
        care[name] = draw(_effects(needs))
    for action in care.values():
        action.update(some(draw, 20, works=chances("70%", "50%", "0.1", "0%")))
        action.update(some(draw, 30, weight=st.sampled_from(["+1", "-1", "+5", "-3"])))
        refusals = st.lists(st.sampled_from(["asleep", "misbehaving", "full"]), unique=True)
        action.update(some(draw, 40, refused_when=refusals))
    return care


@st.composite
def _effects(draw: Any, needs: Data) -> Data:
    raised = {need: str(draw(st.integers(1, int(needs[need]["full"])))) for need in needs}
    yes = st.sampled_from(["yes", "yes", "no"])
    return some(
        draw,
        40,
        raises=st.just(raised),
        cleans=yes,
        doses=yes,
        lights=st.sampled_from(["off", "on"]),
        reprimands=yes,
    )


@st.composite
def _rates(draw: Any, unit: int, begins: str, needs: Data) -> Data:
    """The rates of a stage in which the pet is awake, any of them missing."""
    mortal = [name for name, need in needs.items() if "death" in need]
    time, law, sleep = times(unit), laws(unit), windows(unit, begins, weekdays=False)
    return {
        **some(draw, 50, weight_min=st.sampled_from("0369")),
        "drops": each(draw, 90, needs, law),
        "grace": each(draw, 80, needs, time),
        "again after": each(draw, 60, needs, time),
        "fatal after": each(draw, 30, mortal, times(unit, 3, 12, 30, 60)),
        **some(draw, 70, waste=_wastes(unit), illness=_illnesses(unit)),
        **some(draw, 60, sleeps=st.lists(sleep, min_size=1, max_size=3)),
        **some(draw, 80, lights_grace=time),
        **some(draw, 50, misbehaviour=st.fixed_dictionaries({"every": law, "window": law})),
    }


@st.composite
def _wastes(draw: Any, unit: int) -> Data:
    return {
        "every": draw(laws(unit)),
        "pile max": draw(st.sampled_from("1123")),
        **some(draw, 80, grace=times(unit)),
        **some(draw, 50, again_after=times(unit)),
    }


@st.composite
def _illnesses(draw: Any, unit: int) -> Data:
    """An illness every few paces; seldom every second, and seldom only from waste or weight."""

    def rate(*waits: int) -> st.SearchStrategy[str]:
        return st.sampled_from([f"{DAY / (wait * unit):g} per day" for wait in waits])

    rare = st.sampled_from(["0 per day", "86400 per day"])
    illness = {"base": draw(st.one_of(rate(3, 10, 30), rate(3, 10, 30), rate(3, 10, 30), rare))}
    illness |= some(draw, 60, per_waste=rate(3, 10, 30))
    if draw(chance(50)):
        illness |= {"per excess": draw(rate(10, 30)), "heavy above": draw(st.sampled_from("048"))}
    doses = ({"1": "50%", "3": "50%"}, {"2": "1"}, {"2": "0.1", "1": "0.2", "4": "0.7"})
    return illness | some(
        draw,
        60,
        doses=st.sampled_from(doses),
        grace=times(unit),
        fatal_after=times(unit, 3, 12, 30, 60),
    )


@st.composite
def _forms(
    draw: Any, unit: int, begins: str, needs: Data, stages: Data, stage_of: dict[str, str]
) -> Data:
    """The forms with what each lays over its stage, grown from the first one without a circle."""
    names, causes = list(stage_of), ["all", *needs, "waste", "illness", "lights"]
    nexts: dict[str, list[str]] = {name: [] for name in names}
    for place in range(1, len(names)):
        # later forms mostly follow late ones, so that lives go through several
        nexts[draw(st.sampled_from(names[:place][::-1] + names[place - 1 : place] * 2))].append(
            names[place]
        )
    forms = {}
    for place, (name, stage) in enumerate(stage_of.items()):
        successors = draw(st.permutations(nexts[name]))
        if successors and draw(chance(80)):
            successors = [draw(st.sampled_from(names[place + 1 :])), *successors]
        forms[name] = {"stage": stage, "lasts": draw(laws(unit, 6, 12, 30, 60))}
        if stage != "egg" and draw(chance(30)):
            forms[name] |= draw(_overrides(unit, begins, needs, stages[stage]))
        if successors:
            *ruled, last = successors
            rules = [{successor: draw(_conditions(causes))} for successor in ruled]
            forms[name]["grows into"] = [*rules, {last: "otherwise"}] if rules else last
    return forms


@st.composite
def _overrides(draw: Any, unit: int, begins: str, needs: Data, stage: Data) -> Data:
    """What a form lays over its stage: rates of its own, blocks taken away, times that end."""
    over = some(
        draw,
        20,
        waste=st.just({"pile max": "1"}) if "waste" in stage else _wastes(unit),
        illness=st.just({"grace": "never"}) if "illness" in stage else _illnesses(unit),
        sleeps=st.lists(windows(unit, begins, weekdays=False), max_size=2),
        lights_grace=st.sampled_from(["never", f"{unit} s"]),
        weight_min=st.sampled_from("057"),
        drops=st.fixed_dictionaries({next(iter(needs)): laws(unit)}),
        grace=st.fixed_dictionaries({next(iter(needs)): st.just("never")}),
    )
    if draw(chance(30)):
        over[draw(st.sampled_from(["waste", "illness", "misbehaviour"]))] = "none"
    return over


@st.composite
def _conditions(draw: Any, causes: list[str]) -> Data:
    misses = st.one_of(
        comparisons(2), st.dictionaries(st.sampled_from(causes), comparisons(2), min_size=1)
    )
    conditions = some(
        draw,
        40,
        misses_in_form=misses,
        misses_in_life=misses,
        discipline=st.sampled_from(["at least 4", "at most 30", "below 50", "above 90", "0"]),
        weight=st.sampled_from(["at least 4", "below 6", "above 9", "exactly 3"]),
    )
    return conditions or {"misses in form": draw(comparisons(4))}


# Regimes


@st.composite
def regimes(draw: Any, model: Data, *, rig: bool = False) -> Data:
    """A regime for a drawn model: any mix of a grid, listening, outages, poor eyes, slow hands."""
    unit, begins, actions = pace(model), model["begins"], list(model["care"])
    window = windows(unit, begins, weekdays=True)
    checks = _checks(unit, begins, window, list(model["stages"]), rig=rig)
    eyes, hands = _eyes(unit, model, window, rig=rig), _hands(unit, actions, rig=rig)
    return {
        "petsim": "regime 1",
        "name": "A random regime",
        **some(draw, 100 if rig else 90, checks=checks),
        **some(draw, 80 if rig else 50, listens=_listens(unit)),
        "routine": draw(_routines(model, window, rig=rig)),
        **some(draw, 40, passes=st.sampled_from("123")),
        **some(draw, 90 if rig else 50, eyes=eyes),
        **some(draw, 90 if rig else 60, hands=hands),
        **some(draw, 30, outages=_outages(unit)),
        **some(draw, 50, quiet_hours=st.lists(window, min_size=1, max_size=2)),
    }


@st.composite
def _checks(
    draw: Any,
    unit: int,
    begins: str,
    window: st.SearchStrategy[str],
    stages: list[str],
    *,
    rig: bool,
) -> Data:
    """A grid of an interval or of clock times, in windows otherwise, that is late or forgotten."""
    every = st.one_of(times(unit), times(unit), times(unit), st.just("never"))
    if draw(chance(40 if rig else 20)):
        checks = {"at": draw(st.lists(_clock_times(unit, begins), min_size=1, max_size=5))}
        every = st.just("never")
    else:
        checks = some(draw, 90, every=times(unit))
        if "every" not in checks or draw(chance(90 if rig else 50)):
            firsts = st.sampled_from(["0 s", "1 s", f"{unit} s", f"{7 * unit} s"])
            checks["first"] = draw(firsts)
    forgets = chances("100%", "50%", "20%", "0%")
    checks |= some(draw, 70 if rig else 20, forgets=forgets)
    during = st.one_of(
        st.fixed_dictionaries({"during": window, "every": every}),
        st.fixed_dictionaries({"during": window, "every": every}, optional={"forgets": forgets}),
        st.fixed_dictionaries({"during": window, "forgets": forgets}),
    )
    checks |= some(draw, 40, windows=st.lists(during, min_size=1, max_size=3))
    if draw(chance(30)):
        # below a pace, the smallest interval of all but when it is a second off
        checks["jitter"] = draw(st.sampled_from([1, unit // 2, unit - 1]).map("{} s".format))
    elif draw(chance(70 if rig else 20)):
        # none at all, about as long as an interval, or either
        either = f"lognormal median {unit} s sigma 5"
        short = ["uniform 0 s to 1 s", f"uniform 0 s to {unit} s", either, either]
        checks["late"] = draw(st.one_of(laws(unit), st.sampled_from(short)))
    elif "at" not in checks and draw(chance(30)):
        checks["by stage"] = each(draw, 70, stages, every)
    return checks


def _clock_times(unit: int, begins: str) -> st.SearchStrategy[str]:
    """A clock time that a pet sees soon after its birth, or midnight, a whole pace from others."""
    born = clock(begins.rpartition(" ")[2])
    paces = [0, 0, 1, 2, 3, 6, 12, 30, 60]
    times = [*(clock_text((born + pace * unit) % DAY) for pace in paces), "00:00"]
    return st.builds(lambda time, on: time + on, st.sampled_from(times), st.sampled_from(WEEKDAYS))


def _listens(unit: int) -> st.SearchStrategy[Data]:
    return st.fixed_dictionaries(
        {
            "hears": chances("100%", "100%", "80%", "0.3", "0%"),
            # a reprimand may empty a need, and so bring on the next check: no reaction of 1 s here
            "reacts in": st.one_of(st.just(f"uniform 0 s to {unit} s"), laws(unit, 1, 2, 6)),
        }
    )


@st.composite
def _routines(draw: Any, model: Data, window: st.SearchStrategy[str], *, rig: bool) -> list[Data]:
    """Steps that mean well, most of them there, some with a condition more; and a few at random."""
    steps = []
    for action, effects in model["care"].items():
        if draw(chance(50 if rig else 70)):
            steps.append({"do": action, **draw(_reason(effects, model))})
    random = each(draw, 20, model["care"], st.just({}))
    steps += [{"do": action} for action in random]
    for step in steps:
        if draw(chance(30)):
            step["when"] = step.get("when", {}) | draw(_whens(model, window))
        repeats = ["1", "2", "3", "until met", "until met"]
        step.update(
            some(draw, 40, repeat=st.sampled_from(repeats if "when" in step else repeats[:3]))
        )
    if draw(chance(80 if rig else 20)):
        steps += draw(st.lists(_looks(model, window), min_size=1, max_size=2))
    return draw(st.permutations(steps))


@st.composite
def _looks(draw: Any, model: Data, window: st.SearchStrategy[str]) -> Data:
    """A step that only looks, at anything that is or is not seen with errors."""
    plain = ("stage", "form", "weight", "discipline", "clock")
    names = st.sampled_from([*SIGNALS, *SIGNALS, *model["needs"], *model["needs"], *plain])
    looked_at = draw(st.lists(names, min_size=1, max_size=4, unique=True))
    return {"look": looked_at, **some(draw, 50, when=_whens(model, window))}


@st.composite
def _reason(draw: Any, effects: Data, model: Data) -> Data:
    """The conditions under which an action does what it is for; none for a blind one."""
    if "raises" in effects:
        need = draw(st.sampled_from(list(effects["raises"])))
        full = int(model["needs"][need]["full"])
        levels = st.sampled_from([f"below {full}", "exactly 0", f"at most {full - 1}"])
        return {"when": {need: draw(levels)}}
    if "cleans" in effects:
        return {"when": {"waste": draw(st.sampled_from(["at least 1", "above 1"]))}}
    if "doses" in effects:
        return {"when": {"ill": "yes"}}
    if "lights" in effects:
        return {"when": {"asleep": "yes", "lights": "on" if effects["lights"] == "off" else "off"}}
    return draw(st.sampled_from([{}, {"when": {"calling": "yes"}}]))


@st.composite
def _whens(draw: Any, model: Data, window: st.SearchStrategy[str]) -> Data:
    yes = st.sampled_from(["yes", "no"])
    need = draw(st.sampled_from(list(model["needs"])))
    place = draw(st.sampled_from(["stage", "form"]))
    names = list(model["forms"]) if place == "form" else list(model["stages"])
    places: list[Any] = [*names, names]
    if len(names) > 1:
        places.append(f"not {names[0]}")
    fields: dict[str, st.SearchStrategy[Any]] = {
        need: comparisons(int(model["needs"][need]["full"])),
        "waste": comparisons(2),
        "ill": yes,
        "asleep": yes,
        "lights": st.sampled_from(["on", "off"]),
        "calling": yes,
        "weight": comparisons(9),
        "discipline": st.sampled_from(
            ["0", "above 0", "at least 4", "at most 50", "below 98", "100"]
        ),
        "clock": window,
        place: st.sampled_from(places),
    }
    chosen = draw(st.lists(st.sampled_from(list(fields)), min_size=1, max_size=3, unique=True))
    return {name: draw(fields[name]) for name in chosen}


@st.composite
def _eyes(draw: Any, unit: int, model: Data, window: st.SearchStrategy[str], *, rig: bool) -> Data:
    """Poor eyes, in windows and bad light poorer, with one look or a vote of several."""

    def errors(percent: int) -> Data:
        signals = st.fixed_dictionaries(
            {}, optional={"overlooks": chances(), "imagines": chances()}
        )
        levels = st.fixed_dictionaries({"misreads": chances()})
        return each(draw, percent, SIGNALS, signals) | each(draw, percent, model["needs"], levels)

    eyes = errors(50)
    if draw(chance(50)):
        during = [draw(window) for _ in range(draw(st.integers(1, 2)))]
        eyes["windows"] = [{"during": text, **errors(30)} for text in during]
    parts = [eyes, *eyes.get("windows", [])]
    misread = any("misreads" in eye for part in parts for eye in part.values() if eye)
    votes = [("1", "1"), ("3", "1"), ("3", "2"), ("5", "4")]
    if not misread:
        votes += [("2", "1"), ("2", "2"), ("4", "3")]
    if draw(chance(40)):
        eyes["looks"] = dict(zip(("of", "agree"), draw(st.sampled_from(votes)), strict=True))
    if draw(chance(90 if rig else 30)):
        spells = {"clear": draw(laws(unit)), "lasts": draw(laws(unit, 1, 2, 6, 12))}
        eyes["spells"] = spells | some(draw, 40, during=window) | errors(50)
    return eyes


@st.composite
def _hands(draw: Any, unit: int, actions: list[str], *, rig: bool) -> Data:
    """Hands that take anything from no time to longer than the wait for the next check."""
    takes = st.sampled_from([f"{time} s" for time in (1, 0, unit, 3, 2 * unit, unit - 1)])
    presses = st.sampled_from("0124")
    opening = st.fixed_dictionaries({"takes": takes}, optional={"presses": presses})
    hand = st.fixed_dictionaries(
        {"takes": takes}, optional={"presses": presses, "slips": chances("3%", "50%", "100%")}
    )
    hands = some(draw, 60, opening=opening)
    for action in actions:
        if draw(chance(80)):
            hands[action] = draw(hand)
            others = [other for other in actions if other != action]
            if others and draw(chance(90 if rig else 30)):
                hands[action]["into"] = draw(_wrong_presses(others))
    return hands


@st.composite
def _wrong_presses(draw: Any, actions: list[str]) -> Data:
    """Up to three actions that land instead of one that slips, which may leave no chance over."""
    shares = draw(st.sampled_from([["100%"], ["40%", "0.1"], ["50%", "50%"], ["0%", "90%", "10%"]]))
    others = draw(st.permutations(actions))
    return dict(zip(others, shares, strict=False))


def _outages(unit: int) -> st.SearchStrategy[Data]:
    return st.fixed_dictionaries({"up": laws(unit, 2, 6, 12, 30), "down": laws(unit, 1, 2, 6)})


# Lives


def spans(model: Data) -> st.SearchStrategy[Data]:
    """How long a life is followed: to its outcome, to death, or to a horizon, often a round one."""
    seconds = [1, 30 * pace(model), 60 * pace(model), 100 * pace(model), 100 * pace(model) + 1]
    horizons = [{"days": second / DAY} for second in seconds]
    return st.sampled_from([{"until": "death"}] * 6 + [{"until": "outcome"}] * 3 + horizons)


@st.composite
def worlds(draw: Any, *, rig: bool = False) -> World:
    """A model, a regime that goes with it, a span, a seed and the number of a life."""
    model = draw(models())
    regime = draw(regimes(model, rig=rig))
    seed = draw(st.sampled_from([0, 1, 2, 2**64 - 1]))
    return World(model, regime, draw(spans(model)), seed, draw(st.integers(0, 99)))
