"""How good eyes, hands, power and people must be, as text: limits, and what would help."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from petsim.advice.limits.quantity import Kind, Unit
from petsim.advice.limits.tolerance import Tolerance, Tolerances
from petsim.spec.quantities import DAY
from petsim.study.stats import Interval
from petsim.view import aims
from petsim.view.answers import Answer, AnswerList, AnswerTable
from petsim.view.numbers import decimals, share
from petsim.view.tables import Row, counted

TIMES = (("days", DAY, 3 * DAY), ("h", 3600, 2 * 3600), ("min", 60, 120), ("s", 1, 0))
"""Units of time, each with its seconds and the time from which it is used."""
MOST_TOLD = 2
"""Things that would do by themselves of which the answer tells."""
MOST_HELP = 5
"""Kinds of things of which the list of what helps tells."""
LITTLE_ROOM = 3.0
"""The room below which more of it is worth having."""
HELP: dict[Kind, str] = {
    "eyes": "a camera nearer to the screen, fixed, in focus and in even light; or more looks, of "
    "which some must agree (eyes.looks)",
    "bad light": "a hood over the screen and the camera, or a box, so that no sun or lamp is "
    "mirrored; or another place",
    "slips": "a presser that is fixed to the case and presses straight, hard and long enough; or a "
    "look after each press, and another press (repeat: until met)",
    "wrong presses": "a way back to a known place of the menu before each action, and a slower "
    "presser",
    "outages": "a battery or an uninterruptible supply for computer, camera and presser, and a "
    "program that starts again by itself",
    "length of outages": "a battery that lasts longer than most outages, a program that starts "
    "again by itself, and a message to somebody who can see to it",
    "forgetting": "a louder reminder, that goes on until it is answered; or somebody who stands in",
    "lateness": "a reminder some minutes ahead, or a rig that looks by itself",
    "hearing": "a microphone at the pet's loudspeaker; for people, the pet within earshot, or a "
    "call that is passed on",
    "reaction": "a call that reaches whoever is nearest, or a rig that answers by itself",
    "interval": "a shorter one, which costs presses and battery",
}
"""What helps against each kind; common practice, no source."""
POWERED: tuple[Kind, ...] = ("outages", "length of outages", "bad light")
CAUTION = (
    "With mains, batteries and chargers keep to their makers' instructions and to the rules where "
    "you live, and leave mains wiring to those who may do it."
)


def answer(found: Tolerances) -> Answer:
    """Return how good each thing must be."""
    return Answer(
        question=f"How good must {found.regime} be for {goal(found)}?",
        gist=gist(found),
        tables=[
            AnswerTable(f"The limit of each, for {goal(found)}", head(found), rows(found)),
            AnswerTable(
                f"Not enough alone: the {found.aim.figure} if it were perfect",
                ("", found.aim.figure),
                rows_in_vain(found),
            ),
        ],
        lists=[AnswerList(helps_title(found), [*map(": ".join, helps(found))])],
        notes=[*without_limits(found), *notes(found)],
    )


def goal(found: Tolerances) -> str:
    """Return what is to hold: "beacon in 90 % of lives"."""
    return aims.comes_to(found.aim, _wanted(found))


# The answer


def gist(found: Tolerances) -> str:
    """Return whether the odds hold, what has least room or would do, and all errors together."""
    wanted = _wanted(found)
    beginning = f"{found.regime} leads to {odds_today(found)}, "
    if found.is_near:
        beginning += f"which can't be told from {wanted}. "
    elif found.falls_short:
        beginning += f"short of {wanted}. "
    else:
        beginning += f"more than {wanted}. "
    middle = _what_would_do(found) if found.falls_short else _least_room(found)
    return " ".join(filter(None, (beginning.strip(), middle, _all_together(found), _so_far(found))))


def odds_today(found: Tolerances) -> str:
    """Return what care leads to as it is: "beacon in 73 % (72 to 74) of lives"."""
    return aims.comes_to(found.aim, share(Interval(*found.odds[:3])))


def _what_would_do(found: Tolerances) -> str:
    limits = [each for each in found.each if each.has_limit]
    if not limits:
        return "" if not found.each else "No improvement would do by itself."
    told = "; ".join(f"{each.what}, {_from_to(each)}" for each in limits[:MOST_TOLD])
    if len(limits) == 1:
        return f"One thing would do by itself: {told}."
    more = f"; or {len(limits) - MOST_TOLD} others" if len(limits) > MOST_TOLD else ""
    return f"Each of these would do by itself: {told}{more}."


def _least_room(found: Tolerances) -> str:
    limits = [each for each in found.each if each.has_limit]
    if not limits:
        return "No limit was found." if found.each else ""
    first = limits[0]
    return f"The least room is left in {first.what}: {_from_to(first)}."


def _from_to(each: Tolerance) -> str:
    """The limit of a thing instead of today's value: "22 min (18 to 28) instead of 66 min"."""
    return f"{limit(each)} instead of {today(each)}"


def _all_together(found: Tolerances) -> str:
    together = found.together
    if together is None:
        return ""
    if not together.has_limit:
        end = f"{together.worst:g} times today's"
        return (
            "Not even all errors together, if there were none, would do."
            if together.limit < 0
            else f"All errors together have no limit up to {end}."
        )
    times = f"{limit(together)} today's"
    if together.limit < 1:
        return f"All errors together would have to come down to {times}."
    return f"All errors together may grow to {times}."


def _so_far(found: Tolerances) -> str:
    if not found.interrupted:
        return ""
    done = len(found.each) + (found.together is not None)
    return (
        f"Interrupted after {done} of {counted(found.asked, 'limit')}: more may have little room."
    )


def _wanted(found: Tolerances) -> str:
    return f"{100 * found.at_least:.4g} %"


# The limits


def head(found: Tolerances) -> Row:
    """Return the head of the table of limits."""
    return "", "today", "must come to" if found.falls_short else "holds up to", "factor"


def rows(found: Tolerances) -> list[Row]:
    """Return what has a limit, the least room first, under `head`."""
    return [
        (name(each), today(each), limit(each), _room(each)) for each in found.each if each.has_limit
    ]


def rows_in_vain(found: Tolerances) -> list[Row]:
    """Return what would help, but would not do alone, with the odds if it were perfect."""
    return [
        (f"{name(each)}{_perfect(each)}", share(_end(each)))
        for each in _in_vain(found)
        if _helps(found, each)
    ]


def _perfect(each: Tolerance) -> str:
    """What is perfect, where that is not nothing at all."""
    return f" ({value(each.unit, each.best)})" if each.best and each.unit == "s" else ""


def without_limits(found: Tolerances) -> list[str]:
    """Return what has no limit, and what would hardly help, a paragraph each."""
    paragraphs = []
    hardly = [each for each in _in_vain(found) if not _helps(found, each)]
    if hardly:
        most = max(_end(each).estimate for each in hardly)
        paragraphs.append(
            f"Hardly better alone, {100 * most:.0f} % at most even if it were perfect: "
            f"{', '.join(each.what for each in hardly)}."
        )
    free = [each for each in found.each if each.holds == "everywhere"]
    if free:
        tried = "; ".join(f"{names} up to {end}" for end, names in _by_end(free))
        paragraphs.append(f"No limit found: {tried}.")
    return paragraphs


def _by_end(free: Iterable[Tolerance]) -> list[tuple[str, str]]:
    """What has no limit, by the value up to which it was tried."""
    by_end: dict[str, list[str]] = {}
    for each in free:
        by_end.setdefault(_worst(each), []).append(each.what)
    return [(end, ", ".join(names)) for end, names in by_end.items()]


def _worst(each: Tolerance) -> str:
    taken = "" if each.half is None else f", {_taken(each, each.worst)} of the time"
    return value(each.unit, each.worst) + taken


def _in_vain(found: Tolerances) -> list[Tolerance]:
    """What would not do alone, of that which is not perfect already."""
    return [each for each in found.each if each.holds == "nowhere" and each.today > each.best]


def _helps(found: Tolerances, each: Tolerance) -> bool:
    return _end(each).low > found.odds.estimate


def _end(each: Tolerance) -> Interval:
    assert each.end is not None
    return each.end


def name(each: Tolerance) -> str:
    """Return what a thing is called where it stands by itself."""
    return each.what.removeprefix("the ")


def today(each: Tolerance) -> str:
    """Return the value of today, in words."""
    if each.unit == "factor":
        return "as it is"
    if each.unit == "per day" and not each.today:
        return "none"
    return value(each.unit, each.today)


def limit(each: Tolerance) -> str:
    """Return a limit with its interval: "87 min (78 to 97)"; of how often, as a time between.

    As far as one digit of its uncertainty, or two of one that begins with a 1.
    """
    name, size = _unit_of(each.unit, each.limit)
    ends = [max(each.best, each.low), each.limit, min(each.worst, each.high)]
    low, middle, high = sorted(_in_unit(each.unit, end, size) for end in ends)
    half = ((high if math.isfinite(high) else middle) - low) / 2
    digits = _digits(half)
    every = "one in " if each.unit == "per day" else ""
    return f"{every}{middle:.{digits}f} {name} ({_ends(each, low, high, digits)})"


def _digits(half: float) -> int:
    """Return how many decimals are shown, by half the width of an interval."""
    if not half:
        return 1
    return max(0, decimals(half) - (not f"{half:.1e}".startswith("1")))


def _ends(each: Tolerance, low: float, high: float, digits: int) -> str:
    """The ends of an interval, of which those that are beyond what was tried are left open."""
    is_open = (each.low < each.best, each.high > each.worst)
    is_low_open, is_high_open = is_open if each.unit != "per day" else is_open[::-1]
    if is_low_open and is_high_open:
        return "not known any nearer"
    if is_high_open or math.isinf(high):
        return f"{low:.{digits}f} or more"
    return f"{high:.{digits}f} or less" if is_low_open else f"{low:.{digits}f} to {high:.{digits}f}"


def value(unit: Unit, x: float) -> str:
    """Return a value without an interval, in words, to three digits."""
    name, size = _unit_of(unit, x)
    every = "one in " if unit == "per day" else ""
    return f"{every}{_in_unit(unit, x, size):.3g} {name}"


def _unit_of(unit: Unit, x: float) -> tuple[str, float]:
    """The name of the unit in which a value is told, and how much of its own one of them is."""
    if unit == "chance":
        return "%", 0.01
    if unit == "factor":
        return "times", 1.0
    seconds = DAY / x if unit == "per day" else x
    return next((name, size) for name, size, least in TIMES if seconds >= least)


def _in_unit(unit: Unit, x: float, size: float) -> float:
    if unit == "per day":
        return DAY / x / size if x else math.inf
    return x / size


def _room(each: Tolerance) -> str:
    return "" if math.isinf(each.room) else f"{each.room:.2g}"


def _taken(each: Tolerance, x: float) -> str:
    """The share of the time that something takes which comes and goes."""
    return f"{100 * (each.share_of_time(x) or 0.0):.2g} %"


# What helps


def helps_title(found: Tolerances) -> str:
    """Return what the list of what helps is."""
    what = "help, most first" if found.falls_short else "make room, where there is least"
    return f"What would {what} (common practice, no source):"


def helps(found: Tolerances) -> list[Row]:
    """Return what to buy or do beside what it is for, in the order of the limits."""
    kinds: dict[Kind, list[str]] = {}
    for each in _worth_help(found):
        kinds.setdefault(each.kind, []).append(each.what)
    return [(", ".join(whats), HELP[kind]) for kind, whats in [*kinds.items()][:MOST_HELP]]


def _worth_help(found: Tolerances) -> Sequence[Tolerance]:
    if found.falls_short:
        helping = [each for each in _in_vain(found) if _helps(found, each)]
        return [*(each for each in found.each if each.has_limit and each.room < 1), *helping]
    return [each for each in found.each if each.has_limit and each.room < LITTLE_ROOM]


# How it was found


def notes(found: Tolerances) -> list[str]:
    """Return what was assumed and how it was found, a paragraph each."""
    powered = {HELP[kind] for kind in POWERED}.intersection(what for _, what in helps(found))
    paragraphs = [CAUTION] if powered else []
    taken = [f"{each.what} {_taken(each, each.limit)}" for each in _that_come(found)]
    if taken:
        paragraphs.append(f"Share of the time at these limits: {', '.join(taken)}.")
    under = [each for each in found.each if each.under]
    if under:
        paragraphs.append(_under_each_model(found, under))
    shown = [each for each in found.each if each.assumed and each.holds != "nowhere"]
    if assumed := [f"{each.what} ({each.assumed})" for each in shown]:
        paragraphs.append(f"Not in the regime, and so assumed: {', '.join(assumed)}.")
    several = "each model" if len(found.models) > 1 else found.models[0].id
    paragraphs.append(
        f"Each is changed by itself, all else as it is. In brackets are 95 % intervals, sought to "
        f"within {100 * found.precision:.3g} % with at most {found.lives} lives of {several} at "
        f"each value; seed {found.seed}. Beyond a limit, where odds may rise again, nothing was "
        "tried."
    )
    return paragraphs


def _that_come(found: Tolerances) -> list[Tolerance]:
    """What comes and goes, and has a limit."""
    return [each for each in found.each if each.has_limit and each.half is not None]


def _under_each_model(found: Tolerances, limits: Sequence[Tolerance]) -> str:
    """Whether limits would hold if one of the models is true."""
    told = []
    for place, model in enumerate(found.models):
        odds = [each.under[place].estimate for each in limits]
        told.append(f"{100 * min(odds):.0f} to {100 * max(odds):.0f} % under {model.id}")
    return (
        f"The limits are of the odds over {len(found.models)} models by their weights, and their "
        f"intervals have the doubt between these. At them the {found.aim.figure} come to "
        f"{', '.join(told)}."
    )
