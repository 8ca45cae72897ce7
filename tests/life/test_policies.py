"""Python policies: what they see and remember, how they are loaded, and how they fail."""

import random
from pathlib import Path

import pytest

from petsim.errors import PolicyError, SpecError
from petsim.life.caretaker import load_caretaker
from petsim.life.check import check_policy
from petsim.life.simulate import simulate
from petsim.spec.library import load_regime
from petsim.spec.names import names_a_policy
from tests.life.worlds import fields, live, pet, regime, times

HUNGRY = pet(fields(drops={"hunger": "10 s"}))
OFTEN = regime(every=5)


def written(directory, text, name="keeper.py"):
    """A policy's file with this text."""
    path = directory / name
    path.write_text(text, encoding="utf-8")
    return path


def refusal(source):
    """What is said of a policy that can't be loaded, without its directory."""
    with pytest.raises(SpecError) as refused:
        load_caretaker(str(source), None)
    return str(refused.value).replace(f"{Path(str(source).partition('.py')[0]).parent}/", "")


def complaint(policy, model=HUNGRY, **options):
    """What is said of a policy that does something wrong in a life of 40 seconds."""
    with pytest.raises(PolicyError) as complained:
        live(model, policy, until=40, **options)
    return str(complained.value)


# What it sees and remembers


class Remembering:
    """Feeds only once it has seen the same level in three checks in a row."""

    regime = OFTEN

    def __init__(self):
        self.levels = []

    def check(self, look):
        self.levels.append(look()["hunger"])
        if len(self.levels) > 2 and len(set(self.levels[-3:])) == 1 and self.levels[-1] < 5:
            yield "feed"


def test_policy_remembers_over_several_looks():
    # hunger drops at 10 s; seen so at 10, 15 and, before it drops again at 20 s, no third time
    slow = pet(fields(drops={"hunger": "30 s"}))
    life = live(slow, Remembering, until=60)
    assert times(life, "drop") == [30]
    assert times(life, "done", "feed") == [40]


def test_policy_is_made_anew_for_each_life():
    slow = pet(fields(drops={"hunger": "30 s"}))
    lives = [live(slow, Remembering, until=60, life=number).entries for number in (0, 1, 0)]
    assert lives[0] == lives[1] == lives[2]


class Keeping:
    """Reads one signal before feeding, and both of it and another one after."""

    regime = regime(every=10_000, first="10 s", hands={"feed": {"takes": "35 s"}})
    seen = None

    def check(self, look):
        kept = look()
        before = kept["hunger"]
        yield "feed"
        Keeping.seen = (before, kept["hunger"], kept["clock"].t, look()["hunger"])


def test_observation_keeps_what_was_read_and_shows_the_rest_as_it_is_when_first_read():
    # 4 of 5 at 10 s; three drops more, and then the feeding lands at 45 s
    live(HUNGRY, Keeping, until=50)
    assert Keeping.seen == (4, 4, 45, 2)


class Listing:
    """Returns a list, which is made before anything of it is done."""

    regime = regime(every=10_000, first="30 s", hands={"feed": {"takes": "1 s"}})

    def check(self, look):
        return ["feed"] * (5 - look()["hunger"])


def test_policy_may_return_a_list():
    assert times(live(HUNGRY, Listing, until=40), "done", "feed") == [31, 32, 33]


class Clockwise:
    """Feeds by the clock it reads."""

    regime = OFTEN

    def check(self, look):
        clock = look()["clock"]
        if (clock.t, clock.day, clock.weekday, clock.hour, clock.minute) == (60, 1, 0, 0, 1):
            yield "feed"


def test_policy_reads_the_clock():
    life = live(HUNGRY, Clockwise, until=100)
    assert times(life, "done", "feed") == [60]


# Loading

FEEDER = """
class Feeder:
    def check(self, look):
        yield "feed"
"""


@pytest.mark.parametrize(
    ("source", "is_policy"),
    [
        ("keeper.py", True),
        ("keeper.py:Feeder", True),
        ("a.b/keeper.py:Feeder", True),
        ("ten-minute", False),
        ("mine.yaml", False),
        ("happy", False),
        ("mine.python.yaml", False),
    ],
)
def test_policy_is_told_by_the_name_of_its_file(source, is_policy):
    assert names_a_policy(source) is is_policy


def test_policy_of_a_file_is_named_by_file_and_class_and_works_with_ten_minute_checks(tmp_path):
    path = written(tmp_path, FEEDER)
    caretaker = load_caretaker(f"{path}:Feeder", None)
    assert caretaker.name == "keeper:Feeder"
    assert caretaker.regime == load_regime("ten-minute")
    life = simulate("lamplet", f"{path}:Feeder", days=0.1)
    assert life.regime == "keeper:Feeder"
    assert life.summary["done.feed"] == life.summary["checks"] > 10


def test_class_may_be_left_out_if_the_file_has_but_one(tmp_path):
    assert load_caretaker(str(written(tmp_path, FEEDER)), None).name == "keeper:Feeder"


def test_imported_classes_are_not_the_files_own(tmp_path):
    path = written(tmp_path, f"from tests.life.test_policies import Keeping\n{FEEDER}")
    assert load_caretaker(str(path), None).name == "keeper:Feeder"


def test_regime_of_a_policy_is_looked_for_beside_its_file(tmp_path, monkeypatch):
    monkeypatch.chdir("/")
    (tmp_path / "rota.yaml").write_text(
        "petsim: regime 1\nname: Rota\nchecks: {every: 2 h, first: 0 s}\n", encoding="utf-8"
    )
    path = written(tmp_path, FEEDER.replace("def check", 'regime = "rota.yaml"\n    def check'))
    caretaker = load_caretaker(f"{path}:Feeder", None)
    assert (caretaker.regime.name, caretaker.regime.checks.every) == ("Rota", 7200)


def test_regime_of_a_policy_may_be_shipped_or_plain_data(tmp_path):
    hourly = FEEDER.replace("def check", 'regime = "hourly"\n    def check')
    assert load_caretaker(str(written(tmp_path, hourly)), None).regime == load_regime("hourly")
    assert load_caretaker(Listing, None).regime.hands.of("feed").takes == 1


@pytest.mark.parametrize(
    ("text", "source", "message"),
    [
        (FEEDER, ":Feeeder", "keeper.py: Feeeder: found the unknown policy 'Feeeder'; "
         "did you mean 'Feeder'?"),
        (FEEDER, ":Sitter", "keeper.py: Sitter: found the unknown policy 'Sitter'; "
         "expected 'Feeder'"),
        (FEEDER + FEEDER.replace("Feeder", "Other"), "",
         "keeper.py: class: found several: Feeder, Other; "
         "expected one of them, as FILE.py:CLASS"),
        ("x = 1\n", "", "keeper.py: class: found no class with a method check; "
         "expected one with check(self, look)"),
        ("class Feeder:\n    check = 3\n", "", "keeper.py: class: found no class with a method "
         "check; expected one with check(self, look)"),
        ("class Feeder:\n  def check(self):\n    return []\n", "",
         "keeper.py:1:1: Feeder.check: found other parameters; expected def check(self, look)"),
        ("\nclass Feeder:\n  def check(self, look, model):\n    return []\n", "",
         "keeper.py:2:1: Feeder.check: found other parameters; expected def check(self, look)"),
        ("class Feeder:\n  def __init__(self, name): ...\n  def check(self, look): ...\n", "",
         "keeper.py:1:1: Feeder: found one that can't be made without arguments; "
         "expected a class that Feeder() makes, once a life"),
        ("class Feeder:\n  regime = 10\n  def check(self, look): ...\n", "",
         "keeper.py:1:1: Feeder.regime: found a Python object of type int; "
         "expected a regime, its name, its path or its content"),
        ("class Feeder:\n  regime = 'hourli'\n  def check(self, look): ...\n", "",
         "keeper.py:1:1: Feeder.regime: found the unknown regime 'hourli'; did you mean 'hourly'? "
         "(a path to a file works too, such as ./hourli.yaml)"),
        ("\nclass Feeder\n  pass\n", "", "keeper.py:2:13: found what is not Python: "
         "expected ':'; expected a file that Python can run"),
        ("x = 1\ny = x / 0\n", "", "keeper.py:2:1: found what can't be run: ZeroDivisionError: "
         "division by zero; expected a file that Python can run"),
        ("import nowhere_to_be_found\n", "", "keeper.py:1:1: found what can't be run: "
         "ModuleNotFoundError: No module named 'nowhere_to_be_found'; "
         "expected a file that Python can run"),
        ("raise SystemExit(0)\n", "", "keeper.py:1:1: found what can't be run: SystemExit: 0; "
         "expected a file that Python can run"),
    ],
)  # fmt: skip
def test_policy_that_cannot_be_loaded_is_refused(text, source, message, tmp_path):
    assert refusal(f"{written(tmp_path, text)}{source}").startswith(message)


@pytest.mark.parametrize("source", ["keeper.py", "keeper.py:Feeder"])
def test_missing_file_is_refused(source, tmp_path):
    assert refusal(tmp_path / source) == (
        "keeper.py: no such file; expected a Python file, FILE.py:CLASS"
    )


def test_instance_of_a_policy_is_refused():
    class Keeper:
        def check(self, look):
            return []

    with pytest.raises(PolicyError) as refused:
        simulate(HUNGRY, Keeper())
    assert str(refused.value) == (
        "Keeper: found an instance of the class; expected the class itself, Keeper and not "
        "Keeper(...), as each life makes its own"
    )


def test_policy_whose_regime_does_not_go_with_the_model_is_refused(tmp_path):
    with pytest.raises(SpecError, match="found the unknown action 'play'"):
        simulate(HUNGRY, str(written(tmp_path, FEEDER)))


# Failing


def policy(check, made=None, regime=OFTEN):
    """A policy with this method."""
    body = {"regime": regime, "check": check}
    return type("Odd", (), body | ({"__init__": made} if made else {}))


def fails(_, look):
    if look()["hunger"] < 3:
        raise ValueError("it looks hungry")
    yield "feed" if look()["hunger"] < 3 else "clean"


def gives_up(_, look):
    look()
    raise SystemExit(1)


def never_stops(*_):
    while True:
        yield "feed"


def looks_for_ever(_, look):
    while True:
        look()


def subscripts_look(_, look):
    yield from ["feed"] * look["hunger"]


def reads_an_attribute(_, look):
    yield from ["feed"] * look().hunger


def reads(signal):
    def check(_, look):
        yield "feed" if look()[signal] else "clean"

    return check


def test_error_in_a_policy_names_policy_life_time_and_line():
    line = fails.__code__.co_firstlineno + 2
    assert complaint(policy(fails)) == (
        "Odd: life 0, day 1 00:00:30: raised ValueError: it looks hungry "
        f"(test_policies.py, line {line})"
    )
    assert complaint(policy(fails), life=7).startswith("Odd: life 7, day 1 00:00:30: ")


@pytest.mark.parametrize(
    ("check", "message"),
    [
        (lambda *_: None, "check returned None; yield the names of actions, or return a list of "
         "them"),
        (lambda *_: "feed", "check returned 'feed'; yield the names of actions, or return a list "
         "of them"),
        (lambda *_: {"feed"}, "check returned {'feed'}; yield the names of actions, or return a "
         "list of them"),
        (lambda *_: [3], "asked for 3; an action is the name of one, as text"),
        (lambda *_: ["feet"], "asked for 'feet', which a-pet does not know; did you mean 'feed'? "
         "(its actions: feed, cheer, clean, dose, lights_off, lights_on, reprimand)"),
        (lambda *_: ["zzz"], "asked for 'zzz', which a-pet does not know "
         "(its actions: feed, cheer, clean, dose, lights_off, lights_on, reprimand)"),
        (never_stops, "never stops: more than 1000 actions in one check"),
        (looks_for_ever, "looked more than 10000 times in one check"),
        (reads("hungar"), "read the signal 'hungar', which there is not; did you mean 'hunger'? "
         "(signals: hunger, mood, waste, ill, asleep, lights, calling, stage, form, weight, "
         "discipline, clock)"),
        (subscripts_look, 'raised TypeError: look is to be called; expected look()["hunger"] '
         f"(test_policies.py, line {subscripts_look.__code__.co_firstlineno + 1})"),
        (reads_an_attribute, "raised AttributeError: there is no look().hunger; expected a signal, "
         'as in look()["hunger"] '
         f"(test_policies.py, line {reads_an_attribute.__code__.co_firstlineno + 1})"),
        (gives_up, "raised SystemExit: 1 "
         f"(test_policies.py, line {gives_up.__code__.co_firstlineno + 2})"),
    ],
)  # fmt: skip
def test_policy_that_does_what_a_caretaker_cannot_is_stopped(check, message):
    assert complaint(policy(check)) == f"Odd: life 0, day 1 00:00:00: {message}"


class UnspeakableError(Exception):
    def __str__(self):
        raise ValueError("no words")


class Unshowable:
    def __repr__(self):
        raise ValueError("no words")


class Elusive:
    def __getattribute__(self, name):
        raise ValueError("not even its class")


class Odd(str):
    """A name that is refused wherever it is compared or shown."""

    __hash__ = None

    def __eq__(self, other):
        raise ValueError("not to be compared")

    def __repr__(self):
        raise ValueError("no words")

    __str__ = __format__ = __repr__


def raises(error):
    def check(_, look):
        raise error
        yield

    return check


def fails_midway(_, look):
    yield "feed"
    raise GeneratorExit


@pytest.mark.parametrize(
    ("check", "message"),
    [
        (raises(UnspeakableError()), "raised UnspeakableError (test_policies.py, line "),
        (raises(GeneratorExit()), "raised GeneratorExit (test_policies.py, line "),
        (raises(BaseException("of all")), "raised BaseException: of all (test_policies.py, line "),
        (raises(PolicyError("mine")), "raised PolicyError: mine (test_policies.py, line "),
        (raises(ValueError("x" * 10_000)), f"raised ValueError: {'x' * 500}… (test_policies.py"),
        (fails_midway, "raised GeneratorExit (test_policies.py, line "),
        (lambda *_: Unshowable(), "check returned an object of type Unshowable that can't be "
         "shown; yield"),
        (lambda *_: Elusive(), "raised ValueError: not even its class (test_policies.py, line "),
        (lambda *_: [Unshowable()], "asked for an object of type Unshowable that can't be shown; "
         "an action"),
        (lambda *_: [Elusive()], "raised ValueError: not even its class (test_policies.py, line "),
        (lambda *_: [Odd("feet")], "asked for 'feet', which a-pet does not know; did you mean "),
        (lambda *_: iter(["feed", 3]), "asked for 3; an action is the name of one, as text"),
    ],
)  # fmt: skip
def test_nothing_that_a_policy_hands_over_is_trusted(check, message):
    assert complaint(policy(check)).startswith(f"Odd: life 0, day 1 00:00:00: {message}")


def test_action_may_be_of_any_class_of_text():
    life = live(HUNGRY, policy(lambda *_: [Odd("feed")]), until=26)
    assert times(life, "done", "feed") == [10, 20]  # as hungry as it gets, and then full


def refuses_to_end(_, look):
    while True:
        try:
            yield "feed"
        except GeneratorExit:
            raise ValueError("not now") from None


def test_what_a_check_does_when_the_life_cuts_it_off_is_of_no_life():
    slow = regime(every=5, hands={"feed": {"takes": "1 min"}})
    assert live(HUNGRY, policy(refuses_to_end, regime=slow), until=40).summary["cut_off"] == 1


def test_policy_that_cannot_be_made_is_told():
    def made(_):
        raise OSError("no disk")

    odd = policy(lambda *_: [], made)
    assert complaint(odd) == (
        "Odd: life 0, day 1 00:00:00: raised OSError: no disk "
        f"(test_policies.py, line {made.__code__.co_firstlineno + 1})"
    )


def test_policy_may_do_as_much_as_a_thousand_things_in_a_check():
    life = live(HUNGRY, policy(lambda *_: ["feed"] * 1000), until=1)
    assert life.summary["done.feed"] == 1000


# Trying one out

SELDOM = regime(every=3600)


def test_policy_that_behaves_passes_the_check(tmp_path):
    check_policy(f"{written(tmp_path, FEEDER)}:Feeder")
    check_policy(Listing, HUNGRY)


def test_check_tells_a_policy_that_draws_chance_of_its_own():
    luck = random.Random(1)
    odd = policy(lambda *_: ["feed"] * luck.randrange(2), regime=SELDOM)
    with pytest.raises(PolicyError) as complained:
        check_policy(odd, HUNGRY)
    assert str(complained.value) == (
        "Odd: life 1 lived twice differs: it draws chance of its own, or remembers across lives; "
        "keep memory in self and take chance from nowhere"
    )


def test_check_tells_a_policy_that_remembers_across_lives():
    lives = []

    def made(self):
        lives.append(self)

    odd = policy(lambda *_: ["feed"] * len(lives), made, SELDOM)
    with pytest.raises(PolicyError, match=r"^Odd: life 1 lived twice differs: "):
        check_policy(odd, HUNGRY)


def test_check_tells_a_policy_that_never_acts():
    with pytest.raises(PolicyError) as complained:
        check_policy(policy(lambda *_: [], regime=SELDOM), HUNGRY)
    assert str(complained.value) == "Odd: never acted in 2 lives of 3 days; yield actions"


def test_check_passes_on_what_a_policy_does_wrong():
    with pytest.raises(PolicyError, match=r"^Odd: life 0, day 1 00:00:00: asked for 3; "):
        check_policy(policy(lambda *_: [3]), HUNGRY)
