"""What each draw of a life decides, and how eyes and hands err, each rule on a tiny life."""

import math

import pytest
from scipy import stats

from petsim.errors import SpecError
from petsim.life.streams import uniform
from tests.life.worlds import (
    acting,
    care,
    drawn,
    errors,
    fields,
    gaps,
    ill_at,
    live,
    needs,
    pet,
    regime,
    span,
    story,
    times,
    unit_exponential,
    values,
)


def whole(x):
    return max(1, math.floor(x + 0.5))


# Durations

DISTRIBUTIONS = {
    "uniform 100 s to 300 s": stats.uniform(100, 200),
    "triangular 100 s to 400 s around 150 s": stats.triang(1 / 6, 100, 300),
    "exponential 200 s": stats.expon(scale=200),
    "weibull shape 1.5 scale 200 s": stats.weibull_min(1.5, scale=200),
    "lognormal median 200 s sigma 0.8": stats.lognorm(0.8, scale=200),
}


@pytest.mark.parametrize("text", DISTRIBUTIONS)
def test_durations_are_drawn_from_one_uniform_each_by_the_inverse_of_their_distribution(text):
    # Source: the quantile functions of scipy.stats.
    life = live(pet(fields(drops={"hunger": text}), needs=needs(hunger=99)), until=4000)
    drops = [0, *times(life, "drop")]
    assert len(drops) > 8
    draws = [uniform(0, "drops hunger", 0, k) for k in range(len(drops) - 1)]
    assert gaps(drops) == [whole(DISTRIBUTIONS[text].ppf(u)) for u in draws]


def test_exponential_is_minus_log1p_of_minus_its_uniform():
    life = live(pet(fields(drops={"hunger": "exponential 1000 s"})), until=20_000)
    u = uniform(0, "drops hunger", 0, 0)
    assert times(life, "drop")[0] == whole(-1000 * math.log1p(-u))
    assert times(life, "drop")[0] != whole(-1000 * math.log(u))


def test_fixed_duration_uses_up_a_draw_like_any_other():
    life = live(pet(fields(drops={"hunger": "10 s"})), until=35)
    assert drawn(life, "drops hunger") == 4


def between(low, high, source, k=0, seed=0, life=0):
    """The whole seconds that draw k of a source gives, uniform from low to high."""
    return whole(low + (high - low) * uniform(seed, source, life, k))


WIDE = "uniform 100 s to 900 s"
NAUGHTY = fields(misbehaviour=fields(every=WIDE, window=WIDE))


@pytest.mark.parametrize(
    ("source", "model", "kind"),
    [
        ("drops hunger", pet(fields(drops={"hunger": WIDE})), "drop"),
        ("drops mood", pet(fields(drops={"mood": WIDE})), "drop"),
        ("waste", pet(fields(waste=fields(every=WIDE, pile_max=1))), "waste"),
        ("misbehaviour", pet(NAUGHTY), "misbehaves"),
        ("growth", pet(lasts=WIDE), "growth"),
    ],
)
def test_first_draw_of_each_source_of_the_pet_gives_its_first_event(source, model, kind):
    assert times(live(model, until=1000), kind)[0] == between(100, 900, source)
    assert times(live(model, until=1000, seed=5, life=7), kind)[0] == between(
        100, 900, source, seed=5, life=7
    )


def test_window_of_a_misbehaviour_has_its_own_draws():
    life = live(pet(NAUGHTY), until=3000)
    begins, lapses = times(life, "misbehaves"), times(life, "lapse")
    assert lapses[0] - begins[0] == between(100, 900, "misbehaviour window")
    assert begins[1] - lapses[0] == between(100, 900, "misbehaviour", 1)


def test_growth_is_drawn_in_the_order_of_forms_entered():
    life = live(pet(egg=WIDE, lasts=WIDE), until=1800)
    grown = times(life, "growth")
    assert gaps([0, *grown]) == [between(100, 900, "growth", k) for k in range(2)]


def test_up_and_down_times_have_their_own_draws():
    life = live(pet(), regime(outages=fields(up=WIDE, down=WIDE)), until=4000)
    changes = [e.t for e in life.entries if "outage" in e.event]
    expected = [
        between(100, 900, source, k) for k in range(9) for source in ("up times", "down times")
    ]
    assert len(changes) > 4
    assert gaps([0, *changes]) == expected[: len(changes)]


def test_reaction_and_hearing_are_drawn_call_by_call():
    model = pet(fields(drops={"hunger": "1000 s"}), needs=needs(hunger=1))
    caretaker = regime({"do": "feed"}, listens={"hears": "100%", "reacts in": WIDE})
    life = live(model, caretaker, until=5900)
    assert times(life, "check") == [
        1000 * (k + 1) + between(100, 900, "reaction", k) for k in range(5)
    ]
    assert drawn(life, "hears") == 5


def test_call_is_heard_when_its_draw_is_below_the_chance():
    model = pet(fields(drops={"hunger": "100 s"}), needs=needs(hunger=1))
    caretaker = regime(
        {"do": "feed"}, every=50, first="0 s", listens={"hears": "30%", "reacts in": "7 s"}
    )
    life = live(model, caretaker, until=4000)
    calls = [k for k in range(39) if uniform(0, "hears", 0, k) < 0.3]
    assert 3 < len(calls) < 30
    assert [t for t in times(life, "check") if t % 50] == [100 * (k + 1) + 7 for k in calls]


def test_action_works_when_its_draw_is_below_the_chance():
    gamble = {"raises": {"hunger": 1}, "works": "40%"}
    model = pet(care=care(gamble=gamble), needs=needs(hunger=99, hunger_starts=0))
    life = live(model, regime({"do": "gamble"}, every=1), until=40)
    expected = ["done" if uniform(0, "works gamble", 0, k) < 0.4 else "lost" for k in range(40)]
    assert [e.event for e in life.entries if e.what == "gamble"] == expected
    assert set(expected) == {"done", "lost"}


# Doses


@pytest.mark.parametrize(("above", "doses"), [(False, 3), (True, 2)])
def test_doses_are_the_first_whose_running_sum_exceeds_the_draw(above, doses):
    u = uniform(0, "doses", 0, 0)
    p = math.nextafter(u, 1) if above else u
    chances = {"2": repr(p), "3": repr(1 - p)}
    life = live(pet(fields(illness=ill_at(10, doses=chances))), until=20)
    assert values(life, "ill") == [doses]


def test_doses_go_in_the_order_of_the_file():
    u = uniform(0, "doses", 0, 0)
    chances = {"7": repr(math.nextafter(u, 1)), "1": repr(1 - u)}
    assert values(live(pet(fields(illness=ill_at(10, doses=chances))), until=20), "ill") == [7]


def test_stage_that_names_no_doses_needs_one():
    life = live(pet(fields(illness=ill_at(10))), acting((15, "dose")), until=16)
    assert values(life, "ill") == [1]
    assert times(life, "well") == [15]


def test_doses_whose_chances_do_not_sum_to_1_are_refused():
    for second in ("0.5000001", "0.499999"):
        with pytest.raises(SpecError):
            live(pet(fields(illness=ill_at(10, doses={"1": "0.5", "2": second}))), until=20)
    live(pet(fields(illness=ill_at(10, doses={"1": "0.5", "2": "0.50000000001"}))), until=20)


# Streams


def test_life_replays_alone_and_another_number_or_seed_is_another_life():
    first = live("lamplet", "camera-rig", until=86_400, seed=4, life=9)
    assert first.entries == live("lamplet", "camera-rig", until=86_400, seed=4, life=9).entries
    assert first.entries != live("lamplet", "camera-rig", until=86_400, seed=4, life=8).entries
    assert first.entries != live("lamplet", "camera-rig", until=86_400, seed=5, life=9).entries


def test_two_regimes_on_one_seed_meet_the_same_luck():
    rates = fields(
        drops={"hunger": "exponential 20 s", "mood": "exponential 30 s"},
        waste=fields(every=WIDE, pile_max=99),
        misbehaviour=fields(every=WIDE, window="50 s"),
    )
    model = pet(rates, lasts=WIDE, needs=needs(99, 99))
    alone = live(model, until=900)
    cared = live(
        model, regime(*({"do": a} for a in ("feed", "cheer", "dose")), every=20), until=900
    )
    kinds = ("drop", "waste", "misbehaves", "growth")
    assert story(alone, *kinds) == story(cared, *kinds)
    assert len(story(alone, *kinds)) > 20


def test_source_not_needed_is_not_drawn_from():
    life = live(pet(), regime({"do": "clean"}, every=10), until=50)
    asked = {source for source in life.draws if drawn(life, source)}
    assert asked - {"illness", "first check"} == {"growth", "works clean"}


# Eyes

PILE = fields(waste=fields(every="1 s", pile_max=3))
"""From second 3 on the pile is 3."""


def look(model, signals, eyes, until=400, **more):
    """The life of a pet whose caretaker looks at these signals every second and does nothing."""
    usual = {"waste": "at least 0", "hunger": "at least 0", "mood": "at least 0", "lights": "on"}
    when = {"form": "tree"} | {signal: usual.get(signal, "yes") for signal in signals}
    caretaker = regime({"when": when, "do": "clean"}, every=1, eyes=eyes, **more)
    return live(model, caretaker, until=until)


def seen(life, signal):
    return [sight.seen for sight in life.sights if sight.signal == signal]


def erred(life, signal):
    return [sight.seen != sight.truth for sight in life.sights if sight.signal == signal]


def test_waste_overlooked_is_seen_as_0_and_otherwise_as_its_true_count():
    life = look(pet(PILE), ["waste"], {"waste": {"overlooks": "30%"}})
    assert set(seen(life, "waste")[3:]) == {0, 3}
    assert seen(life, "waste")[0] == 0
    flags, k = errors("overlooks waste", [0.0] + [0.3] * 399)
    assert erred(life, "waste") == flags
    assert drawn(life, "overlooks waste") == k
    assert drawn(life, "imagines waste") == 0


def test_waste_imagined_is_seen_as_1():
    life = look(pet(), ["waste"], {"waste": {"imagines": "30%"}})
    assert set(seen(life, "waste")) == {0, 1}
    flags, k = errors("imagines waste", [0.3] * 400)
    assert erred(life, "waste") == flags
    assert (drawn(life, "imagines waste"), drawn(life, "overlooks waste")) == (k, 0)


THERE = {
    "ill": pet(fields(illness=ill_at(10))),
    "asleep": pet({"sleeps": [span(0, 4000)]}),
    "lights": pet(),
    "calling": pet(needs=needs(hunger_starts=0)),
}
NOT_THERE = {"ill": pet(), "asleep": pet(), "calling": pet()}


@pytest.mark.parametrize("signal", THERE)
def test_signal_that_is_there_may_be_overlooked(signal):
    life = look(THERE[signal], [signal], {signal: {"overlooks": "20%", "imagines": "100%"}})
    start = 10 if signal == "ill" else 0
    flags, k = errors(f"overlooks {signal}", [0.2] * (400 - start))
    assert erred(life, signal)[start:] == flags
    assert drawn(life, f"overlooks {signal}") == k


@pytest.mark.parametrize("signal", NOT_THERE)
def test_signal_that_is_not_there_may_be_imagined(signal):
    life = look(NOT_THERE[signal], [signal], {signal: {"overlooks": "100%", "imagines": "20%"}})
    flags, k = errors(f"imagines {signal}", [0.2] * 400)
    assert erred(life, signal) == flags
    assert (drawn(life, f"imagines {signal}"), drawn(life, f"overlooks {signal}")) == (k, 0)


def test_lights_that_are_off_may_be_imagined_on():
    model = pet({"sleeps": [span(0, 4000)]})
    steps = [
        {"when": {"clock": span(0, 1)}, "do": "lights_off"},
        {"when": {"lights": "on"}, "do": "clean"},
    ]
    life = live(model, regime(*steps, every=1, eyes={"lights": {"imagines": "20%"}}), until=400)
    flags, _ = errors("imagines lights", [0.2] * 400)
    assert erred(life, "lights") == flags
    assert times(life, "wasted", "clean") == [t for t, errs in enumerate(flags) if errs]


def test_overlooks_and_imagines_use_up_their_own_thresholds_whichever_the_truth_calls_for():
    model = pet(fields(waste=fields(every="20 s", pile_max=1)))
    eyes = {"waste": {"overlooks": "15%", "imagines": "10%"}}
    looking = {"when": {"waste": "at least 2"}, "do": "feed"}
    cleaning = [{"when": {"clock": span(t, t + 1)}, "do": "clean"} for t in range(10, 400, 20)]
    life = live(model, regime(looking, *cleaning, every=1, eyes=eyes), until=400)
    truths = [sight.truth for sight in life.sights if sight.signal == "waste"]
    assert 100 < sum(truths) < 300
    overlooked, _ = errors("overlooks waste", [0.15] * sum(truths))
    imagined, _ = errors("imagines waste", [0.10] * (400 - sum(truths)))
    assert [e for e, there in zip(erred(life, "waste"), truths, strict=True) if there] == overlooked
    assert [
        e for e, there in zip(erred(life, "waste"), truths, strict=True) if not there
    ] == imagined


def test_chance_of_0_is_no_trial():
    life = look(
        pet(PILE, needs=needs(3, 3)), ["waste", "ill", "hunger"], {"waste": {"overlooks": "0%"}}
    )
    assert not any(erred(life, "waste"))
    assert [drawn(life, s) for s in ("overlooks waste", "imagines ill", "misreads hunger")] == [
        0
    ] * 3


def test_chance_of_1_errs_and_draws_anew_each_time():
    life = look(pet(), ["waste"], {"waste": {"imagines": "100%"}}, until=50)
    assert erred(life, "waste") == [True] * 50
    # The first when first needed, and a new one after each error.
    assert drawn(life, "imagines waste") == 51


def test_threshold_of_an_error_is_drawn_when_first_needed():
    eyes = {"waste": {"imagines": "0.000001%"}}
    step = {"when": {"waste": "at least 1"}, "do": "clean"}
    caretaker = regime(step, every=100, first="10 s", eyes=eyes)
    assert drawn(live(pet(), caretaker, until=10), "imagines waste") == 0
    assert drawn(live(pet(), caretaker, until=11), "imagines waste") == 1


def test_error_comes_when_the_used_up_threshold_falls_below_0():
    # One trial uses up all of a threshold but the last unit, or one more than all of it.
    units = math.floor(unit_exponential("imagines waste", 0) * 2**40)
    step = {"when": {"waste": "at least 1"}, "do": "clean"}
    for uses, seen_first in ((units, 0), (units + 1, 1)):
        p = -math.expm1(-uses / 2**40)
        assert math.floor(-math.log1p(-p) * 2**40 + 0.5) == uses
        life = live(pet(), regime(step, every=10, eyes={"waste": {"imagines": repr(p)}}), until=5)
        assert seen(life, "waste") == [seen_first]


def test_what_is_left_of_a_threshold_stays_when_the_chance_changes():
    windows = [{"during": span(50, 150), "waste": {"imagines": "40%"}}]
    eyes = {"waste": {"imagines": "3%"}, "windows": windows}
    life = look(pet(), ["waste"], eyes)
    flags, _ = errors("imagines waste", [0.4 if 50 <= t < 150 else 0.03 for t in range(400)])
    assert erred(life, "waste") == flags


def test_chance_of_0_for_a_while_keeps_what_is_left_of_the_threshold():
    windows = [{"during": span(10, 200), "waste": {"imagines": "0%"}}]
    life = look(pet(), ["waste"], {"waste": {"imagines": "3%"}, "windows": windows})
    flags, _ = errors("imagines waste", [0.0 if 10 <= t < 200 else 0.03 for t in range(400)])
    assert erred(life, "waste") == flags
    assert any(flags)


def test_rate_a_window_does_not_name_keeps_its_usual_value():
    windows = [{"during": span(0, 400), "waste": {"overlooks": "50%"}}]
    eyes = {"waste": {"imagines": "20%"}, "hunger": {"misreads": "10%"}, "windows": windows}
    life = look(pet(), ["waste", "hunger"], eyes)
    assert erred(life, "waste") == errors("imagines waste", [0.2] * 400)[0]
    assert drawn(life, "misreads hunger") == errors("misreads hunger", [0.1] * 400)[1]


def test_first_listed_window_of_the_eyes_that_holds_counts_alone():
    windows = [
        {"during": span(100, 200), "waste": {"imagines": "20%"}},
        {"during": span(50, 300), "waste": {"imagines": "60%"}, "ill": {"imagines": "50%"}},
    ]
    life = look(pet(), ["waste", "ill"], {"windows": windows})
    rates = [0.2 if 100 <= t < 200 else 0.6 if 50 <= t < 300 else 0.0 for t in range(400)]
    assert erred(life, "waste") == errors("imagines waste", rates)[0]
    ill = [0.5 if 50 <= t < 100 or 200 <= t < 300 else 0.0 for t in range(400)]
    assert erred(life, "ill") == errors("imagines ill", ill)[0]


def test_window_of_the_eyes_may_name_weekdays():
    windows = [
        {"during": "00:00 to 24:00 on Tue-Sun", "waste": {"imagines": "100%"}},
        {"during": span(20, 40) + " on Mon", "waste": {"imagines": "100%"}},
    ]
    life = look(pet(), ["waste"], {"windows": windows}, until=60)
    assert [t for t, errs in enumerate(erred(life, "waste")) if errs] == list(range(20, 40))


def test_window_of_the_eyes_may_name_weekdays_for_levels_too():
    windows = [
        {"during": span(0, 20) + " on Mon", "hunger": {"misreads": "100%"}},
        {"during": "00:00 to 24:00 on Tue-Sun", "hunger": {"misreads": "100%"}},
    ]
    model = pet(begins="Tuesday 23:59:50")
    life = look(model, ["hunger"], {"hunger": {"misreads": "0%"}, "windows": windows}, until=20)
    # at full, half of the misreads are clamped to what is there
    assert drawn(life, "misread side hunger") == 20


def test_rate_of_a_look_is_that_of_its_own_second():
    windows = [{"during": span(12, 14), "waste": {"imagines": "100%"}}]
    step = {"when": {"waste": "at least 1"}, "do": "clean"}
    hands = {"opening": {"takes": "3 s"}}
    for first, sees_it in ((8, 0), (9, 1), (10, 1), (11, 0)):
        caretaker = regime(
            step, every=100, first=f"{first} s", eyes={"windows": windows}, hands=hands
        )
        assert seen(live(pet(), caretaker, until=15), "waste") == [sees_it]


def test_level_misread_is_one_off_up_below_a_half_and_the_side_is_drawn_only_on_an_error():
    model = pet(needs=needs(hunger=9, hunger_starts=4))
    life = look(model, ["hunger"], {"hunger": {"misreads": "20%"}})
    flags, k = errors("misreads hunger", [0.2] * 400)
    sides = iter(range(400))
    expected = [
        4 + errs * (1 if errs and uniform(0, "misread side hunger", 0, next(sides)) < 0.5 else -1)
        for errs in flags
    ]
    assert seen(life, "hunger") == expected
    assert set(expected) == {3, 4, 5}
    assert (drawn(life, "misreads hunger"), drawn(life, "misread side hunger")) == (k, sum(flags))


@pytest.mark.parametrize("level", [0, 1])
def test_misread_level_is_clamped_to_its_scale(level):
    model = pet(needs=needs(hunger=1, hunger_starts=level))
    life = look(model, ["hunger"], {"hunger": {"misreads": "100%"}}, until=100)
    up = [uniform(0, "misread side hunger", 0, k) < 0.5 for k in range(100)]
    assert seen(life, "hunger") == [min(1, max(0, level + (1 if u else -1))) for u in up]
    assert set(seen(life, "hunger")) == {0, 1}


def test_looks_that_agree_give_one_effective_rate_per_observation():
    # Source: binomial tail probabilities of scipy.stats.
    looks = {"of": 5, "agree": 3}
    for model, wrong, needed in ((pet(PILE), "overlooks", 3), (pet(), "imagines", 3)):
        life = look(model, ["waste"], {"waste": {wrong: "40%"}, "looks": looks})
        rate = stats.binom.sf(needed - 1, 5, 0.4)
        rates = [rate] * 400
        if wrong == "overlooks":
            rates[0] = 0.0
        flags, k = errors(f"{wrong} waste", rates)
        assert erred(life, "waste") == flags
        assert drawn(life, f"{wrong} waste") == k


def test_looks_that_need_all_to_agree_overlook_more_and_imagine_less():
    looks = {"of": 3, "agree": 3}
    there = look(pet(PILE), ["waste"], {"waste": {"overlooks": "10%"}, "looks": looks})
    flags, _ = errors("overlooks waste", [0.0] + [stats.binom.sf(0, 3, 0.1)] * 399)
    assert erred(there, "waste") == flags
    absent = look(pet(), ["waste"], {"waste": {"imagines": "40%"}, "looks": looks})
    flags, _ = errors("imagines waste", [stats.binom.pmf(3, 3, 0.4)] * 400)
    assert erred(absent, "waste") == flags


def test_looks_take_the_median_of_a_level():
    # The median of three is off if two or three are off to the same side.
    model = pet(needs=needs(hunger=9, hunger_starts=4))
    eyes = {"hunger": {"misreads": "40%"}, "looks": {"of": 3, "agree": 2}}
    life = look(model, ["hunger"], eyes)
    flags, k = errors("misreads hunger", [2 * stats.binom.sf(1, 3, 0.2)] * 400)
    assert erred(life, "hunger") == flags
    assert drawn(life, "misreads hunger") == k


def test_looks_hold_for_the_rates_of_windows_too():
    windows = [{"during": span(0, 200), "waste": {"imagines": "40%"}}]
    eyes = {"waste": {"imagines": "20%"}, "windows": windows, "looks": {"of": 3, "agree": 2}}
    rates = [stats.binom.sf(1, 3, 0.4 if t < 200 else 0.2) for t in range(400)]
    assert erred(look(pet(), ["waste"], eyes), "waste") == errors("imagines waste", rates)[0]


def test_looks_with_a_chance_of_0_are_no_trial_and_with_1_always_err():
    looks = {"of": 3, "agree": 2}
    life = look(pet(), ["waste"], {"waste": {"overlooks": "20%"}, "looks": looks}, until=50)
    assert drawn(life, "imagines waste") == 0
    life = look(pet(), ["waste"], {"waste": {"imagines": "100%"}, "looks": looks}, until=50)
    assert erred(life, "waste") == [True] * 50


def test_number_of_looks_is_odd_if_any_level_misreads():
    looks = {"of": 4, "agree": 2}
    look(pet(), ["waste"], {"waste": {"imagines": "20%"}, "looks": looks}, until=5)
    with pytest.raises(SpecError):
        look(pet(), ["waste"], {"mood": {"misreads": "20%"}, "looks": looks}, until=5)


def test_caretaker_acts_on_what_it_sees():
    step = {"when": {"waste": "at least 1"}, "do": "clean"}
    eyes = {"waste": {"imagines": "10%"}}
    life = live(pet(), regime(step, every=1, eyes=eyes), until=100)
    flags, _ = errors("imagines waste", [0.1] * 100)
    assert times(life, "wasted", "clean") == [t for t, errs in enumerate(flags) if errs]


# Hands


def test_slip_is_one_trial_an_action_realised_as_an_error_of_the_eye_is():
    hands = {"clean": {"slips": "15%"}, "dose": {"slips": "100%"}}
    life = live(pet(), regime({"do": "clean"}, {"do": "dose"}, every=1, hands=hands), until=200)
    flags, k = errors("slips clean", [0.15] * 200)
    assert [e.event == "slipped" for e in life.entries if e.what == "clean"] == flags
    assert (drawn(life, "slips clean"), drawn(life, "slips dose")) == (k, 201)
    # An action that slips does not land, so its chance of working is not drawn.
    assert drawn(life, "works clean") == 200 - sum(flags)
    assert drawn(life, "works dose") == 0


def test_slip_is_tried_in_the_second_the_action_starts():
    hands = {"clean": {"takes": "10 s", "slips": "0.000001%"}}
    life = live(pet(), regime({"do": "clean"}, every=100, hands=hands), until=5)
    assert (drawn(life, "slips clean"), drawn(life, "works clean")) == (1, 0)


def test_slip_is_tried_also_for_an_action_that_would_be_refused():
    strict = {"raises": {"hunger": 1}, "refused when": ["full"]}
    model = pet(care=care(strict=strict))
    life = live(
        model, regime({"do": "strict"}, every=1, hands={"strict": {"slips": "30%"}}), until=60
    )
    flags, _ = errors("slips strict", [0.3] * 60)
    assert [e.event for e in life.entries if e.what == "strict"] == [
        "slipped" if errs else "refused" for errs in flags
    ]
