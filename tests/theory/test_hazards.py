"""Illness as a hazard that steps, and causes of death that compete."""

import math
from itertools import pairwise

import numpy as np
import pytest

from petsim import batch, simulate
from petsim.life.streams import uniform
from tests.theory.closed_forms import first_ill
from tests.theory.worlds import (
    DAY,
    agrees,
    events_of,
    every,
    lives_of,
    pet,
    regime,
    share_agrees,
    times,
)

SEED = 20_250_304
LIVES = 3_000
NO_CARE = {"routine": ()}


class Steps:
    """A hazard per day that is constant from each of some seconds to the next."""

    def __init__(self, *steps):
        self._steps = [*steps, (math.inf, 0.0)]

    def integral(self, second):
        """Risk run up to a second."""
        return math.fsum(
            rate / DAY * (min(end, second) - start)
            for (start, rate), (end, _) in pairwise(self._steps)
            if start < second
        )

    def well_at(self, second):
        """Chance of being well in a second: S = exp(-Lambda)."""
        return math.exp(-self.integral(second))

    def second_of(self, threshold):
        """First second at which the risk run reaches a threshold."""
        run = 0.0
        for (start, rate), (end, _) in pairwise(self._steps):
            step = (end - start) * rate / DAY
            if run + step >= threshold:
                return start + math.ceil((threshold - run) / (rate / DAY))
            run += step
        raise AssertionError("never")


PILING = Steps((0, 0.25), (7_200, 0.25 + 0.9), (14_400, 0.25 + 1.8), (21_600, 0.25 + 2.7))
PILING_PET = (
    "waste: {every: 2 h, pile max: 3}",
    "illness: {base: 0.25 per day, per waste: 0.9 per day}",
)
WELL_AT = {
    7_200: 0.9793822,
    14_400: 0.8898818,
    21_600: 0.7501366,
    43_200: 0.3587965,
    86_400: 0.0820850,
}


def test_exact_law_of_the_stepwise_hazard_gives_the_printed_row():
    # Source: closed form, S = exp(-Lambda); the values computed apart from this project.
    for second, chance in WELL_AT.items():
        assert PILING.well_at(second) == pytest.approx(chance, abs=6e-8)
    assert [PILING.integral(second) for second in WELL_AT] == pytest.approx(
        [0.0208333, 0.1166667, 0.2875, 1.025, 2.5], abs=6e-8
    )
    assert PILING.second_of(0.693147) == 33_481


def illness_seconds(model, caretaker, seconds, lives=LIVES):
    """The second at which each life falls ill, never cured; the end if it does not."""
    table = lives_of(model, caretaker, seconds, seed=SEED, lives=lives)
    return (table["end_s"] - table["ill_s"]).to_numpy()


HAZARDS = {
    "a pile that grows": (PILING_PET, (), PILING, tuple(WELL_AT)),
    "waste that waits for the morning": (
        # 21:00 an hour after birth, 07:00 ten hours on; then the second hour to the first waste.
        (
            "waste: {every: 2 h, pile max: 1}",
            "illness: {base: 0.4 per day, per waste: 3.5 per day}",
            "sleeps: [21:00 to 07:00]",
        ),
        ("begins: Monday 20:00",),
        Steps((0, 0.4), (12 * 3600, 3.9)),
        (10_000, 43_200, 50_000, 86_400),
    ),
    "a heavy pet": (
        ("illness: {base: 0.25 per day, per excess: 0.4 per day, heavy above: 10}",),
        ("weight: {starts: 12}",),
        Steps((0, 1.05)),
        (3_600, 43_200, 86_400, 172_800),
    ),
}


@pytest.mark.parametrize("case", HAZARDS)
def test_share_still_well_under_a_stepwise_hazard(tmp_path, case):
    # The threshold is reached in the course of a second, so no half second comes in. Units: lives.
    rates, more, hazard, seconds = HAZARDS[case]
    model = pet(tmp_path, *rates, more=more)
    ill = illness_seconds(model, regime(tmp_path, **NO_CARE), max(seconds) + 1)
    for second in seconds:
        share_agrees((ill > second).sum(), LIVES, hazard.well_at(second))


@pytest.mark.parametrize("case", HAZARDS)
def test_each_life_falls_ill_in_the_second_its_threshold_is_reached(tmp_path, case):
    rates, more, hazard, _ = HAZARDS[case]
    model, lives = pet(tmp_path, *rates, more=more), 300
    ill = illness_seconds(model, regime(tmp_path, **NO_CARE), 20 * DAY, lives=lives)
    thresholds = [-math.log1p(-uniform(SEED, "illness", life, 0)) for life in range(lives)]
    assert ill.tolist() == [hazard.second_of(threshold) for threshold in thresholds]


@pytest.mark.parametrize("life", [893_190, 113_016, 1_094_782])
def test_threshold_of_ln_2_falls_ill_at_33481(tmp_path, life):
    # Lives of seed 4 whose first threshold is nearest 0.693147 or near either end of that second:
    # it is reached after 33 480.65 s, and from 33 480 to 33 481 s for 0.693125 to 0.693159.
    threshold = -math.log1p(-uniform(4, "illness", life, 0))
    assert PILING.integral(33_480) < threshold <= PILING.integral(33_481)
    lived = simulate(
        pet(tmp_path, *PILING_PET), regime(tmp_path, **NO_CARE), seed=4, life=life, days=1
    )
    assert times(lived.events, "ill").tolist() == [33_481]


@pytest.mark.parametrize("interval", [600, 200])
def test_waits_from_cure_to_illness_are_exponential(tmp_path, interval):
    # Ill by n seconds after a cure with chance 1 - exp(-n / 2160) exactly. Units: illnesses.
    mean = 2160
    model = pet(
        tmp_path,
        f"illness: {{base: {DAY / mean} per day, doses: {{1: 60%, 2: 25%, 3: 15%}}}}",
        care=["dose: {doses: yes}"],
    )
    caretaker = regime(
        tmp_path, every(interval), routine=["{when: {ill: yes}, do: dose, repeat: until met}"]
    )
    events = events_of(model, caretaker, 10_000 * (mean + interval // 2), seed=SEED)
    ill, well = times(events, "ill"), times(events, "well")
    waits = ill[1:] - well[: len(ill) - 1]
    law = np.cumsum(first_ill(mean, 10 * mean))
    for n in (100, 700, 1500, 3000, 6000):
        share_agrees((waits <= n).sum(), len(waits), law[n])
    doses = events[events["event"] == "ill"]["value"]
    for number, chance in {1: 0.6, 2: 0.25, 3: 0.15}.items():
        share_agrees((doses == number).sum(), len(ill), chance)


# Competing causes of death

NAMES = ("hunger", "mood", "warmth")
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
    ((40, 25, 60), None, None, {10: None, 30: None}),
    ((5000, 700), None, None, {300: None, 900: None}),
]


@pytest.mark.parametrize("illness", [None, 3000])
@pytest.mark.parametrize(("means", "first", "mean_first", "incidence"), COMPETING)
def test_exponential_causes_compete(tmp_path, means, first, mean_first, incidence, illness):
    # Source: closed form, the chance of a cause is its share of the hazard (Ross, "Introduction
    # to Probability Models", section 5.2.3; Kalbfleisch and Prentice, chapter 8; from memory).
    # Each need is fatal a second after it is empty, and illness a second after it begins.
    if first is not None:
        rates = 1 / np.array(means)
        assert 1 / rates.sum() == pytest.approx(mean_first, abs=6e-4)
        assert rates / rates.sum() == pytest.approx(first, abs=6e-7)
        for second, chances in incidence.items():
            by_then = rates / rates.sum() * -np.expm1(-rates.sum() * second)
            assert by_then == pytest.approx(chances, abs=6e-7)

    needs = NAMES[: len(means)]
    waits = dict(zip(needs, means, strict=True))
    rates = [
        f"drops: {{{', '.join(f'{need}: exponential {m} s' for need, m in waits.items())}}}",
        f"fatal after: {{{', '.join(f'{need}: 1 s' for need in needs)}}}",
    ]
    if illness is not None:
        rates.append(f"illness: {{base: {DAY / illness} per day, fatal after: 1 s}}")
    mortal = [f"{need}: {{full: 1, death: no {need}}}" for need in needs]
    model = pet(tmp_path, *rates, needs=mortal, care=())
    table = batch(
        model, regime(tmp_path, **NO_CARE), lives=LIVES, seed=SEED, until="death", workers=1
    ).lives

    causes = [f"no {need}" for need in needs]
    deaths = competing(means, illness)
    seconds = np.arange(deaths.shape[1])
    assert deaths.sum() == pytest.approx(1, abs=1e-9)
    total = deaths.sum(axis=0)
    mean = float(seconds @ total)
    spread = math.sqrt(float(seconds**2 @ total) - mean**2)
    agrees((table["end_s"] - 1).mean(), mean, spread / math.sqrt(LIVES))
    for cause, chances in zip([*causes, "untreated illness"], deaths, strict=False):
        died = table["died"] == cause
        share_agrees(died.sum(), LIVES, chances.sum())
        for second in incidence:
            by_then = died & (table["end_s"] - 1 <= second)
            share_agrees(by_then.sum(), LIVES, chances[: second + 1].sum())


def competing(means, illness):
    """Chance by cause (rows) and second that this cause comes first; ties go to the earlier row.

    A need's wait is rounded to nearest and at least 1; an illness's is not.
    """
    seconds = np.arange(60 * max(means))
    survivals = [np.where(seconds < 1, 1.0, np.exp(-(seconds + 0.5) / m)) for m in means]
    if illness is not None:
        survivals.append(np.exp(-seconds / illness))
    chances = []
    for cause, survival in enumerate(survivals):
        alive_before = np.concatenate([[1.0], survival[:-1]])
        chance = alive_before - survival
        for other, rival in enumerate(survivals):
            if other < cause:
                chance = chance * rival
            elif other > cause:
                chance = chance * np.concatenate([[1.0], rival[:-1]])
        chances.append(chance)
    return np.array(chances)
