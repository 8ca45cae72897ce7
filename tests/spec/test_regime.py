"""What a regime's file becomes, alone and with a model."""

import copy
import pickle
from pathlib import Path
from typing import Any

import pytest

from petsim.errors import SpecError
from petsim.spec.clocks import ClockTime, Window
from petsim.spec.eyes import LevelEye, SignalChange, SignalEye
from petsim.spec.laws import Distribution
from petsim.spec.library import check_together, load_model, load_regime
from petsim.spec.model import Model
from petsim.spec.quantities import DAY, Bound, Names
from petsim.spec.regime import Hand, Opening, Regime

VALID = Path(__file__).parents[1] / "cases" / "valid"
MOTE = load_model(VALID / "mote.model.yaml")
BARE: dict[str, Any] = {"petsim": "regime 1", "name": "Bare Bones"}


def refusal(data: dict[str, Any], *, together: bool = False) -> list[str]:
    with pytest.raises(SpecError) as error:
        load_regime(data, MOTE if together else None)
    return [str(problem).removeprefix("regime data: ") for problem in error.value.problems]


@pytest.fixture(scope="module")
def full() -> Regime:
    return load_regime(VALID / "every-key.regime.yaml", MOTE)


def test_checks(full: Regime) -> None:
    checks = full.checks
    assert (checks.every, checks.first, checks.jitter) == (1200, 0, None)
    assert checks.by_stage == {"larva": 300, "grown": None}
    morning, night = checks.windows
    assert morning.during == Window(25200, 30600, frozenset({0, 1, 2, 4}))
    assert (morning.every, night.every) == (900, None)


def test_routine(full: Regime) -> None:
    first, second = full.routine
    assert (first.when, first.do, first.repeat) == (None, "clean", 2)
    when = second.when
    assert when is not None
    assert (when.ill, when.asleep, when.calling, when.lights) == (False, False, True, "on")
    assert (when.stage, when.form) == (Names(("pod",), negated=True), Names(("grub", "moth")))
    assert when.clock == Window(32400, 75600, frozenset(range(5)))
    assert (when.waste, when.weight) == (Bound("at least", 1), Bound("above", 2))
    assert when.levels == {"hunger": Bound("exactly", 3), "mood": Bound("exactly", 2)}


def test_eyes(full: Regime) -> None:
    eyes = full.eyes
    assert (eyes.waste, eyes.ill) == (
        SignalEye.model_construct(overlooks=0.06, imagines=0.02),
        eyes.ill,
    )
    assert (eyes.ill.overlooks, eyes.ill.imagines, eyes.lights.imagines) == (0.06, 0.0, 1.0)
    assert eyes.levels == {"hunger": LevelEye.model_construct(misreads=0.06)}
    [window] = eyes.windows
    assert (window.lights.overlooks, window.lights.imagines) == (None, 0.0)
    assert window.waste == SignalChange()
    assert window.levels["hunger"].misreads == 0.2
    assert (eyes.looks.of, eyes.looks.agree) == (5, 3)


def test_hands(full: Regime) -> None:
    assert (full.hands.opening.takes, full.hands.opening.presses) == (3, 1)
    feed = full.hands.of("feed")
    assert (feed.takes, feed.presses, feed.slips) == (0, 0, 0.03)
    assert full.hands.of("clean") == Hand()
    assert (Hand().takes, Hand().presses, Hand().slips) == (0, 1, 0.0)
    assert (Opening().takes, Opening().presses) == (0, 0)


def test_rest(full: Regime) -> None:
    assert full.listens is not None
    assert full.listens.hears == 0.8
    assert full.listens.reacts_in == Distribution("triangular", (0.0, 120.0, 600.0))
    assert full.outages is not None
    assert full.outages.up == Distribution("exponential", (108000.0,))
    assert full.quiet_hours[1] == Window(43200, 46800, frozenset({6}))
    assert full.passes == 3


def test_what_is_left_out() -> None:
    bare = load_regime(BARE)
    assert (bare.id, bare.about, bare.passes, bare.routine, bare.quiet_hours) == (
        "bare-bones",
        "",
        1,
        (),
        (),
    )
    assert (bare.checks.every, bare.checks.first, bare.listens, bare.outages) == (
        None,
        "random",
        None,
        None,
    )
    assert (bare.eyes.waste.overlooks, bare.eyes.levels, bare.eyes.looks.of) == (0.0, {}, 1)
    [step] = load_regime(BARE | {"routine": [{"do": "feed"}]}).routine
    assert step.repeat == 1


def test_until_met_is_up_to_twenty_times() -> None:
    [step] = load_regime(
        BARE | {"routine": [{"when": {"ill": True}, "do": "dose", "repeat": "until met"}]}
    ).routine
    assert step.repeat == 20


@pytest.mark.parametrize(
    "checks",
    [
        {"first": "random"},
        {"every": "never", "first": "random", "by stage": {"larva": "never"}},
        {"every": "never", "first": "0 s", "by stage": {"larva": "5 min"}},
        {"every": "10 min", "jitter": "599 s"},
        {"every": "10 min", "jitter": "4 min", "windows": [{"during": "1:00 to 2:00",
                                                            "every": "5 min"}]},
        {"every": "never", "first": "3 s", "jitter": "4 min",
         "windows": [{"during": "1:00 to 2:00", "every": "5 min"}]},
    ],
)  # fmt: skip
def test_checks_that_are_right(checks: dict[str, Any]) -> None:
    load_regime(BARE | {"checks": checks})


@pytest.mark.parametrize(
    ("checks", "problem"),
    [
        ({"every": "10 min", "jitter": "5 min", "windows": [{"during": "1:00 to 2:00",
                                                             "every": "5 min"}]},
         "checks.jitter: found '5 min'; expected less than the smallest interval, 5 min"),
        ({"every": "10 min", "jitter": "0 s"}, "checks.jitter: found '0 s'; expected at least 1 s"),
        ({"every": "0 s"}, "checks.every: found '0 s'; expected at least 1 s, or never"),
        ({"first": "never"}, "checks.first: found 'never'; expected a time with its unit, "
                             "such as 20 min or 1 h 30 min, or random"),
        ({"first": "random", "windows": [{"during": "1:00 to 2:00", "every": "5 min"}]},
         "checks.first: found a random first check without an interval; "
         "expected a time from birth, such as 0 s, or the interval `every`"),
    ],
)  # fmt: skip
def test_checks_that_are_refused(checks: dict[str, Any], problem: str) -> None:
    assert refusal(BARE | {"checks": checks}) == [problem]


def test_even_looks_are_fine_where_no_level_is_misread() -> None:
    eyes = {
        "looks": {"of": 4, "agree": 2},
        "waste": {"overlooks": "5%"},
        "hunger": {"misreads": "0%"},
    }
    assert load_regime(BARE | {"eyes": eyes}).eyes.looks.of == 4
    eyes["windows"] = [{"during": "12:00 to 14:00", "mood": {"misreads": "1%"}}]
    assert refusal(BARE | {"eyes": eyes}) == [
        "eyes.looks.of: found '4'; expected an odd number, as levels are misread "
        "and the middle look counts"
    ]


@pytest.mark.parametrize(
    "when",
    [
        {"stage": "larva", "form": "grub"},
        {"stage": ["larva", "grown"], "form": "moth"},
        {"stage": "not pod", "form": "not moth"},
        {"hunger": "at most 4"},
        {"hunger": 0, "mood": "above 2"},
    ],
)
def test_conditions_that_can_hold(when: dict[str, Any]) -> None:
    load_regime(BARE | {"routine": [{"when": when, "do": "feed"}]}, MOTE)


@pytest.mark.parametrize(
    ("when", "problem"),
    [
        ({"stage": "larva", "form": ["moth", "fly"]},
         "form: found a condition that no form meets; expected one that can hold"),
        ({"stage": "not grown", "form": "moth"},
         "form: found a condition that no form meets; expected one that can hold"),
        ({"hunger": "above 5"},
         "hunger: found 'above 5'; expected a level from 0 to 4, which is full"),
        ({"hunger": "below 6"},
         "hunger: found 'below 6'; expected a level from 0 to 4, which is full"),
        ({"hunger": "above 4"},
         "hunger: found 'above 4'; expected a comparison that can hold; full is 4"),
    ],
)  # fmt: skip
def test_conditions_that_cannot_hold(when: dict[str, Any], problem: str) -> None:
    data = BARE | {"routine": [{"when": when, "do": "feed"}]}
    assert refusal(data, together=True) == [f"routine[0].when.{problem}"]


def test_check_together_shows_the_lines_of_the_regime(tmp_path: Path) -> None:
    path = tmp_path / "it.yaml"
    text = (VALID / "twice-an-hour.regime.yaml").read_text(encoding="utf-8")
    path.write_text(text.replace("do: clean", "do: sweep"), encoding="utf-8")
    regime = load_regime(path)
    with pytest.raises(SpecError) as error:
        check_together(MOTE, regime)
    with pytest.raises(SpecError) as at_once:
        load_regime(path, MOTE)
    assert str(error.value) == str(at_once.value)
    assert str(error.value) == (
        f"{path}:11:37: routine[0].do: found the unknown action 'sweep'; "
        "expected one of 'feed', 'play', 'clean'"
    )


def test_check_together_looks_at_the_object_itself() -> None:
    regime = load_regime(VALID / "twice-an-hour.regime.yaml", MOTE)
    check_together(MOTE, regime)
    [first, *others] = regime.routine
    changed = first.model_copy(update={"do": "sweep"})
    with pytest.raises(SpecError, match="unknown action 'sweep'"):
        check_together(MOTE, regime.model_copy(update={"routine": (changed, *others)}))


def test_regime_is_a_value(full: Regime) -> None:
    assert pickle.loads(pickle.dumps(full)) == full
    data = copy.deepcopy(BARE)
    assert load_regime(data) == load_regime(BARE)
    assert load_regime(BARE | {"passes": 2}) != load_regime(BARE)
    assert data == BARE


@pytest.mark.parametrize("model", [None, MOTE])
def test_a_step_without_an_action_is_refused(model: Model | None) -> None:
    with pytest.raises(SpecError) as caught:
        load_regime(BARE | {"routine": [{"do": ""}]}, model)
    assert [str(p) for p in caught.value.problems] == [
        "regime data: routine[0].do: found nothing; expected an action"
    ]


@pytest.fixture(scope="module")
def real() -> Regime:
    return load_regime(VALID / "rig-and-people.regime.yaml", MOTE)


def test_clock_times_lateness_and_forgetting(real: Regime) -> None:
    checks = real.checks
    assert checks.at == (
        ClockTime(7 * 3600 + 15 * 60),
        ClockTime(12 * 3600 + 30 * 60, frozenset(range(5))),
        ClockTime(9 * 3600 + 30 * 60, frozenset({5, 6})),
        ClockTime(19 * 3600 + 30),
    )
    assert (checks.every, checks.forgets) == (None, 0.1)
    assert checks.late == Distribution("exponential", (360.0,))
    friday, evening = checks.windows
    assert (friday.every, friday.forgets) == (None, None)
    assert (evening.every, evening.forgets) == ("usual", 0.25)
    assert checks.interval_windows == ((friday.during, None),)
    assert checks.forgetful_windows == ((evening.during, 0.25),)


def test_steps_that_look(real: Regime) -> None:
    first, second, third = real.routine
    assert (first.when, first.do, first.look) == (
        None,
        "",
        ("calling", "discipline", "hunger", "clock"),
    )
    assert second.when is not None
    assert (second.when.discipline, second.look) == (Bound("below", 100), ())
    assert third.when is not None
    assert (third.when.asleep, third.do, third.look) == (False, "", ("mood",))


def test_spells(real: Regime) -> None:
    spells = real.eyes.spells
    assert spells is not None
    assert spells.clear == Distribution("exponential", (4 * 3600.0,))
    assert spells.lasts == Distribution("lognormal", (20 * 60.0, 0.5))
    assert spells.during == Window(36000, 57600, frozenset(range(5)))
    assert (spells.waste.overlooks, spells.waste.imagines) == (0.6, None)
    assert (spells.lights.overlooks, spells.lights.imagines) == (None, 0.0)
    assert spells.levels == {"mood": LevelEye.model_construct(misreads=0.4)}


def test_rates_of_spells_may_go_with_any_number_of_looks(real: Regime) -> None:
    # they are those of a whole observation, of which no middle look is taken
    assert real.eyes.looks.of == 4
    assert load_regime(BARE).eyes.spells is None


def test_slips_into(real: Regime) -> None:
    assert real.hands.of("feed").into == {"play": 0.4, "clean": 0.1}
    assert Hand().into == {}
    # chances that sum to 1 but for rounding: ten times a tenth is more than 1
    tenths = {f"act {letter}": 0.1 for letter in "abcdefghij"}
    assert sum(tenths.values()) != 1
    load_regime(BARE | {"hands": {"feed": {"slips": "3%", "into": tenths}}})


@pytest.mark.parametrize(
    ("at", "gap"),
    [
        (["07:15"], DAY),
        (["07:15 on Mon"], 7 * DAY),
        (["07:15", "19:00"], 11 * 3600 + 45 * 60),
        # across midnight, and across the turn of the week
        (["23:58", "00:01"], 180),
        (["23:58 on Sun", "00:01 on Mon"], 180),
        # two entries of one second are one
        (["07:15", "07:15 on Mon"], DAY),
        (["07:15 on weekdays", "07:15 on weekends"], DAY),
    ],
)
def test_shortest_gap_of_clock_times(at: list[str], gap: int) -> None:
    assert load_regime(BARE | {"checks": {"at": at}}).checks.shortest_gap == gap


def test_shortest_gap_of_intervals_leaves_windows_that_only_forget_as_they_are() -> None:
    windows = [{"during": "10:00 to 11:00", "forgets": "5%"}]
    checks = {"every": "10 min", "jitter": "599 s", "windows": windows}
    assert load_regime(BARE | {"checks": checks}).checks.shortest_gap == 600
    checks["windows"] = [*windows, {"during": "10:00 to 11:00", "every": "5 min"}]
    assert refusal(BARE | {"checks": checks}) == [
        "checks.jitter: found '599 s'; expected less than the smallest interval, 5 min"
    ]
    assert load_regime(BARE).checks.shortest_gap is None


def test_no_clock_times_are_as_if_none_were_said() -> None:
    checks = load_regime(BARE | {"checks": {"at": [], "every": "10 min"}}).checks
    assert (checks.at, checks.every) == ((), 600)


@pytest.mark.parametrize("name", ["discipline", "misbehaviour", "spells", "clear", "lasts"])
def test_a_need_cannot_be_called_what_has_a_meaning(name: str) -> None:
    data = MOTE.model_dump(by_alias=True)
    data["needs"] = data["needs"] | {name: {"full": 4}}
    with pytest.raises(SpecError) as error:
        load_model(data)
    assert [str(problem).partition(": ")[2] for problem in error.value.problems] == [
        f"needs.{name}: found '{name}'; expected another name for the need, "
        "as this one has a meaning"
    ]
