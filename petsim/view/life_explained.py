"""Why one life went wrong, in words: the answer, what it failed by, what would have saved it."""

from __future__ import annotations

from collections.abc import Iterator

from petsim.advice.one_life.chain import MISBEHAVIOUR, Link
from petsim.advice.one_life.explain_life import LifeExplained, Otherwise
from petsim.advice.one_life.nudges import LEAST, SHIFTS, Kind, Nudge
from petsim.advice.one_life.withheld import Candidate
from petsim.life.causes import Reason
from petsim.life.history import Check, CheckDone
from petsim.life.mishaps import FORGETS, LATE, OUTAGE, SPELL, UNHEARD
from petsim.life.record import Life
from petsim.life.turning import Demand
from petsim.spec.quantities import duration_text
from petsim.view.answers import Answer, AnswerTable
from petsim.view.misses import explained, mistake, not_done, time_of
from petsim.view.outcome import headline
from petsim.view.tables import Row, counted

MOST_LINKS = 12
"""Links that are told; of more, the last ones."""
MOST_SAVERS = 8
"""Lines of a table of what would have saved a life."""
CHAIN = ("when", "what", "main reason")
WITHOUT = ("what went wrong", "without it")
NUDGED = ("quantity", "value", "instead")
"""The heads of the tables of what a life failed by, and of what would have saved it."""
FREE_OF = {
    "the interval of checks": "with a check every minute",
    "times without checks": "with checks at all times",
    "calls not heard": "with every call heard",
}
"""How a life is lived without an imperfection that has no good name for its absence."""


def answer(why: LifeExplained) -> Answer:
    """Return why a life went wrong, or how it went right."""
    return Answer(
        question=question(why),
        gist=gist(why),
        tables=[chain(why), without(why), nudged(why)],
        notes=[*_notes(why)],
    )


def question(why: LifeExplained) -> str:
    """Return what is asked of a life."""
    asked = f"become {why.aim}?"
    who = f"life {why.life.number} of {why.life.model.id} under {why.life.regime}"
    if why.reached:
        return f"How did {who} {asked}"
    return f"Why did {who} not {asked}" if why.has_failed else f"Can {who} still {asked}"


def chain(why: LifeExplained) -> AnswerTable:
    """Return what a life failed by, and what the checks did about it."""
    told = why.links[-MOST_LINKS:]
    return AnswerTable(
        _chain_title(why),
        CHAIN,
        [(_day_and_time(x.t, why.life), x.cause, x.reason.value) for x in told],
        [[*_lines(link, why.life)] for link in told],
        "what the checks did",
    )


def without(why: LifeExplained) -> AnswerTable:
    """Return the mishaps each of which alone cost a life its aim."""
    # two readings of one look can be told alike
    rows = [*dict.fromkeys(_saved(each, why) for each in why.withheld)]
    return AnswerTable(_without_title(why), WITHOUT, rows, most=MOST_SAVERS)


def nudged(why: LifeExplained) -> AnswerTable:
    """Return the smallest changes of one quantity that lead to the aim."""
    return AnswerTable(_nudged_title(why), NUDGED, [*map(_nudge, why.nudges)], most=MOST_SAVERS)


# The answer


def gist(why: LifeExplained) -> str:
    """Return what became of a life, and what alone would have saved it, in a few sentences."""
    return f"{_chosen(why)}{message(why)}"


def message(why: LifeExplained) -> str:
    """Return the same without what the life was chosen as."""
    text = f"{headline(why.life, why.aim)}."
    return f"{text} {_saving(why)}" if why.tried_changes else text


def _saving(why: LifeExplained) -> str:
    """What alone would have saved a life, in a sentence."""
    became = f"it would have become {why.aim}"
    if why.withheld:
        return f"Had {_not_so(why.withheld[0].candidate, why.life)}, {became}."
    if why.nudges:
        return f"With {nudge_in_words(why.nudges[0])}, {became}."
    if why.together:
        all_of_them = free_of(why.together[0])
        return f"No single mishap cost it {why.aim}, but {all_of_them} {became}."
    return f"Nothing that was tried would by itself have made it {why.aim}."


def _chosen(why: LifeExplained) -> str:
    """As what a life was chosen, before the sentence on it."""
    if why.chosen is None:
        return ""
    died = bool(why.life.summary["died"])
    what = {
        "worst": f"the worst ({'it died first' if died else 'the most care misses'})",
        "typical": "the most typical (the nearest to all others)",
    }[why.chosen.what]
    return f"Of {counted(why.chosen.lives)}, life {why.life.number} is {what}. "


# What it failed by


def _chain_title(why: LifeExplained) -> str:
    """What the links of a life are."""
    each = {
        False: "each care miss that counted",
        True: "each misbehaviour that nobody reprimanded in time",
    }
    there = {link.cause == MISBEHAVIOUR for link in why.links}
    what = ", and ".join(each[kind] for kind in sorted(there))
    last = f" (the last {MOST_LINKS} of {len(why.links)})" * (len(why.links) > MOST_LINKS)
    return f"What it failed by, {what}{last}"


def _lines(link: Link, life: Life) -> Iterator[str]:
    """What was due, and what each check saw and did about it."""
    due, *others = _lapsed(link, life) if link.miss is None else explained(link.miss, life)
    yield due
    if any(mishap.source == UNHEARD and mishap.t == link.since for mishap in life.mishaps):
        yield "nobody heard it call"
    yield from others


def _lapsed(link: Link, life: Life) -> Iterator[str]:
    """The lines of a misbehaviour that nobody reprimanded in time."""
    since, lasted = time_of(link.since, link.t, life), duration_text(link.t - link.since)
    if not link.checks:
        yield f"misbehaved from {since} on; no check came in the {lasted}"
        return
    yield f"misbehaved from {since} on, for {lasted}"
    for check in link.checks:
        yield f"check at {time_of(check.t, link.t, life)}: {_course(check, link)}"


def _course(check: Check, link: Link) -> str:
    """What a check did about a misbehaviour."""
    if not isinstance(check, CheckDone):
        return not_done(check)
    tried = [attempt for attempt in check.attempts if attempt in link.attempts]
    if tried:
        return ", ".join(f"{attempt.action} {attempt.fate}" for attempt in tried)
    wrong = [s for s in check.sights if s in link.sights and s.seen != s.truth]
    if wrong:
        return ", ".join(dict.fromkeys(map(mistake, wrong)))
    was_busy = link.reason is Reason.BUSY
    return "still at other care when it was over" if was_busy else "did not reprimand it"


# What would have saved it


def _without_title(why: LifeExplained) -> str:
    became = f"it would have become {why.aim}"
    return f"If any one of these had not gone wrong, {became}, all other luck held"


def _saved(life: Otherwise, why: LifeExplained) -> Row:
    """A mishap that alone cost a life its aim, and what it would have had without it."""
    mishap = _mishap(life.candidate, why.life)
    if why.turn is None or life.number is None:
        return mishap, ""
    return mishap, _counted(why.turn.demands[0], life.number)


def _nudged_title(why: LifeExplained) -> str:
    return f"With any one of these changed it would have become {why.aim}, smallest change first"


def _notes(why: LifeExplained) -> Iterator[str]:
    """What else there is to say, a paragraph each."""
    if why.reached:
        yield from _spare(why)
    else:
        yield from _nearer(why)
        yield from _also_without(why)
        yield from _tried(why)


def _nearer(why: LifeExplained) -> Iterator[str]:
    if why.nearer is not None and why.turn is not None:
        demand, nearer = why.turn.demands[0], why.nearer
        yield (
            f"What came nearest: had {_not_so(nearer.candidate, why.life)}, it would have had "
            f"{_counted(demand, nearer.number)}, not {demand.number}, and have become "
            f"{nearer.outcome}."
        )


def _also_without(why: LifeExplained) -> Iterator[str]:
    if len(why.together) > 1:
        others = ", or ".join(map(free_of, why.together[1:]))
        yield f"It would also have become {why.aim} {others}."


def _tried(why: LifeExplained) -> Iterator[str]:
    """What was tried, and how."""
    if not why.tried_changes:
        return
    has_clock_times = bool(why.life.caretaker.regime.checks.at)
    times = f", clock times by up to {duration_text(max(SHIFTS))}" if has_clock_times else ""
    yield (
        f"Tried: {_mishaps_tried(why)}; and {why.quantities} quantities of the regime, each "
        f"changed by up to half or to double{times}, in {counted(why.tried_changes)}."
    )
    if why.nudges:
        by_luck = 2 * why.led > why.ladders
        luck = " So this life failed by bad luck more than by any one quantity." * by_luck
        yield (
            f"Any change shifts all that follows, so some lead to {why.aim} by chance: of the "
            f"largest changes {why.led} of {why.ladders} did. A change is listed only if all "
            f"larger ones lead there too, {LEAST} of them or as many as there are.{luck}"
        )


def _mishaps_tried(why: LifeExplained) -> str:
    if not why.candidates:
        return "no mishap, as none played a part"
    first = f"the first {why.tried} of " if why.tried < why.candidates else ""
    mishaps = counted(why.candidates, "mishap")
    how = "each left out by itself" if why.candidates > 1 else "left out"
    return f"{first}{mishaps} that may have played a part, {how}"


def free_of(imperfection: str) -> str:
    """Return how a life is lived without an imperfection of its regime, by what that is called."""
    if imperfection.startswith("the eyes from"):
        return f"with {imperfection} as at other times"
    return FREE_OF.get(imperfection, f"without {imperfection} at all")


def _mishap(candidate: Candidate, life: Life) -> str:
    """A mishap, as a thing that there was."""
    source, lasts = candidate.mishap.source, _rounded(candidate.seconds)
    at = _day_and_time(candidate.mishap.t, life)
    if candidate.sight is not None:
        return f"the look of {at} that {mistake(candidate.sight)}"
    return {
        OUTAGE: f"the power cut of {at} ({lasts})",
        SPELL: f"the bad light of {at} ({lasts})",
        FORGETS: f"the forgotten check of {at}",
        LATE: f"the check due on {at} that came {lasts} late",
        UNHEARD: f"the unheard call of {at}",
    }.get(source, f"the slip of {_action(source)} on {at}")


def _not_so(candidate: Candidate, life: Life) -> str:
    """That a mishap had not happened, so that a sentence can go on with it after "had"."""
    source, lasts = candidate.mishap.source, _rounded(candidate.seconds)
    at = _day_and_time(candidate.mishap.t, life)
    if candidate.sight is not None:
        return f"the look of {at} been right, which {mistake(candidate.sight)}"
    return {
        OUTAGE: f"the power not failed on {at} (for {lasts})",
        SPELL: f"the light not turned bad on {at} (for {lasts})",
        FORGETS: f"the check of {at} not been forgotten",
        LATE: f"the check due on {at} not come {lasts} late",
        UNHEARD: f"the call of {at} been heard",
    }.get(source, f"{_action(source)} not slipped on {at}")


def _action(source: str) -> str:
    """The action that slipped, by the source of its slips."""
    return source.split(" ", 1)[-1]


def _nudge(nudge: Nudge) -> Row:
    """A quantity, its value, and the one that leads to the aim."""
    if nudge.kind is Kind.LAW:
        longer = "shorter" if nudge.change < 0 else "longer"
        return nudge.path, nudge.before, f"{100 * abs(nudge.change):.0f} % {longer}"
    return nudge.path, nudge.before, nudge.after


def nudge_in_words(nudge: Nudge) -> str:
    """Return another value of a quantity, as a sentence goes on with it after "with"."""
    path, before, after = _nudge(nudge)
    if nudge.kind is Kind.LAW:
        return f"{path} {after} than {before}"
    return f"{path} at {after}, not {before}"


def _rounded(seconds: int) -> str:
    """A time, from ten minutes on in whole minutes."""
    return duration_text(seconds if seconds < 600 else 60 * round(seconds / 60))


def _counted(demand: Demand, number: int | None) -> str:
    if number is not None and demand.quantity.startswith("misses"):
        return counted(number, "care miss")
    return f"{demand.quantity} {number}"


# A life that reached its aim


def _spare(why: LifeExplained) -> Iterator[str]:
    """How many misses a life that reached its aim had to spare, where these were fewest."""
    kept = [
        (form, demand)
        for form, demand in why.margins
        if demand.quantity.startswith("misses") and demand.bound.op in ("at most", "below")
    ]
    if not kept:
        return
    form, demand = min(kept, key=lambda each: each[1].room)
    of = "" if demand.cause == "all" else f" of {demand.cause}"
    room = demand.room
    had = f"{counted(demand.number, 'care miss')}{of}, {demand.bound} allowed"
    if room == 0:
        yield f"It had no miss to spare as {form}: {had}."
    else:
        yield f"It had {counted(room, 'miss')} to spare where these were fewest, as {form}: {had}."


def _day_and_time(t: int, life: Life) -> str:
    return f"day {life.clock(t).day} {time_of(t, t, life)}"
