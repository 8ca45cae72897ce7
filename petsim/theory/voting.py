"""Several looks at one thing: a vote on what is there, the median of a level.

The printed digits were computed apart from this project, from the binomial sums of the sources.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product

import numpy as np
from scipy import stats

from petsim.life.draws import effective_imagines, effective_misreads, effective_overlooks
from petsim.theory.lab import Lab, totals
from petsim.theory.verdicts import Verdict, check, digits, share
from petsim.theory.worlds import every, pet, regime

BOOKS = (
    "binomial sums; von Neumann (1956), Probabilistic logics; two of three: Lyons & Vanderkulk "
    "(1962), IBM Journal 6 (both from memory)"
)
LIVES, CHECKS = 100, 1_000

VOTES = [
    # looks, agree: (overlooks of one look, of all) ..., (imagines of one look, of all) ...
    (
        (3, 2),
        [(0.05, 0.00725), (0.1, 0.028), (0.2, 0.104), (0.3, 0.216)],
        [(0.02, 0.001184), (0.05, 0.00725), (0.1, 0.028)],
    ),
    (
        (2, 1),
        [(0.05, 0.0025), (0.1, 0.01), (0.2, 0.04), (0.3, 0.09)],
        [(0.02, 0.0396), (0.05, 0.0975), (0.1, 0.19)],
    ),
    (
        (5, 3),
        [(0.05, 0.00115813), (0.1, 0.00856), (0.2, 0.05792), (0.3, 0.16308)],
        [(0.02, 0.00007762), (0.05, 0.00115813), (0.1, 0.00856)],
    ),
]
MORE_VOTES = [
    # looks, agree, overlooks, imagines
    (4, 4, 0.12, 0.35),
    (7, 2, 0.6, 0.08),
    (9, 6, 0.45, 0.55),
]


@check(BOOKS)
def rates_of_several_looks(lab: Lab) -> Iterator[Verdict]:
    """The rate of errors of a vote of k of n looks, and of the median of readings, as computed."""
    for (of, agree), overlooked, imagined in VOTES:
        for one, vote in overlooked:
            what = _vote("overlooks", of, agree, one)
            yield digits(what, effective_overlooks(one, of, agree), vote, 1e-8)
        for one, vote in imagined:
            what = _vote("imagines", of, agree, one)
            yield digits(what, effective_imagines(one, of, agree), vote, 1e-8)
    for of, agree, overlooks, imagines in MORE_VOTES:
        unseen = stats.binom.cdf(agree - 1, of, 1 - overlooks)
        seen = stats.binom.sf(agree - 1, of, imagines)
        what = _vote("overlooks", of, agree, overlooks)
        yield digits(what, effective_overlooks(overlooks, of, agree), unseen, 1e-12)
        what = _vote("imagines", of, agree, imagines)
        yield digits(what, effective_imagines(imagines, of, agree), seen, 1e-12)
    what = "median of 3 readings, each off 10%: P(right) as printed"
    yield digits(what, 1 - effective_misreads(0.1, 3), 0.9855, 1e-8)
    for of, misreads in [(3, 0.1), *MORE_MEDIANS]:
        what = f"median of {of} readings, each off {misreads:.0%}: P(off)"
        yield digits(what, effective_misreads(misreads, of), _off(of, misreads), 1e-12)


@check(BOOKS)
def looks_that_vote(lab: Lab) -> Iterator[Verdict]:
    """The share of votes that miss a signal that is there, or believe one that is not."""
    for (of, agree), overlooked, imagined in VOTES:
        for one, vote in overlooked:
            yield _voted(lab, "overlooks", of, agree, one, vote)
        for one, vote in imagined:
            yield _voted(lab, "imagines", of, agree, one, vote)
    for of, agree, overlooks, imagines in MORE_VOTES:
        unseen = float(stats.binom.cdf(agree - 1, of, 1 - overlooks))
        yield _voted(lab, "overlooks", of, agree, overlooks, unseen)
        seen = float(stats.binom.sf(agree - 1, of, imagines))
        yield _voted(lab, "imagines", of, agree, imagines, seen)


def _voted(lab: Lab, error: str, of: int, agree: int, one: float, vote: float) -> Verdict:
    """Compare votes on a need that is always empty, to overlook it, or always full, to imagine it.

    error: "overlooks" or "imagines". of, agree: looks, and the number of them that must show it.
    one, vote: the chance of the error in one look and in the vote.
    """
    lived = lab.batch(
        pet(needs=[f"hunger: {{full: 1, starts: {int(error == 'imagines')}}}"], care=["wave: {}"]),
        regime(
            every(60),
            f"eyes: {{calling: {{{error}: {one}}}, looks: {{of: {of}, agree: {agree}}}}}",
            routine=["{when: {calling: yes}, do: wave}"],
        ),
        lives=LIVES,
        seconds=CHECKS * 60,
    )
    n, seen = len(lived) * CHECKS, totals(lived)["done.wave"]
    what = _vote(error, of, agree, one)
    return share(what, seen if error == "imagines" else n - seen, n, vote)


def _vote(error: str, of: int, agree: int, one: float) -> str:
    return f"{agree} of {of} looks, each {error} {one:.0%}: P(wrong)"


MEDIANS = [
    # looks, misreads: P(one too high), which is P(one too low)
    (1, 0.1, 0.05),
    (3, 0.1, 0.00725),
]
MORE_MEDIANS = [(5, 0.35), (7, 0.8)]


@check(f"order statistics; {BOOKS}")
def median_of_readings(lab: Lab) -> Iterator[Verdict]:
    """The median of readings of a level is one off to either side, but never outside the scale.

    The number of readings is odd: a regime whose levels are misread and that takes an even number
    of looks is refused, as the median would be open. What would lie beyond an end of the scale is
    read as that end, so a level at 0 or full is misread to one side only.
    """
    for of, misreads, side in MEDIANS + [(*case, _off(*case) / 2) for case in MORE_MEDIANS]:
        for level in (0, 2, 5):
            readings = [r for r in (level - 1, level, level + 1) if 0 <= r <= 5]
            lived = lab.batch(
                pet(
                    needs=[f"hunger: {{full: 5, starts: {level}}}"],
                    care=[f"say {r}: {{}}" for r in readings],
                ),
                regime(
                    every(60),
                    f"eyes: {{hunger: {{misreads: {misreads}}}, looks: {{of: {of}, agree: 1}}}}",
                    routine=[f"{{when: {{hunger: {r}}}, do: say {r}}}" for r in readings],
                ),
                lives=LIVES,
                seconds=CHECKS * 60,
            )
            n, counted = len(lived) * CHECKS, totals(lived)
            for r in readings:
                what = f"level {level} of 5, {of} readings, each off {misreads:.0%}: P(read {r})"
                chance = side if r != level else 1 - side * (len(readings) - 1)
                yield share(what, counted[f"done.say {r}"], n, chance)


def _off(of: int, misreads: float) -> float:
    """Chance that the median of readings is off, by going through all that they can be."""
    chances = {-1: misreads / 2, 0: 1 - misreads, 1: misreads / 2}
    return sum(
        float(np.prod([chances[reading] for reading in readings]))
        for readings in product(chances, repeat=of)
        if np.median(readings) != 0
    )
