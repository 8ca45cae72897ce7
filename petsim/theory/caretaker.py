"""Hands that slip, eyes that see what is not there, calls that are heard, power that fails.

The printed digits were computed apart from this project, from the closed forms of the sources.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from petsim.spec.quantities import DAY
from petsim.theory.closed_forms import Inspected, first_empty
from petsim.theory.lab import Lab, times, totals
from petsim.theory.verdicts import Verdict, check, digits, exact, mean, share
from petsim.theory.worlds import every, hungry, pet, regime

LIVES, CHECKS = 50, 1_000


# Hands

HANDS = [
    # chance of a failure, tries: P(all fail), presses
    (0.1, 3, 0.001, 1.11),
    (0.3, 2, None, None),
    (0.5, 4, None, None),
    (0.85, 12, None, None),
]


@check("closed form; the geometric distribution, cut off at the last try")
def hands_that_slip_and_games_that_are_lost(lab: Lab) -> Iterator[Verdict]:
    """The number of tries until one lands, and how often none of them does."""
    for chance, tries, all_fail, presses in HANDS:
        number = np.array([*range(1, tries + 1), tries])
        law = np.array([*(chance ** np.arange(tries) * (1 - chance)), chance**tries])
        average = (1 - chance**tries) / (1 - chance)
        spread = math.sqrt(float(number**2 @ law) - average**2)
        if all_fail is not None and presses is not None:
            case = f"fails {chance:.0%}, up to {tries} tries"
            yield digits(f"{case}: P(all fail)", law[-1], all_fail, 1e-12)
            yield digits(f"{case}: presses a check", average, presses, 1e-12)

        for word, slips, works in (("slips", chance, 1.0), ("lost", 0.0, 1 - chance)):
            case = f"{word} {chance:.0%}, up to {tries} tries"
            # A drop in the second of every check, so each finds the need empty.
            lived = lab.batch(
                pet("drops: {hunger: 60 s}", care=[_feed(works)]),
                regime(
                    every(60, first="60 s"),
                    f"hands: {{feed: {{slips: {slips}}}}}",
                    routine=[f"{{when: {{hunger: 0}}, do: feed, repeat: {tries}}}"],
                ),
                lives=LIVES,
                seconds=CHECKS * 60 + 1,
            )
            n, counted = len(lived) * CHECKS, totals(lived)
            landed = counted["done.feed"] - counted["lost.feed"]
            failed = counted["slipped.feed"] + counted["lost.feed"]
            yield exact(f"{case}: checks", counted["checks"], n)
            yield share(f"{case}: P(all fail)", n - landed, n, law[-1])
            of_mean = spread / math.sqrt(n)
            yield mean(f"{case}: presses a check", counted["presses"] / n, average, of_mean)
            yield exact(f"{case}: presses", counted["presses"], failed + landed)


def _feed(works: float) -> str:
    return f"feed: {{raises: {{hunger: 1}}, works: {works}}}"


INSTEAD = [
    # slips, into another that fills it, into one that does nothing, works
    (0.1, 0.4, 0.1, 1.0),
    (0.5, 0.7, 0.3, 0.6),
    (1.0, 0.25, 0.0, 0.9),
]


@check("closed form; a mixture: the meant action, or else one of the others")
def slips_that_press_something_else(lab: Lab) -> Iterator[Verdict]:
    """A need is filled with chance 1 - slips + slips x into x works, at the cost of one action."""
    for slips, treat, wave, works in INSTEAD:
        case = (
            f"slips {slips:.0%}, into a treat {treat:.0%} that works {works:.0%}, a wave {wave:.0%}"
        )
        # A drop in the second of every check, so each finds the need empty.
        lived = lab.batch(
            pet(
                "drops: {hunger: 60 s}",
                care=[_feed(1.0), _feed(works).replace("feed", "treat"), "wave: {}"],
            ),
            regime(
                every(60, first="60 s"),
                f"hands: {{feed: {{slips: {slips}, into: {{treat: {treat}, wave: {wave}}}}}}}",
                routine=["{when: {hunger: 0}, do: feed}"],
            ),
            lives=LIVES,
            seconds=CHECKS * 60 + 1,
        )
        n, counted = len(lived) * CHECKS, totals(lived)
        yield exact(f"{case}: presses", counted["presses"], n)
        yield exact(f"{case}: feeds that slipped or landed", _tried(counted), n)
        yield share(f"{case}: P(slips)", counted["slipped.feed"], n, slips)
        yield share(f"{case}: P(treats)", counted["done.treat"], n, slips * treat)
        yield share(f"{case}: P(waves)", counted["done.wave"], n, slips * wave)
        filled = counted["done.feed"] + counted["done.treat"] - counted["lost.treat"]
        yield share(f"{case}: P(filled)", filled, n, 1 - slips + slips * treat * works)


def _tried(counted: dict[str, int]) -> int:
    return counted["done.feed"] + counted["slipped.feed"]


# Eyes

FALSE_ALARMS = [
    # mean, interval, imagines: wasted actions a day
    (3600, 900, 0.03, 2.242946),
    (1500, 1200, 0.12, None),
    (5000, 300, 0.4, None),
]


@check("closed form; Barlow & Proschan (1965), Mathematical Theory of Reliability (from memory)")
def false_alarms(lab: Lab) -> Iterator[Verdict]:
    """A look at a full need imagines it empty with a chance, and then an action is wasted."""
    for m, interval, imagines, daily in FALSE_ALARMS:
        case = f"drops every {m} s, checks every {interval} s, imagines {imagines:.0%}"
        if daily is not None:
            wasted = imagines * DAY / interval * math.exp(-interval / m)
            yield digits(f"{case}: wasted a day", wasted, daily, 6e-7)
        lived = lab.batch(
            pet(f"drops: {{hunger: exponential {m} s}}"),
            regime(
                every(interval, first=f"{interval} s"),
                f"eyes: {{calling: {{imagines: {imagines}}}}}",
                routine=["{when: {calling: yes}, do: feed}"],
            ),
            lives=LIVES,
            seconds=CHECKS * interval + 1,
        )
        n, counted = len(lived) * CHECKS, totals(lived)
        full = 1 - Inspected(first_empty(m, interval)).p_empty
        wasted, done = counted["wasted.feed"], counted["done.feed"]
        yield share(f"{case}: wasted feeds a check", wasted, n, imagines * full)
        yield share(f"{case}: feeds of use a check", done - wasted, n, 1 - full)


# Ears

HEARD = [
    # mean, interval, grace, hears, reaction: P(miss) and misses a day but for the reaction;
    # misses a day as simulated apart from this project
    (3700, 2700, 900, 0.6, 1, 0.176832, 5.6586, None),
    (3700, 2700, 900, 0.6, 60, None, None, 5.603),
    (2500, 2000, 600, 0.35, 1, None, None, None),
    (1200, 4000, 500, 0.9, 20, None, None, None),
]


@check("closed form; a thinned Poisson process: Ross, Stochastic Processes, ch. 2 (from memory)")
def calls_that_are_heard(lab: Lab) -> Iterator[Verdict]:
    """Calls that are heard with a chance thin out the misses."""
    for m, interval, grace, hears, reaction, p_miss, daily, simulated in HEARD:
        case = (
            f"drops every {m} s, checks every {interval} s, {grace} s allowed, "
            f"hears {hears:.0%} in {reaction} s"
        )
        if p_miss is not None and daily is not None:
            thinned = -math.expm1(-(1 - hears) * (interval - grace) / m)
            yield digits(f"{case}: P(miss) but for the reaction", thinned, p_miss, 6e-7)
            of_day = DAY / interval * thinned
            yield digits(f"{case}: misses a day but for the reaction", of_day, daily, 6e-5)
        lived = lab.batch(
            hungry(m, grace),
            regime(every(interval), f"listens: {{hears: {hears}, reacts in: {reaction} s}}"),
            lives=LIVES,
            seconds=CHECKS * interval + 1,
        )
        missed = 1 - _never_unheard(m, hears, reaction, interval - grace)
        n = len(lived) * CHECKS
        yield share(f"{case}: P(miss)", totals(lived)["misses.hunger"], n, missed)
        if simulated is not None:
            # Itself simulated, so good to 1 %.
            of_day = DAY / interval * missed
            yield digits(f"{case}: misses a day", of_day, simulated, 0.01 * simulated)


def _never_unheard(m: float, hears: float, reaction: int, seconds: int) -> float:
    """Chance that a number of seconds pass without an emptying of the need that is not heard.

    Left out: a reaction still to come at a check may see to what falls empty just after it, which
    takes two drops within a reaction.
    """
    drop = -math.expm1(-1 / m)
    chances = [1.0]
    for second in range(seconds):
        # Either there is no drop, or it is heard, and none counts until the reaction is over.
        after = chances[max(second - reaction, 0)]
        chances.append((1 - drop) * chances[second] + drop * hears * after)
    return chances[-1]


# Power

OUTAGES = [
    # mean up, mean down, interval: share of checks lost, up at 1800 and 7200, none lost, mean run
    (86_400, 3_600, 1_200, 0.04, (0.983761, 0.964981), 0.149594, 3.527726),
    (43_200, 1_800, 900, 0.04, (0.974115, 0.960620), 0.213061, 2.541494),
    (6_000, 2_500, 800, None, (None, None), None, None),
]
POWER = "an alternating renewal process; Ross, Stochastic Processes, sect. 3.4 (from memory)"


@check(POWER)
def checks_lost_to_outages(lab: Lab) -> Iterator[Verdict]:
    """The share of checks lost to outages, that of outages that cost none, and the mean run."""
    for up, down, interval, lost, _, none_lost, run in OUTAGES:
        case = f"{_power(up, down)}, checks every {interval} s"
        none = 1 + math.expm1(-interval / down) * down / interval
        mean_run = -1 / math.expm1(-interval / down)
        if lost is not None and none_lost is not None and run is not None:
            yield digits(f"{case}: share lost in the long run", down / (up + down), lost, 1e-9)
            yield digits(f"{case}: P(an outage costs none)", none, none_lost, 6e-7)
            yield digits(f"{case}: checks in a run of lost ones", mean_run, run, 6e-7)

        caretaker = _failing(up, down, every(interval, first="random"))
        seconds = 100 * (up + down)
        lived = lab.batch(pet(), caretaker, lives=LIVES, seconds=seconds)
        counted = totals(lived)
        n = counted["checks"] + counted["checks_skipped"]
        # Of a two-state Markov chain, power on at birth, met by a grid of random phase.
        share_down, settles = down / (up + down), up * down / (up + down)
        early = -settles / seconds * math.expm1(-seconds / settles)
        alike = math.exp(-interval / settles)
        of_mean = math.sqrt(share_down * (1 - share_down) / n * (1 + alike) / (1 - alike))
        got = counted["checks_skipped"] / n
        yield mean(f"{case}: share lost", got, share_down * (1 - early), of_mean)

        runs = np.concatenate(
            [_runs(lab, caretaker, seconds, 30 * down, life) for life in range(lab.number(16))]
        )
        yield share(f"{case}: P(an outage costs none)", (runs == 0).sum(), len(runs), none)
        some = runs[runs > 0]
        spread = math.exp(-interval / down / 2) * mean_run
        of_run = spread / math.sqrt(len(some))
        yield mean(f"{case}: checks in a run of lost ones", some.mean(), mean_run, of_run)


def _runs(lab: Lab, caretaker: str, seconds: int, margin: int, life: int) -> NDArray[np.int64]:
    """The number of checks that each outage costs that begins in the first seconds of a life.

    The margin after them is long enough for all of these outages to end.
    """
    events = lab.events(pet(), caretaker, seconds=seconds + margin, life=life)
    begun, ended = times(events, "outage begins"), times(events, "outage ends")
    begun = begun[begun < seconds]
    skipped = times(events, "check skipped")
    return np.searchsorted(skipped, ended[: len(begun)]) - np.searchsorted(skipped, begun)


@check(POWER)
def availability_after_a_start_with_the_power_on(lab: Lab) -> Iterator[Verdict]:
    """The chance that the power is on at a time: u + (1 - u) exp(-(1/U + 1/D) t)."""
    for up, down, _, _, available, _, _ in OUTAGES:
        for at, printed in zip((1_800, 7_200), available, strict=True):
            case = _power(up, down)
            share_up = up / (up + down)
            chance = share_up + (1 - share_up) * math.exp(-(1 / up + 1 / down) * at)
            if printed is not None:
                yield digits(f"{case}: P(on at {at} s) in theory", chance, printed, 6e-7)
            caretaker = _failing(up, down, every(10 * DAY, first=f"{at} s"))
            lived = lab.batch(pet(), caretaker, lives=2_000, seconds=at + 1)
            checks, skipped = lived.values["checks"], lived.values["checks_skipped"]
            looked_at = (checks + skipped == 1).sum()
            yield exact(f"{case}: lives looked at after {at} s", looked_at, len(lived))
            yield share(f"{case}: P(on at {at} s)", checks.sum(), len(lived), chance)


def _power(up: int, down: int) -> str:
    return f"power on for {up} s, out for {down} s"


def _failing(up: int, down: int, checks: str) -> str:
    """A regime that only looks, under a power that fails."""
    outages = f"outages: {{up: exponential {up} s, down: exponential {down} s}}"
    return regime(checks, outages, routine=())
