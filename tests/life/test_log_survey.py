"""What is in a log, in numbers, and what it can't say."""

import pytest

from petsim.life.log.entries import Action, Check, LoggedLife, Look, Run
from petsim.life.log.survey import LEAST_LOOKS, blind_spots, survey
from petsim.spec.clocks import Begins

EVERYTHING = {
    "hunger": 3, "waste": 0, "ill": False, "asleep": False, "lights": True, "calling": False,
    "weight": 5, "discipline": 0, "form": "sprig",
}  # fmt: skip


def life(*entries, signals=tuple(EVERYTHING), **more):
    told = {"begins": Begins(), "is_born": True, "until": 86_400, "end": None, "runs": ()} | more
    return LoggedLife(source="a.jsonl", entries=entries, signals=signals, **told)


def look(t=0, check=1, **saw):
    return Look(t, check, 1, saw)


def levels(*seen, form="sprig"):
    """A look at hunger in each check, with what was seen."""
    return [look(n, n + 1, hunger=level, form=form) for n, level in enumerate(seen)]


WHOLE = [look(1, **EVERYTHING), look(2, **EVERYTHING), *levels(5, 4, 3, 2, 1, 0)]
"""Looks at everything, twice, and five drops."""


def test_numbers_of_a_life():
    told = life(
        Check(1, 1), look(1, hunger=2, form="sprig"), Look(2, 1, 1, {"hunger": 2}, ("ill",)),
        Action(9, 1, "feed", 3, 2), Action(9, 1, "feed", 9, 0, "unfinished"),
        runs=(Run(0, 50, is_clean=False), Run(80, 100, is_clean=True)), skipped=(4.0,),
    )  # fmt: skip
    found = survey(told)
    assert (found.days, found.checks, found.skipped, found.looks) == (1, 1, 1, 2)
    assert (found.seen, found.unreadable) == ({"hunger": 2, "form": 1}, {"ill": 1})
    assert (found.actions, found.unfinished) == ({"feed": 2}, 1)
    assert (found.up, found.outages) == (70, (30,))


def test_log_that_lacks_nothing_has_no_blind_spots():
    assert [*blind_spots([life(*WHOLE)])] == []
    assert [*blind_spots([])] == []


@pytest.mark.parametrize(
    ("signal", "spots"),
    [
        ("calling", ["calling is never looked at: misbehaviour stays a guess"]),
        ("weight", ["weight is never looked at: what it does to illness and growth stays a guess"]),
        ("discipline", ["discipline is never looked at: what changes it stays a guess"]),
        ("waste", ["waste is never looked at: how often it comes stays a guess"]),
        ("ill", ["ill is never looked at: illness stays a guess"]),
        ("asleep", ["asleep is never looked at: when the pet sleeps stays a guess"]),
        ("lights", ["lights is never looked at: whether they are on is not known"]),
        ("hunger", ["hunger is never looked at: hunger stays a guess"]),
    ],
)
def test_signal_that_is_never_looked_at_is_a_blind_spot(signal, spots):
    entries = [
        entry._replace(saw={name: value for name, value in entry.saw.items() if name != signal})
        for entry in WHOLE
    ]
    assert [*blind_spots([life(*entries)])] == spots
    # another life of the log may have it
    assert [*blind_spots([life(*entries), life(*WHOLE)])] == []


@pytest.mark.parametrize(
    ("signal", "guess"),
    [
        ("waste", "an overlooked pile looks just like one that comes a check later"),
        ("ill", "an imagined illness looks just like one that the first dose cures"),
    ],
)
def test_signal_that_is_not_looked_at_twice_is_a_blind_spot(signal, guess):
    first, second, *rest = WHOLE
    spot = f"{signal} is never looked at twice in a check: {guess}"
    dosed = Action(2, 1, "dose", 2, 1)
    other = second._replace(check=2)
    rest = [entry._replace(check=entry.check + 2) for entry in rest]
    assert spot in [*blind_spots([life(first, dosed, second, *rest)])]
    assert spot in [*blind_spots([life(first, other, *rest)])]
    assert spot not in [*blind_spots([life(first, second, *rest)])]


def test_few_drops_of_a_need_are_a_blind_spot_in_each_form():
    spot = "fewer than 5 drops of hunger were seen{}: its waits stay a guess"
    assert [*blind_spots([life(*WHOLE[:-1])])] == [spot.format(" as sprig")]
    later = [entry._replace(t=100) for entry in levels(1, 0, form="tree")]
    assert [*blind_spots([life(*WHOLE, *later)])] == [spot.format(" as tree")]
    # drops of two lives add up, and a rise between takes nothing away
    assert [*blind_spots([life(*WHOLE[:2], *levels(5, 3, 5, 4)), life(*levels(2, 0))])] == []
    nowhere = [Look(0, 1, 1, {"hunger": 1})]
    signals = ("hunger",)
    assert spot.format("") in [*blind_spots([life(*nowhere, signals=signals)])]


def test_few_power_cuts_are_known_roughly():
    runs = [Run(t, t + 50, is_clean=False) for t in range(0, 2100, 100)]
    for number, spots in (
        (0, []),
        (1, ["1 power cut in all: how often they come is known roughly"]),
        (19, ["19 power cuts in all: how often they come is known roughly"]),
        (20, []),
    ):
        assert [*blind_spots([life(*WHOLE, runs=tuple(runs[: number + 1]))])] == spots


def test_looks_that_led_to_nothing_are_missed():
    spot = "no look led to nothing: looks without an action seem to be missing"
    acting = [entry for n in range(LEAST_LOOKS)
              for entry in (look(n, n, **EVERYTHING), Action(n, n, "feed", n, 1))]  # fmt: skip
    assert spot in [*blind_spots([life(*acting)])]
    assert spot not in [*blind_spots([life(*acting[2:])])]
    assert spot not in [*blind_spots([life(*acting, *WHOLE)])]
