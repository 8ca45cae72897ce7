"""The cheapest way to look after a pet, as text: what was chosen, and what is known of the rest."""

from __future__ import annotations

import math
import re
import shlex
from collections.abc import Iterator, Sequence
from pathlib import Path
from textwrap import wrap

from petsim._version import __version__
from petsim.advice.choosing.choice import Choice, Confirmed
from petsim.advice.choosing.racing import On
from petsim.errors import legible
from petsim.spec.parts import as_yaml
from petsim.study.stats import Interval
from petsim.view.answers import Answer, AnswerTable
from petsim.view.evaluation import head as models_head
from petsim.view.evaluation import rows as models
from petsim.view.numbers import decimals, share
from petsim.view.sweep import brief, named_value
from petsim.view.tables import Row, counted

MOST_ROWS = 8
"""Candidates in the table."""
MOST_NAMED = 5
"""Candidates that a sentence lists."""
WIDTH = 98
"""Characters of a line of a remark."""

STEP = re.compile(r"step (\d+) \((.+?)\)")
"""A step as candidates name it; in a table of steps it is shorter."""


def answer(found: Choice) -> Answer:
    """Return what was chosen, and what is known of the others."""
    return Answer(
        question=question(found),
        gist=gist(found),
        tables=[*_tables(found)],
        notes=[*_notes(found)],
    )


def question(found: Choice) -> str:
    """Return what was asked for."""
    return f"Which costs least{_reaching(found)}?"


def _reaching(found: Choice) -> str:
    """The odds that were asked for, as a part of a sentence."""
    aim = found.evaluator.aim
    if found.at_least is None:
        return ""
    if not aim.is_share:
        return f" with an {aim.figure} of at least {_percent(found)}"
    return f" with at least {_percent(found)} {aim}"


def name(found: Choice, number: int) -> str:
    """Return what is changed by a candidate, in a few words."""
    candidate = found.candidates[number].candidate
    values = [named_value(path, text, [*candidate.texts]) for path, text in candidate.texts.items()]
    return ", ".join([*values, *candidate.words]) or "as it is"


def cost(found: Choice, interval: Interval) -> str:
    """Return a cost with its interval and what it counts."""
    value, low, high = _figures(interval)
    ends = "" if low == high else f" ({low} to {high})"
    label = found.cost.label
    return f"{value} {label}{ends}" if found.cost.is_counted else f"{label} {value}{ends}"


def gist(found: Choice) -> str:
    """Return what was chosen with its cost and its odds, or that nothing was."""
    chosen, best = found.chosen, found.candidates[found.reference]
    cheapest = f"Cheapest{' found' if _is_partial(found) else ''}{_reaching(found)}"
    if chosen is not None:
        return f"{cheapest}: {name(found, chosen.number)}: {_confirmed(found, chosen)}."
    if found.interrupted:
        return (
            f"Interrupted. {cheapest} so far: {name(found, found.reference)}: "
            f"{cost(found, best.cost)}, {_odds(found)} {share(best.odds)} on {counted(best.lives)} "
            "of the search; it is not confirmed."
        )
    last = found.tries[-1]
    reaches = "reaches" if last.odds.high < (found.at_least or 0.0) else "is shown to reach"
    return (
        f"None{' found' if _is_partial(found) else ''} {reaches} {_percent(found)} "
        f"{found.evaluator.aim}. Best: {name(found, last.number)}: {_confirmed(found, last)}."
    )


def _is_partial(found: Choice) -> bool:
    """Whether there is more to choose from than was looked at."""
    return found.rounds > 0 or found.space.sample is not None


def _percent(found: Choice) -> str:
    return f"{100 * (found.at_least or 0.0):.6g} %"


def _odds(found: Choice) -> str:
    return "odds" if found.evaluator.aim.is_share else found.evaluator.aim.figure


def _confirmed(found: Choice, tried: Confirmed) -> str:
    lives = counted(len(tried.evaluation)).replace(" ", " fresh ")
    return f"{cost(found, tried.cost)}, {_odds(found)} {share(tried.odds)} on {lives}"


def _tables(found: Choice) -> Iterator[AnswerTable]:
    shown, number = rows(found), len(found.candidates)
    which = f"The best {len(shown)} of {number}" if len(shown) < number else "All of them"
    yield AnswerTable(f"{which}, on the same luck; cost: {found.cost.label}", head(found), shown)
    if found.tries and len(found.evaluator.models) > 1:
        last = found.tries[-1].evaluation
        title = f"{name(found, found.tries[-1].number)}, on fresh lives of each model"
        yield AnswerTable(title, models_head(last), models(last))


def head(found: Choice) -> Row:
    """Return the head of the table of the best candidates."""
    paths = [*found.candidates[0].candidate.texts]
    steps = ["steps"] if _has_steps(found) else []
    varied = [brief(path, paths) for path in paths]
    return (*varied, *steps, _odds(found), "cost", "difference", "lives")


def rows(found: Choice) -> list[Row]:
    """Return the best candidates by the lives of the search, under `head`.

    The first is what the others differ from. Those that are the same in every life are left out.
    """
    others = [number for number in found.ranking if number not in found.alike]
    return [_row(found, number) for number in others[:MOST_ROWS]]


def _row(found: Choice, number: int) -> Row:
    of = found.candidates[number]
    steps = [_unlike(found, number)] if _has_steps(found) else []
    more = "" if number == found.reference else _difference(of.more)
    value, *_ = _figures(of.cost)
    return (*of.candidate.texts.values(), *steps, share(of.odds), value, more, f"{of.lives}")


def _has_steps(found: Choice) -> bool:
    return found.candidates[0].candidate.routine is not None


def _unlike(found: Choice, number: int) -> str:
    """Return what is first otherwise in the routine of a candidate than in the reference's."""
    if number == found.reference:
        return "as chosen" if found.chosen else "as the best"
    candidate = found.candidates[number].candidate
    assert candidate.routine is not None
    reference = found.candidates[found.reference].candidate.routine
    assert reference is not None
    others = candidate.routine.words_against(reference)
    if not others:
        return "the same"
    first, *more = others
    first = STEP.sub(r"\2 (\1)", first).replace("order of steps", "order")
    return f"{first}, {len(more)} more" if more else first


def _notes(found: Choice) -> Iterator[str]:
    """Yield what can't be told apart, what failed on fresh lives, and how all was found."""
    yield from _open(found)
    failed = [tried for tried in found.tries[:-1] if not tried.holds]
    if failed:
        odds = _odds(found)
        each = (f"{_short_name(found, t.number)}, {odds} {share(t.odds)}" for t in failed)
        yield (
            f"Tried before on fresh lives, and not shown to reach {_percent(found)}: "
            f"{'; '.join(each)}."
        )
    yield _how(found)
    if found.tries:
        yield _meant(found)


def _open(found: Choice) -> Iterator[str]:
    """What more lives would tell."""
    if found.alike:
        yield f"The same in every life: {_listed(found, found.alike)}."
    if found.as_cheap:
        yield (
            f"May cost as little: {_listed(found, found.as_cheap)}. The differences of cost, over "
            "the same lives, have intervals in which 0 is."
        )
    if found.cheaper and found.at_least is not None:
        yield (
            f"Cheaper, but not shown to reach {_percent(found)}: {_listed(found, found.cheaper)}. "
            "More lives would tell."
        )


def _listed(found: Choice, numbers: Sequence[int]) -> str:
    """Some candidates by what they are or, of routines, by what is otherwise than in the best."""
    named = [
        f"{_short_name(found, number)} ({share(found.candidates[number].odds)})"
        for number in numbers[:MOST_NAMED]
    ]
    rest = len(numbers) - len(named)
    return "; ".join([*named, *([f"and {rest} more"] if rest else [])])


def _short_name(found: Choice, number: int) -> str:
    if not _has_steps(found):
        return name(found, number)
    texts = found.candidates[number].candidate.texts
    values = [named_value(path, text, [*texts]) for path, text in texts.items()]
    return ", ".join([*values, _unlike(found, number)])


def _how(found: Choice) -> str:
    """What was looked at, with how many lives."""
    rounds = "races" if found.rounds else "searches"
    return (
        f"Looked at {_looked_at(found)}. {counted(found.lives_in_all)} in all, with the same luck "
        f"for each (seed {found.evaluator.seed}): up to {found.lives} of each, fewer of those that "
        "surely fell short or surely cost more by then. The best drops out wrongly in at most 5 % "
        f"of {rounds}."
    )


def _looked_at(found: Choice) -> str:
    number, cells = len(found.candidates), found.space.number_of_cells
    sample = found.space.sample
    if found.rounds:
        ended = "" if found.interrupted else ", until none helped"
        return (
            f"{counted(number, 'candidate')}, in {counted(found.rounds, 'round')} of small changes "
            f"to the best by then{ended}; the cheapest found need not be the cheapest there is"
        )
    if sample is not None:
        of = "points" if cells is None else f"of {cells} combinations"
        return f"{number} {of}, {SAMPLED[sample]}; what was not looked at may be cheaper"
    return f"all {counted(number, 'combination')}"


SAMPLED = {
    "latin": "a Latin sample",
    "sobol": "a Sobol sample",
    "tpe": "chosen where it seemed promising",
}


def _meant(found: Choice) -> str:
    """What the figures of the chosen one mean."""
    fresh = f"Fresh lives are those of seed {found.fresh_seed}, by which nothing was chosen"
    if found.at_least is None:
        return f"{fresh}. All intervals are of 95 %."
    if found.on is On.ESTIMATE:
        return (
            f"{fresh}; the estimate has to reach {_percent(found)} there, as that of a routine "
            "just short of it may by luck. All intervals are of 95 %."
        )
    level = found.tries[-1].level if found.tries else 0.95
    of = f"{100 * level:.4g} %"
    others = "" if level == 0.95 else "; all other intervals are of 95 %"
    return (
        f"{fresh}; the lower end of an interval of {of} has to reach {_percent(found)} there"
        f"{others}. One that falls short passes in at most 5 % of searches, however many are tried."
    )


def _figures(interval: Interval) -> tuple[str, str, str]:
    """A mean and the ends of its interval, to two digits of its half-width."""
    half = (interval.high - interval.low) / 2
    if math.isnan(half) or half == 0:
        alone = f"{interval.estimate:.4g}"
        return alone, alone, alone
    digits = decimals(half)
    value, low, high = (f"{x:.{digits}f}" for x in interval)
    return value, low, high


def _difference(interval: Interval) -> str:
    """A difference of costs with the half-width of its interval, if the lives differ in it."""
    half = (interval.high - interval.low) / 2
    if math.isnan(half) or half == 0:
        return f"{interval.estimate:+.4g} in every life"
    digits = decimals(half)
    return f"{interval.estimate:+.{digits}f} ± {half:.{digits}f}"


def regime_file(found: Choice) -> str:
    """Return the text of the file of the regime that was chosen, with what was found of it."""
    assert found.regime is not None
    said = wrap(
        f"Made of {found.evaluator.regime} by petsim {__version__}. {gist(found)}",
        WIDTH,
        break_on_hyphens=False,
    )
    return "".join(f"# {legible(line)}\n" for line in said) + as_yaml(found.regime)


def written(found: Choice, path: Path) -> str:
    """Return that a file is written, and what shows the same odds again."""
    models = found.evaluator.models
    model = f" --model {shlex.quote(str(models[0].asked_by))}" if models[0].asked_by else ""
    again = f"--lives {found.lives} --seed {found.fresh_seed}"
    return f"{path}: written; try: petsim compare {shlex.quote(str(path))}{model} {again}"
