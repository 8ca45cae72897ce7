"""Illness as a hazard that steps, and causes of death that compete.

The printed digits were computed apart from this project, from the closed forms of the sources.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from petsim.life.streams import uniform
from petsim.spec.quantities import DAY
from petsim.theory.closed_forms import first_ill, surely
from petsim.theory.lab import SEED, Lab, times
from petsim.theory.verdicts import Verdict, check, digits, exact, mean, share
from petsim.theory.worlds import NO_CARE, every, pet, regime

SURVIVAL = (
    "closed form, S = exp(-integral of the hazard); Kalbfleisch & Prentice, The Statistical "
    "Analysis of Failure Time Data, ch. 1 (from memory)"
)

# Illness


class Steps:
    """A hazard per day that is constant from each of some seconds to the next."""

    def __init__(self, *steps: tuple[float, float]) -> None:
        self._steps = [*steps, (math.inf, 0.0)]

    def integral(self, second: float) -> float:
        """The integral of the hazard up to a second: the risk that was run."""
        return math.fsum(
            rate / DAY * (min(end, second) - start)
            for (start, rate), (end, _) in pairwise(self._steps)
            if start < second
        )

    def well_at(self, second: float) -> float:
        """Chance of being well in a second."""
        return math.exp(-self.integral(second))

    def second_of(self, threshold: float) -> int:
        """First second at which the risk run reaches a threshold."""
        risk = 0.0
        for (start, rate), (end, _) in pairwise(self._steps):
            step = (end - start) * rate / DAY
            if risk + step >= threshold:
                return int(start) + math.ceil((threshold - risk) / (rate / DAY))
            risk += step
        raise AssertionError("the last step has no end")


@dataclass(frozen=True)
class Risk:
    """A pet that may fall ill: its hazard, and the seconds at which to ask if it is still well."""

    name: str
    pet: str
    hazard: Steps
    seconds: tuple[int, ...]


WELL_AT = [
    # second: P(well), risk run
    (7_200, 0.9793822, 0.0208333),
    (14_400, 0.8898818, 0.1166667),
    (21_600, 0.7501366, 0.2875),
    (43_200, 0.3587965, 1.025),
    (86_400, 0.0820850, 2.5),
]
PILE = Risk(
    "0.25 per day + 0.9 per waste, every 2 h up to 3",
    pet(
        "waste: {every: 2 h, pile max: 3}",
        "illness: {base: 0.25 per day, per waste: 0.9 per day}",
    ),
    Steps((0, 0.25), (7_200, 0.25 + 0.9), (14_400, 0.25 + 1.8), (21_600, 0.25 + 2.7)),
    tuple(second for second, *_ in WELL_AT),
)
RISKS = (
    PILE,
    Risk(
        "0.4 per day + 3.5 per waste, which waits for the morning",
        # 21:00 an hour after birth, 07:00 ten hours on; then the second hour to the first waste.
        pet(
            "waste: {every: 2 h, pile max: 1}",
            "illness: {base: 0.4 per day, per waste: 3.5 per day}",
            "sleeps: [21:00 to 07:00]",
            more=("begins: Monday 20:00",),
        ),
        Steps((0, 0.4), (12 * 3600, 3.9)),
        (10_000, 43_200, 50_000, 86_400),
    ),
    Risk(
        "0.25 per day + 0.4 for each of 2 above a healthy weight",
        pet(
            "illness: {base: 0.25 per day, per excess: 0.4 per day, heavy above: 10}",
            more=("weight: {starts: 12}",),
        ),
        Steps((0, 1.05)),
        (3_600, 43_200, 86_400, 172_800),
    ),
)
LN_2 = 0.693147


@check(SURVIVAL)
def exact_law_of_a_hazard_that_steps(lab: Lab) -> Iterator[Verdict]:
    """The risk run, from which the checks below take what they expect, as printed."""
    for second, p_well, risk in WELL_AT:
        hazard = PILE.hazard
        yield digits(f"{PILE.name}: risk run by {second} s", hazard.integral(second), risk, 6e-8)
        what = f"{PILE.name}: P(well by {second} s) in theory"
        yield digits(what, hazard.well_at(second), p_well, 6e-8)
    yield exact(f"{PILE.name}: s to a risk of {LN_2}", PILE.hazard.second_of(LN_2), 33_481)


@check(SURVIVAL)
def well_under_a_hazard_that_steps(lab: Lab) -> Iterator[Verdict]:
    """The share still well by a second; a threshold is reached within it, so it is not rounded."""
    for risk in RISKS:
        ill = _ill_at(lab, risk, 3_000, max(risk.seconds) + 1)
        for second in risk.seconds:
            what = f"{risk.name}: P(well by {second} s)"
            yield share(what, (ill > second).sum(), len(ill), risk.hazard.well_at(second))


@check(f"{SURVIVAL}; the threshold is the inverse of the unit exponential at the uniform drawn")
def second_of_an_illness(lab: Lab) -> Iterator[Verdict]:
    """Each life falls ill in the very second in which its risk run reaches its threshold."""
    for risk in RISKS:
        ill = _ill_at(lab, risk, 300, 20 * DAY)
        due = [risk.hazard.second_of(_threshold(SEED, life)) for life in range(len(ill))]
        yield exact(f"{risk.name}: lives ill in another second", (ill != due).sum(), 0)

    # Lives of seed 4 whose first threshold is nearest 0.693147 or near either end of that second:
    # it is reached after 33 480.65 s, and from 33 480 to 33 481 s for 0.693125 to 0.693159.
    for life in (893_190, 113_016, 1_094_782):
        threshold = _threshold(4, life)
        case = f"{PILE.name}, threshold {threshold:.6f}"
        yield digits(f"{case}: threshold", threshold, LN_2, 2.3e-5)
        events = lab.events(PILE.pet, NO_CARE, seconds=DAY, seed=4, life=life)
        yield exact(f"{case}: ill at, s", times(events, "ill")[0], 33_481)


def _ill_at(lab: Lab, risk: Risk, lives: int, seconds: int) -> NDArray[np.int64]:
    """The second at which each life falls ill, never cured; the end if it does not."""
    lived = lab.batch(risk.pet, NO_CARE, lives=lives, seconds=seconds).values
    ill: NDArray[np.int64] = lived["end_s"] - lived["ill_s"]
    return ill


def _threshold(seed: int, life: int) -> float:
    """The risk at which a life falls ill first."""
    return -math.log1p(-uniform(seed, "illness", life, 0))


ILLNESSES = 1_000
"""Expected in a life."""
DOSES = {1: 0.6, 2: 0.25, 3: 0.15}


@check(SURVIVAL)
def from_cure_to_illness(lab: Lab) -> Iterator[Verdict]:
    """Waits of a constant hazard from each cure, and the number of doses the next illness takes."""
    average = 2_160
    doses = ", ".join(f"{number}: {chance:.0%}" for number, chance in DOSES.items())
    sick = pet(
        f"illness: {{base: {DAY / average} per day, doses: {{{doses}}}}}",
        care=["dose: {doses: yes}"],
    )
    law = np.cumsum(first_ill(average, 10 * average))
    for interval in (600, 200):
        case = f"ill {average} s after a cure, checks every {interval} s"
        caretaker = regime(
            every(interval), routine=["{when: {ill: yes}, do: dose, repeat: until met}"]
        )
        waits, doses_of = [], []
        for life in range(lab.number(12)):
            seconds, kept = ILLNESSES * (average + interval // 2), surely(ILLNESSES)
            events = lab.events(sick, caretaker, seconds=seconds, life=life)
            ill, cured = times(events, "ill"), times(events, "well")
            waits.append(ill[1 : kept + 1] - cured[:kept])
            doses_of.append(events[events["event"] == "ill"]["value"].to_numpy()[:kept])
        wait, dosed = np.concatenate(waits), np.concatenate(doses_of)
        for n in (100, 700, 1500, 3000, 6000):
            yield share(f"{case}: P(ill by {n} s)", (wait <= n).sum(), len(wait), law[n])
        for number, chance in DOSES.items():
            what = f"{case}: P({number} dose{'s' if number > 1 else ''})"
            yield share(what, (dosed == number).sum(), len(dosed), chance)


# Competing causes of death

DEATHS = {"hunger": "starved", "mood": "gloom", "warmth": "cold"}
COMPETING = [
    # means: which first, mean first, cumulative incidence by second
    (
        (2400, 3700, 9100),
        (0.522907, 0.339183, 0.137910),
        1254.977,
        {
            600: (0.198724, 0.128902, 0.052411),
            1800: (0.398306, 0.258361, 0.105048),
            5400: (0.515833, 0.334594, 0.136044),
        },
    ),
]
MORE_COMPETING = [
    # means, seconds
    ((40, 25, 60), (10, 30)),
    ((5000, 700), (300, 900)),
]
CAUSES = (
    "closed form, a cause's chance is its share of the hazard; Ross, Introduction to Probability "
    "Models, sect. 5.2.3; Kalbfleisch & Prentice, ch. 8 (from memory)"
)


@check(CAUSES)
def exact_law_of_causes_that_compete(lab: Lab) -> Iterator[Verdict]:
    """Which cause comes first, when, and with what chance by some seconds, as printed."""
    for means, first, mean_first, incidence in COMPETING:
        case, rates = f"means {_listed(means)} s", 1 / np.array(means)
        yield digits(f"{case}: s to the first", 1 / rates.sum(), mean_first, 6e-4)
        for mean_of, rate, printed in zip(means, rates, first, strict=True):
            what = f"{case}: P({mean_of} s first) in theory"
            yield digits(what, rate / rates.sum(), printed, 6e-7)
        for second, chances in incidence.items():
            any_by_then = -math.expm1(-rates.sum() * second)
            for mean_of, rate, printed in zip(means, rates, chances, strict=True):
                what = f"{case}: P({mean_of} s first, by {second} s) in theory"
                yield digits(what, rate / rates.sum() * any_by_then, printed, 6e-7)


@check(CAUSES)
def causes_of_death_that_compete(lab: Lab) -> Iterator[Verdict]:
    """Needs that are fatal a second after they are empty, and an illness a second after it begins.

    Shares of each cause, cumulative incidences, and the mean time of the first.
    """
    cases = [(means, tuple(incidence)) for means, _, _, incidence in COMPETING] + MORE_COMPETING
    for means, seconds in cases:
        for illness in (None, 3000):
            yield from _deaths(lab, means, illness, seconds)


def _deaths(
    lab: Lab, means: Sequence[int], illness: int | None, seconds: Sequence[int]
) -> Iterator[Verdict]:
    """Compare the deaths of needs that empty after these means, and of an illness if there is one.

    seconds: by which to compare the share that has died of each cause.
    """
    case = f"needs empty after {_listed(means)} s, ill after {illness or 'never'}"
    case += " s" if illness else ""
    law = _first_of(means, illness)
    yield digits(f"{case}: P(any)", law.sum(), 1, 1e-9)
    second = np.arange(law.shape[1])
    first = float(second @ law.sum(axis=0))
    spread = math.sqrt(float(second**2 @ law.sum(axis=0)) - first**2)

    lived = lab.batch(_mortal(means, illness), NO_CARE, lives=3_000, seconds=law.shape[1])
    n, ends = len(lived), lived.values["end_s"] - 1
    yield mean(f"{case}: s to the first", ends.mean(), first, spread / math.sqrt(n))
    causes = [*list(DEATHS.values())[: len(means)], "untreated illness"]
    for cause, chances in zip(causes, law, strict=False):
        died = lived.which("died", cause)
        yield share(f"{case}: P({cause})", died.sum(), n, chances.sum())
        for at in seconds:
            by_then = (died & (ends <= at)).sum()
            what = f"{case}: P({cause} by {at} s)"
            yield share(what, by_then, n, chances[: at + 1].sum())


def _mortal(means: Sequence[int], illness: int | None) -> str:
    """A pet that dies a second after a need is empty or it falls ill."""
    needs = list(DEATHS)[: len(means)]
    waits = (f"{need}: exponential {m} s" for need, m in zip(needs, means, strict=True))
    rates = [
        f"drops: {{{', '.join(waits)}}}",
        f"fatal after: {{{', '.join(f'{need}: 1 s' for need in needs)}}}",
    ]
    if illness is not None:
        rates.append(f"illness: {{base: {DAY / illness} per day, fatal after: 1 s}}")
    return pet(*rates, needs=[f"{n}: {{full: 1, death: {DEATHS[n]}}}" for n in needs], care=())


def _first_of(means: Sequence[int], illness: int | None) -> NDArray[np.float64]:
    """Chance by cause (rows) and second that this cause comes first; ties go to the earlier row.

    A need's wait is rounded to nearest and at least 1; an illness's is not.
    """
    seconds = np.arange(60 * max(means))
    survivals = [np.where(seconds < 1, 1.0, np.exp(-(seconds + 0.5) / m)) for m in means]
    if illness is not None:
        survivals.append(np.exp(-seconds / illness))
    before = [np.concatenate([[1.0], survival[:-1]]) for survival in survivals]
    chances = []
    for cause, survival in enumerate(survivals):
        rivals = survivals[:cause] + before[cause + 1 :]
        chances.append((before[cause] - survival) * np.prod(rivals, axis=0))
    return np.array(chances)


def _listed(means: Sequence[int]) -> str:
    return ", ".join(map(str, means))
