"""Why the odds fall, in words and tables."""

from __future__ import annotations

import math
from collections.abc import Iterator

from petsim.advice.explaining.explanation import NOTHING, Explanation, Part
from petsim.study.stats import Interval
from petsim.view.aims import comes_to
from petsim.view.answers import Answer, AnswerTable
from petsim.view.numbers import rounded, share
from petsim.view.tables import Row, counted

LEAST = 0.01
"""The least share, as a share of 1, that is worth a word in the answer."""
HEAD = ("", "costs, points", "odds without it", "odds with it alone")
"""The head of the table of imperfections."""
WIDE = 0.1
"""The width of an interval, as a share, in which a decimal of a point would say nothing."""
NOT_YET = "not known yet"
ALWAYS = "That is an example, and not the best there could be."


def answer(explained: Explanation) -> Answer:
    """Return why the odds fall."""
    return Answer(
        question=f"Why does {explained.regime} miss {explained.aim}?",
        gist=gist(explained),
        tables=[*_tables(explained)],
        notes=[*_notes(explained)],
    )


def gist(explained: Explanation) -> str:
    """Return what the odds are, what they could be, and what takes most of it, in sentences."""
    odds = f"{explained.regime} leads to {comes_to(explained.aim, share(explained.odds))}"
    if not explained.there:
        return f"{odds}, and is carried out flawlessly every minute: there is nothing to mend."
    if explained.fall.low <= 0:
        ideal = share(explained.ideal)
        return f"{odds}; carried out flawlessly every minute it would do no better: {ideal}."
    between = f"{100 * explained.fall.estimate:.{_digits(explained.fall)}f}"
    return " ".join(
        (
            f"{odds}; carried out flawlessly every minute, the same routine would reach "
            f"{share(explained.ideal)}.",
            f"Of the {between} points between, {_costs(explained)}.",
            *_of_eyes(explained),
        )
    )


def _costs(explained: Explanation) -> str:
    """What surely costs a point or more, dearest first; the rest in a few words."""
    if any(math.isnan(part.share.estimate) for part in explained.parts):
        return "it is not known yet what each imperfection costs"
    dear = [part for part in explained.dear if part.share.estimate >= LEAST]
    if not dear:
        return "no imperfection costs a point by itself"
    first, *others = (f"{points(part.share)} {{}}to {part.what}" for part in dear)
    said = [first.format("are due "), *(each.format("") for each in others)]
    rest = len(explained.there) > len(dear)
    return ", ".join(said) + ("; nothing else costs a point" if rest else "")


def _of_eyes(explained: Explanation) -> Iterator[str]:
    """Whether better eyes alone would win anything, which is what is bought first."""
    gain = explained.eyes
    if gain == NOTHING or math.isnan(gain.estimate):
        return
    if gain.low > 0:
        yield f"Better eyes alone would win {points(gain)} points."
    else:
        yield f"Better eyes alone would win nothing measurable: {points(gain)} points."


def points(interval: Interval) -> str:
    """Return a difference of shares in percentage points, without the word, with its interval."""
    digits = _digits(interval)
    value, low, high = (f"{round(100 * x, digits) + 0.0:.{digits}f}" for x in interval)
    return f"{value} ({low} to {high})"


def _digits(interval: Interval) -> int:
    """Return one decimal, or none where the interval is wide."""
    return 1 if interval.high - interval.low < WIDE else 0


def _tables(explained: Explanation) -> Iterator[AnswerTable]:
    several = len(explained.models) > 1
    models = [each.model.id for each in explained.models] if several else []
    head = (*HEAD, *(f"under {model}" for model in models))
    rows = [_row(part, several=several) for part in explained.there]
    yield AnswerTable(f"What each imperfection of {explained.regime} costs", head, rows)
    if several:
        yield AnswerTable(
            "Under each model, share of lives",
            ("", "weight", "odds", "flawless"),
            [
                (each.model.id, *(f"{100 * x:.0f} %" for x in (each.weight, each.odds, each.ideal)))
                for each in explained.models
            ],
        )


def _row(part: Part, *, several: bool) -> Row:
    by_model = tuple(f"{100 * share + 0.0:.1f}" for share in part.by_model) if several else ()
    known = not math.isnan(part.share.estimate)
    costs = points(part.share) if known else NOT_YET
    return (name(part), costs, _odds(part.off), _odds(part.on), *by_model)


def name(part: Part) -> str:
    """Return what a part is called where it stands by itself."""
    return part.what.removeprefix("the ")


def _odds(odds: Interval) -> str:
    """Return odds in whole per cent, as what differs is told by the costs."""
    if math.isnan(odds.estimate):
        return NOT_YET
    return rounded(odds)


def _of_the_routine(explained: Explanation) -> str:
    """What a caretaker who sees all would add to the routine done flawlessly."""
    beyond = explained.beyond
    who = "a caretaker who sees all and is there at each call"
    odds = share(explained.example)
    if beyond.low <= 0 <= beyond.high:
        return f"{who} would reach {odds}, no measurable gain over this one done flawlessly"
    if beyond.high < 0:
        return f"{who} would reach {odds}, less than this one done flawlessly"
    return f"{who} would reach {odds}, {points(beyond)} points more than this one done flawlessly"


def _notes(explained: Explanation) -> Iterator[str]:
    absent = [part.what for part in explained.parts if not part.is_there]
    if absent:
        why = "as the regime does not have them, or never acts on them"
        yield f"Without cost, {why}: {', '.join(absent)}."
    if not math.isnan(explained.beyond.estimate):
        yield f"The routine itself: {_of_the_routine(explained)}. {ALWAYS}"
    lives = explained.lives
    yield (
        f"{counted(lives['regime'])} each of the regime and of its routine done flawlessly; "
        f"{lives['alone']} of these with each imperfection mended alone, and left alone; and "
        f"{lives['ordered']} with the imperfections switched on one after another, in random "
        "orders. As they mask each other, mending one alone may win more or less than it costs; "
        "all costs together are the whole fall."
    )
