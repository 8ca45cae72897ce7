"""The status screen, steps that only look, and spells of bad light, each rule on a tiny life."""

from __future__ import annotations

import pytest

from petsim.life.record import Seen
from tests.life.worlds import (
    care,
    drawn,
    errors,
    fields,
    live,
    needs,
    pet,
    regime,
    seconds,
    span,
    story,
    times,
)

CLEAN_IF_SEEN = {"when": {"waste": "at least 1"}, "do": "clean"}
HUNGRY = pet(needs=needs(hunger=9, hunger_starts=0))


def looked(life):
    """Seconds and signals looked at, in order."""
    return [(sight.t, sight.signal) for sight in life.sights]


def checked_once(model, *routine, t=10, **more):
    return live(model, regime(*routine, every=10_000, first=f"{t} s", **more), until=t + 500)


def log(life):
    """All the log but the birth."""
    return story(life, *{e.event for e in life.entries})[1:]


# The status screen


def test_discipline_is_read_without_error_and_compared_as_it_is_now():
    model = pet(
        {"misbehaviour": {"every": "60 s", "window": "1 h"}},
        discipline=fields(starts=30, step=40),
    )
    routine = [{"when": {"discipline": "at least 70"}, "do": "clean"}, {"do": "reprimand"}]
    life = live(model, regime(*routine, every=50, first="30 s"), until=140)
    assert story(life, "wasted", "done") == ["80 done reprimand", "130 wasted clean"]
    assert [sight for sight in life.sights if sight.t > 30] == [
        Seen(80, 2, 1, 2, "discipline", 30, 30),
        Seen(130, 3, 1, 3, "discipline", 70, 70),
    ]


class Scholar:
    """A policy that reads the discipline, and cheers if it is 30."""

    regime = regime(every=10_000, first="10 s")

    def check(self, look):
        return ["cheer"] if look()["discipline"] == 30 else []


@pytest.mark.parametrize(("starts", "cheered"), [(30, [10]), (31, [])])
def test_policy_may_look_at_the_discipline(starts, cheered):
    life = live(pet(discipline=fields(starts=starts)), Scholar, until=20)
    assert times(life, "wasted", "cheer") == cheered
    assert life.sights == (Seen(10, 1, 0, 1, "discipline", starts, starts),)


# Steps that only look


def test_look_reads_each_signal_once_in_the_order_of_its_list_and_does_nothing_else():
    signals = ["lights", "hunger", "discipline", "stage", "calling", "waste", "clock"]
    hands = {"opening": {"takes": "3 s", "presses": 2}}
    life = checked_once(HUNGRY, {"look": signals}, {"do": "feed"}, hands=hands)
    assert looked(life) == [(13, signal) for signal in signals]
    assert log(life) == ["10 check", "13 done feed"]
    assert life.summary["presses"] == 3


def test_look_tries_each_error_once():
    eyes = {"calling": {"imagines": "30%"}, "hunger": {"misreads": "30%"}}
    step = {"look": ["calling", "hunger"]}
    life = live(pet(), regime(step, every=1, eyes=eyes), until=300)
    for signal, source in (("calling", "imagines calling"), ("hunger", "misreads hunger")):
        erred, thresholds = errors(source, [0.3] * 300)
        seen = [sight.seen != sight.truth for sight in life.sights if sight.signal == signal]
        # read as one above full it is still full
        assert all(flag for wrong, flag in zip(seen, erred, strict=True) if wrong)
        assert signal == "hunger" or seen == erred
        assert drawn(life, source) == thresholds


def test_look_with_a_when_is_an_observation_after_that_of_the_when():
    step = {"when": {"hunger": "0"}, "look": ["hunger", "mood"]}
    assert looked(checked_once(HUNGRY, step)) == [(10, "hunger"), (10, "hunger"), (10, "mood")]
    assert looked(checked_once(pet(), step)) == [(10, "hunger")]


def test_look_asks_for_no_further_pass():
    steps = [{"look": ["calling"]}, {"when": {"hunger": "0"}, "look": ["mood"]}]
    life = checked_once(HUNGRY, *steps, passes=5)
    assert looked(life) == [(10, "calling"), (10, "hunger"), (10, "mood")]


def test_look_without_a_when_is_done_in_the_first_pass_and_one_with_it_in_each_in_which_it_holds():
    steps = [
        {"when": {"hunger": "below 2"}, "do": "feed"},
        {"look": ["calling"]},
        {"when": {"hunger": "at most 1"}, "look": ["mood"]},
        {"when": {"hunger": "at least 2"}, "look": ["weight"]},
    ]
    life = checked_once(HUNGRY, *steps, passes=9)
    assert [signal for _, signal in looked(life)] == [
        *("hunger", "calling", "hunger", "mood", "hunger"),  # fed, it is at 1
        *("hunger", "hunger", "hunger", "weight"),  # fed, it is at 2
        *("hunger", "hunger", "hunger", "weight"),  # nothing is done, and no pass follows
    ]


def test_look_is_in_the_second_in_which_what_was_done_before_it_has_landed():
    hands = {"feed": {"takes": "4 s"}}
    life = checked_once(HUNGRY, {"do": "feed"}, {"look": ["hunger"]}, hands=hands)
    assert life.sights == (Seen(14, 1, 2, 1, "hunger", 1, 1),)


def test_dormant_pet_can_be_looked_at():
    life = live(pet(egg="1 h"), regime({"look": ["stage", "discipline"]}, every=60), until=10)
    assert [(sight.signal, sight.seen) for sight in life.sights] == [
        ("stage", "egg"),
        ("discipline", 0),
    ]


# When spells are


def spells(clear=20, lasts=5, **rates):
    """Eyes that err otherwise in spells; what they do is that they imagine waste, unless named."""
    rates = rates or {"waste": {"imagines": "100%"}}
    return {"spells": {"clear": seconds(clear), "lasts": seconds(lasts)} | rates}


def imagined(eyes, until=60, model=None, **more):
    """The seconds in which waste is seen where none is, of checks each second."""
    caretaker = regime(CLEAN_IF_SEEN, every=1, eyes=eyes, **more)
    return times(live(model or pet(), caretaker, until=until), "wasted")


def test_light_is_clear_at_first_and_clear_times_and_spells_take_turns():
    assert log(live(pet(), regime(eyes=spells()), until=60)) == [
        "20 spell begins",
        "25 spell ends",
        "45 spell begins",
        "50 spell ends",
    ]


def test_spell_with_no_rate_of_its_own_comes_and_goes():
    eyes = {"spells": fields(clear="20 s", lasts="5 s")}
    assert log(live(pet(), regime(eyes=eyes), until=30)) == ["20 spell begins", "25 spell ends"]


def test_clear_time_is_drawn_at_birth_and_each_next_time_when_the_light_changes():
    for until, draws in ((20, (1, 0)), (21, (1, 1)), (25, (1, 1)), (26, (2, 1)), (46, (2, 2))):
        life = live(pet(), regime(eyes=spells()), until=until)
        assert (drawn(life, "clear times"), drawn(life, "spell times")) == draws


def test_look_is_in_the_spell_that_begins_in_its_second_and_not_in_one_that_ends_in_it():
    assert imagined(spells()) == [*range(20, 25), *range(45, 50)]


def test_look_after_an_action_that_lands_as_a_spell_begins_is_in_it():
    routine = [{"do": "feed"}, CLEAN_IF_SEEN]
    for first, wasted in ((15, []), (16, [20]), (20, [24]), (21, [])):
        hands = {"feed": {"takes": "4 s"}}
        caretaker = regime(*routine, every=10_000, first=f"{first} s", hands=hands, eyes=spells())
        assert times(live(pet(), caretaker, until=40), "wasted", "clean") == wasted


def test_outage_ends_or_begins_before_a_spell_does_in_the_same_second():
    outages = fields(up="20 s", down="5 s")
    life = live(pet(), regime(eyes=spells(), outages=outages), until=30)
    assert log(life) == [
        "20 outage begins",
        "20 spell begins",
        "25 outage ends",
        "25 spell ends",
    ]
    life = live(pet(), regime(eyes=spells(25), outages=outages), until=26)
    assert log(life) == ["20 outage begins", "25 outage ends", "25 spell begins"]


def test_spells_come_and_go_while_the_power_is_out():
    outages = fields(up="10 s", down="1 h")
    life = live(pet(), regime(eyes=spells(), outages=outages), until=60)
    assert times(life, "spell begins") == [20, 45]


def test_death_ends_its_second_before_a_spell_begins_in_it():
    model = pet(fields(fatal_after={"hunger": "20 s"}), needs=needs(hunger_starts=0))
    life = live(model, regime(eyes=spells()), until="death")
    assert log(life) == ["20 death starved"]
    assert (drawn(life, "spell times"), life.summary["spells_s"]) == (0, 0)


def test_seconds_in_spells_count_to_the_end_of_the_life():
    for until, spent in ((20, 0), (21, 1), (25, 5), (45, 5), (48, 8), (60, 10)):
        assert live(pet(), regime(eyes=spells()), until=until).summary["spells_s"] == spent


# What they do


def test_spells_err_only_in_the_seconds_of_their_window_and_count_in_all():
    eyes = spells(during=span(22, 47), waste={"imagines": "100%"})
    caretaker = regime(CLEAN_IF_SEEN, every=1, eyes=eyes)
    life = live(pet(), caretaker, until=60)
    assert times(life, "wasted") == [22, 23, 24, 45, 46]
    assert life.summary["spells_s"] == 10
    assert times(life, "spell begins") == [20, 45]


@pytest.mark.parametrize(("day", "seen"), [("Mon", [20, 21, 22, 23, 24]), ("Tue", [])])
def test_window_of_spells_may_name_weekdays(day, seen):
    eyes = spells(during=f"00:00 to 24:00 on {day}", waste={"imagines": "100%"})
    assert imagined(eyes, until=30) == seen


def test_rate_of_spells_replaces_the_usual_one_and_that_of_a_window():
    usual = {"waste": {"imagines": "100%"}} | spells(waste={"imagines": "0%"})
    clear = [*range(20), *range(25, 45), *range(50, 60)]
    assert imagined(usual) == clear
    always = {"during": span(0, 100), "waste": {"imagines": "100%"}}
    assert imagined(spells(waste={"imagines": "0%"}) | {"windows": [always]}) == clear
    assert imagined(spells() | {"windows": [always | {"waste": {"imagines": "0%"}}]}) == [
        *range(20, 25),
        *range(45, 50),
    ]


def test_rate_that_spells_do_not_name_stays_that_of_the_window_or_the_usual_one():
    others = spells(waste={"overlooks": "0%"}, ill={"imagines": "0%"}, hunger={"misreads": "0%"})
    assert imagined({"waste": {"imagines": "100%"}} | others, until=30) == [*range(30)]
    window = {"during": span(22, 28), "waste": {"imagines": "100%"}}
    assert imagined({"windows": [window]} | others, until=30) == [*range(22, 28)]


def test_levels_are_misread_in_spells():
    eyes = spells(hunger={"misreads": "100%"})
    step = {"look": ["hunger", "mood"]}
    life = live(pet(needs=needs(hunger=9, hunger_starts=4)), regime(step, every=1, eyes=eyes), 60)
    wrong = [(sight.t, sight.signal) for sight in life.sights if sight.seen != sight.truth]
    assert wrong == [(t, "hunger") for t in (*range(20, 25), *range(45, 50))]
    assert drawn(life, "misread side hunger") == 10


def test_rates_of_spells_are_not_turned_into_others_by_looks():
    # of 3 looks all must show waste: usually 0.5 cubed, in a spell 0.5 as it stands
    eyes = {"waste": {"imagines": "50%"}, "looks": {"of": 3, "agree": 3}}
    eyes |= spells(30, 30, waste={"imagines": "50%"})
    chances = [0.5 if t // 30 % 2 else 0.125 for t in range(600)]
    erred, thresholds = errors("imagines waste", chances)
    caretaker = regime({"look": ["waste"]}, every=1, eyes=eyes)
    life = live(pet(), caretaker, until=600)
    # what is left of a threshold as a spell begins or ends stays
    assert [bool(sight.seen) for sight in life.sights] == erred
    assert drawn(life, "imagines waste") == thresholds
    assert sum(erred) > 20


def test_looks_may_be_even_where_levels_are_misread_in_spells_alone():
    eyes = spells(hunger={"misreads": "100%"}) | {"looks": {"of": 2, "agree": 2}}
    life = live(HUNGRY, regime({"look": ["hunger"]}, every=1, eyes=eyes), until=30)
    # one below 0 is read as 0
    assert [sight.seen for sight in life.sights if sight.t in range(20, 25)] != [0] * 5
    assert [sight.seen for sight in life.sights if sight.t not in range(20, 25)] == [0] * 25


def test_look_is_no_trial_where_spells_say_0():
    eyes = {"waste": {"imagines": "50%"}} | spells(1, 10_000, waste={"imagines": "0%"})
    life = live(pet(), regime(CLEAN_IF_SEEN, every=1, first="1 s", eyes=eyes), until=60)
    assert (times(life, "wasted"), drawn(life, "imagines waste")) == ([], 0)


def test_threshold_of_an_error_of_spells_alone_is_drawn_in_the_first_of_them():
    caretaker = regime(CLEAN_IF_SEEN, every=1, eyes=spells(waste={"imagines": "1%"}))
    assert drawn(live(pet(), caretaker, until=20), "imagines waste") == 0
    assert drawn(live(pet(), caretaker, until=21), "imagines waste") == 1


def test_what_is_there_is_overlooked_in_spells():
    model = pet(
        fields(sleeps=[span(5, 200)], illness={"base": "86400 per day"}),
        needs=needs(hunger_starts=0),
        care=care(),
    )
    signals = ["ill", "asleep", "lights", "calling"]
    rates = {signal: fields(overlooks="100%", imagines="100%") for signal in signals}
    life = live(model, regime({"look": signals}, every=22, eyes=spells(**rates)), until=60)
    wrong = {(sight.t, sight.signal) for sight in life.sights if sight.seen != sight.truth}
    assert wrong == {(22, signal) for signal in signals}
