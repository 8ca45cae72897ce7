"""Spells of bad light, in which looks err together.

How often the light is bad is what reliability theory says of a machine that fails and is repaired,
as good and bad times are an alternating renewal process. Where both are exponential, the light is a
Markov chain of two states, whose memory fades as exp(-t / tau); 1 / tau is the sum of the rates at
which it leaves either. The printed digits were worked out by hand from the formulas.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from petsim.life.draws import effective_overlooks
from petsim.theory.lab import Lab, totals
from petsim.theory.verdicts import Verdict, check, digits, exact, mean, share
from petsim.theory.worlds import dropping, every, pet, regime

RENEWAL = (
    "an alternating renewal process; Ross, Introduction to Probability Models, ch. 7, renewal "
    "reward; Barlow & Proschan (1965), Mathematical Theory of Reliability, ch. 3 (from memory)"
)
CHAIN = f"a Markov chain of two states; {RENEWAL}"
CALLING = pet(needs=["hunger: {full: 1, starts: 0}"], care=["wave: {}"])
"""A pet that always calls."""
WAVE = "{when: {calling: yes}, do: wave}"


class Time(NamedTuple):
    """A time as a file has it, its mean and its variance in seconds, these worked out by hand."""

    text: str
    mean: float
    variance: float


TIMES = [
    # good, bad: long-run share of bad light
    (
        Time("exponential 4000 s", 4000, 4000**2),
        Time("exponential 1000 s", 1000, 1000**2),
        0.2,
    ),
    (
        Time("uniform 1000 s to 3000 s", 2000, 2000**2 / 12),
        Time(
            "lognormal median 400 s sigma 0.5",
            400 * math.exp(0.125),
            400**2 * math.exp(0.25) * math.expm1(0.25),
        ),
        0.184758,
    ),
    # of a Weibull distribution of shape 2 the mean is scale x sqrt(pi) / 2
    (
        Time("weibull shape 2 scale 900 s", 450 * math.sqrt(math.pi), 900**2 * (1 - math.pi / 4)),
        Time("fixed 300 s", 300, 0),
        0.273323,
    ),
]


@check(RENEWAL)
def share_of_time_in_bad_light(lab: Lab) -> Iterator[Verdict]:
    """In the long run it is E bad / (E good + E bad), less what a good start takes from it."""
    for good, bad, printed in TIMES:
        case = f"good for {good.text}, bad for {bad.text}"
        cycle = good.mean + bad.mean
        part = bad.mean / cycle
        yield digits(f"{case}: share in theory", part, printed, 6e-7)
        seconds = round(200 * cycle)
        lived = lab.batch(CALLING, _bad_light(good.text, bad.text), lives=50, seconds=seconds)
        # What is left of the cycle at the end, and how much of that is bad, by Wald's equation.
        square = good.variance + bad.variance + cycle**2
        of_bad = good.mean * bad.mean + (bad.variance + bad.mean**2) / 2
        expected = part * seconds + (part * square / 2 - of_bad) / cycle
        # Of a cycle, the variance of its reward less its share of the time.
        spread = (1 - part) ** 2 * bad.variance + part**2 * good.variance
        of_mean = math.sqrt(spread * seconds / cycle / len(lived))
        got = totals(lived)["spells_s"] / len(lived)
        yield mean(f"{case}: share", got / seconds, expected / seconds, of_mean / seconds)


EXPONENTIAL = [
    # mean good, mean bad: P(bad at 600 s), P(bad at 3600 s)
    (4_000, 1_000, (0.105527, 0.197778)),
    (9_000, 3_000, (0.058518, 0.199526)),
    (700, 2_100, (None, None)),
]


@check(CHAIN)
def light_after_a_good_start(lab: Lab) -> Iterator[Verdict]:
    """The chance that the light is bad at a time: S (1 - exp(-t / tau))."""
    for good, bad, printed in EXPONENTIAL:
        light = Light(good, bad)
        for at, known in zip((600, 3_600), printed, strict=True):
            case = f"{light}: P(bad at {at} s)"
            if known is not None:
                yield digits(f"{case} in theory", light.bad_at(at), known, 6e-7)
            caretaker = _bad_light(
                f"exponential {good} s",
                f"exponential {bad} s",
                every(10_000_000, first=f"{at} s"),
                rates="calling: {overlooks: 100%}",
            )
            lived = lab.batch(CALLING, caretaker, lives=2_000, seconds=at + 1)
            unseen = len(lived) - totals(lived)["done.wave"]
            yield share(case, unseen, len(lived), light.bad_at(at))


class Light:
    """Light that is good and bad in turn for exponential times of these means, good at first.

    part: the share of time in which it is bad in the long run. fades: tau.
    """

    def __init__(self, good: float, bad: float) -> None:
        self._words = f"good for {good:g} s on average, bad for {bad:g} s"
        self.part = bad / (good + bad)
        self.fades = good * bad / (good + bad)

    def bad_at(self, t: float) -> float:
        """Chance that it is bad at second t."""
        return -self.part * math.expm1(-t / self.fades)

    def stays_bad(self, t: float) -> float:
        """Chance that it is bad t seconds after a second in which it was."""
        return self.part + (1 - self.part) * math.exp(-t / self.fades)

    def __str__(self) -> str:
        return self._words


TWO_LOOKS = [
    # mean good, mean bad, overlooks in good light and in bad, looks, agree, first check, interval
    (4_000, 1_000, 0.0, 1.0, 1, 1, 3_000, 60),
    (4_000, 1_000, 0.1, 0.7, 1, 1, 1_500, 300),
    (4_000, 1_000, 0.1, 0.7, 3, 2, 1_500, 300),
    (700, 2_100, 0.3, 0.9, 5, 3, 900, 2_000),
]


@check(CHAIN)
def errors_of_two_checks_in_a_row(lab: Lab) -> Iterator[Verdict]:
    """Errors of neighbours have covariance S (1 - S) exp(-t / tau) times the rates' gap squared.

    A vote of several looks makes the rate of good light smaller, and leaves that of bad light.
    """
    for good, bad, clear, dim, of, agree, first, interval in TWO_LOOKS:
        light, lives = Light(good, bad), 2_000
        case = (
            f"{light}, overlooks {clear:.0%} and {dim:.0%}, {agree} of {of} looks agree, "
            f"checks {interval} s apart"
        )
        caretaker = _bad_light(
            f"exponential {good} s",
            f"exponential {bad} s",
            every(interval, first=f"{first} s"),
            f"calling: {{overlooks: {clear}}}, looks: {{of: {of}, agree: {agree}}}, ",
            f"calling: {{overlooks: {dim}}}",
        )
        lived = lab.batch(CALLING, caretaker, lives=lives, seconds=first + interval + 1)
        n, seen = len(lived), lived.values["done.wave"]
        yield exact(f"{case}: checks a life", totals(lived)["checks"], 2 * n)
        at_first, stays = light.bad_at(first), light.stays_bad(interval)
        comes = light.bad_at(interval)
        voted = effective_overlooks(clear, of, agree)
        both = at_first * dim * (stays * dim + (1 - stays) * voted)
        both += (1 - at_first) * voted * (comes * dim + (1 - comes) * voted)
        yield share(f"{case}: P(both overlook)", (seen == 0).sum(), n, both)
        neither = at_first * (1 - dim) * (stays * (1 - dim) + (1 - stays) * (1 - voted))
        neither += (1 - at_first) * (1 - voted) * (comes * (1 - dim) + (1 - comes) * (1 - voted))
        yield share(f"{case}: P(neither overlooks)", (seen == 2).sum(), n, neither)


SHARE_OF_ERRORS = [
    # mean good, mean bad, overlooks in good light and in bad, looks, agree, interval
    (4_000, 1_000, 0.1, 0.7, 1, 1, 300),
    (4_000, 1_000, 0.1, 0.7, 5, 3, 300),
    (900, 300, 0.3, 0.5, 3, 2, 600),
]


@check(CHAIN)
def share_of_errors_in_the_long_run(lab: Lab) -> Iterator[Verdict]:
    """It is S times the rate of bad light and 1 - S times the voted rate of good light."""
    checks = 2_000
    for good, bad, clear, dim, of, agree, interval in SHARE_OF_ERRORS:
        light, voted = Light(good, bad), effective_overlooks(clear, of, agree)
        caretaker = _bad_light(
            f"exponential {good} s",
            f"exponential {bad} s",
            every(interval),
            f"calling: {{overlooks: {clear}}}, looks: {{of: {of}, agree: {agree}}}, ",
            f"calling: {{overlooks: {dim}}}",
        )
        lived = lab.batch(CALLING, caretaker, lives=40, seconds=checks * interval)
        n = len(lived) * checks
        of_bad = np.mean([light.bad_at(k * interval) for k in range(checks)])
        expected = voted + (dim - voted) * float(of_bad)
        # Errors apart from each other, and with what neighbours share by the light.
        alike = math.exp(-interval / light.fades)
        shared = (dim - voted) ** 2 * light.part * (1 - light.part) * alike / (1 - alike)
        spread = math.sqrt((expected * (1 - expected) + 2 * shared) / n)
        case = f"{light}, overlooks {clear:.0%} and {dim:.0%}, {agree} of {of} looks agree"
        overlooked = n - totals(lived)["done.wave"]
        yield mean(f"{case}: share overlooked", overlooked / n, expected, spread)


MISSED = [
    # mean good, mean bad, interval, checks in the grace
    (4_000, 1_000, 60, 1),
    (4_000, 1_000, 60, 10),
    (4_000, 1_000, 600, 3),
    (3_000, 3_000, 300, 5),
]


@check(CHAIN)
def misses_in_bad_light(lab: Lab) -> Iterator[Verdict]:
    """A need is missed if the light is bad at all checks of its grace: P(bad) P(stays)^(n - 1).

    Independent errors of the same rate would miss S^n, which is far less.
    """
    for good, bad, interval, n in MISSED:
        light, empties = Light(good, bad), 20 * 600
        caretaker = regime(
            every(interval, first=f"{empties} s"),
            _eyes(f"exponential {good} s", f"exponential {bad} s"),
            routine=["{when: {calling: yes}, do: feed}"],
        )
        model = dropping(empties, (n - 1) * interval + 1)
        lived = lab.batch(model, caretaker, lives=1_000, seconds=empties + n * interval)
        chance = light.bad_at(empties) * light.stays_bad(interval) ** (n - 1)
        case = f"{light}, blind then, {n} checks {interval} s apart"
        yield share(f"{case}: P(miss)", totals(lived)["misses.hunger"], len(lived), chance)


@check("closed form; clock arithmetic")
def bad_light_at_some_hours_only(lab: Lab) -> Iterator[Verdict]:
    """Fixed times, of which those outside the hours change nothing: exactly so many looks err."""
    good, bad, days = 3_000, 1_100, 9
    for since, to in ((12, 15), (22, 6)):
        caretaker = _bad_light(
            f"{good} s",
            f"{bad} s",
            every(60),
            rates=f"during: {since:02}:00 to {to:02}:00, calling: {{overlooks: 100%}}",
        )
        lived = lab.batch(CALLING, caretaker, lives=1, seconds=days * 86_400)
        t = np.arange(0, days * 86_400, 60)
        hours = (t + 9 * 3600) // 3600 % 24
        within = (since <= hours) & (hours < to) if since < to else (since <= hours) | (hours < to)
        blind = within & (t % (good + bad) >= good)
        case = f"bad from {since}:00 to {to}:00"
        counted = totals(lived)
        yield exact(f"{case}: looks that see", counted["done.wave"], (~blind).sum() * len(lived))
        dark = (np.arange(days * 86_400) % (good + bad) >= good).sum()
        yield exact(f"{case}: s in spells", counted["spells_s"], dark * len(lived))


def _bad_light(
    good: str, bad: str, checks: str = "checks: {every: never}", eyes: str = "", rates: str = ""
) -> str:
    """A regime that waves when it sees a call, under light that is good and bad in turn.

    eyes: of good light and the looks, each followed by a comma. rates: of bad light.
    """
    return regime(checks, _eyes(good, bad, eyes, rates), routine=[WAVE])


def _eyes(good: str, bad: str, eyes: str = "", rates: str = "calling: {overlooks: 100%}") -> str:
    spells = f"{{{', '.join(filter(None, (f'clear: {good}', f'lasts: {bad}', rates)))}}}"
    return f"eyes: {{{eyes}spells: {spells}}}"
