"""Many lives as one table: its columns, its independence of workers, its odds, its errors."""

from __future__ import annotations

import pickle
import re
import subprocess
import sys
from copy import copy, deepcopy
from functools import partial
from threading import Lock

import numpy as np
import pandas as pd
import pytest
from pandas.testing import assert_frame_equal
from scipy.stats import binomtest

import petsim
from petsim import PolicyError, batch, compare, load_model, load_regime, simulate
from petsim.errors import ArgumentError
from petsim.life.caretaker import load_caretaker
from petsim.life.simulate import Span
from petsim.study import memory
from petsim.study.batch import lived
from tests.study.policies import OnceTidy

MODEL = "lamplet-quick"
# more than one chunk of work for each of three workers, and a last one that is not full
LIVES = 65

TIDY = {
    "petsim": "regime 1",
    "name": "Tidy",
    "checks": {"every": "10 min", "first": "random"},
    "routine": [
        {"when": {"waste": "at least 1"}, "do": "clean"},
        {"when": {"asleep": "no", "hunger": "below 3"}, "do": "feed"},
    ],
}

TIDY_FILE = """
class Tidy:
    regime = {"petsim": "regime 1", "name": "Grid", "checks": {"every": "10 min"}}

    def check(self, look):
        if look()["waste"] >= 1:
            yield "clean"
        seen = look()
        if not seen["asleep"] and seen["hunger"] < 3:
            yield "feed"
"""


# The table


def test_share_of_an_outcome_that_there_is_not_is_refused():
    lived = batch("lamplet-quick", "hourly", lives=2)
    with pytest.raises(ArgumentError, match=r"outcome: 'beakon'; .*did you mean 'beacon'"):
        lived.share("beakon")


@pytest.mark.parametrize("model", ["lamplet", "plain-clock"])
def test_the_columns_are_those_announced_in_order_and_of_their_types(model):
    lives = batch(model, "hands-off", lives=3, workers=1).lives
    announced = petsim.columns(load_model(model))
    assert list(lives.columns) == [column.name for column in announced]
    assert all(column.meaning for column in announced)
    assert [str(dtype) for dtype in lives.dtypes] == [column.dtype for column in announced]
    assert {c.name for c in announced if c.dtype == "category"} == {"outcome", "died"}


def test_rows_are_the_lives_of_the_seed_from_0_on():
    lives = batch(MODEL, "ten-minute", lives=25, seed=7, until="death", workers=1).lives
    assert list(lives["life"]) == list(range(25))
    assert list(lives.index) == list(range(25))
    for number in (24, 3, 20):
        life = simulate(MODEL, "ten-minute", seed=7, life=number, until="death")
        assert lives.iloc[number].to_dict() == life.summary


def test_a_batch_knows_what_made_it():
    made = batch(MODEL, "hourly", lives=4, seed=3, days=1.5, workers=1)
    assert (made.model.id, made.regime, made.seed, str(made.span)) == (
        MODEL,
        "hourly",
        3,
        "1.5 days",
    )
    assert len(made) == 4
    assert repr(made).startswith(f"<4 lives of {MODEL} under hourly, seed 3, followed to 1.5 days")
    assert "beacon" in made._repr_html_()


def test_seeds_make_other_lives_and_the_largest_is_a_seed():
    tables = [batch(MODEL, "hourly", lives=3, seed=s, workers=1).lives for s in (0, 1, 2**64 - 1)]
    presses = {tuple(table["presses"]) for table in tables}
    assert len(presses) == 3


@pytest.mark.parametrize(
    ("span", "longest"), [({"days": 0.25}, 21_600), ({"days": 1 / 86_400}, 1), ({}, None)]
)
def test_lives_are_as_long_as_asked(span, longest):
    lives = batch(MODEL, "ten-minute", lives=5, workers=1, **span).lives
    if longest is None:
        entered = lives[[f"entered_s.{form}" for form in ("beacon", "lantern", "ember")]]
        assert (entered.max(axis=1) == lives["end_s"]).all()
    else:
        assert set(lives["end_s"]) == {longest}
        assert set(lives["outcome"]) == {"undecided"}


def test_no_bar_is_shown_where_there_is_no_terminal(capfd):
    batch(MODEL, "hands-off", lives=2, workers=1, progress=True)
    assert capfd.readouterr() == ("", "")


# Workers


@pytest.mark.parametrize("workers", [2, 3])
def test_any_number_of_workers_gives_the_same_table(workers):
    alone = batch(MODEL, "thirty-minute", lives=LIVES, seed=11, workers=1)
    shared = batch(MODEL, "thirty-minute", lives=LIVES, seed=11, workers=workers)
    assert_frame_equal(shared.lives, alone.lives)
    assert_frame_equal(shared.odds(), alone.odds())
    assert alone.lives["misses"].nunique() > 3


def test_a_longer_batch_begins_with_the_same_lives():
    short, long = (batch(MODEL, "hourly", lives=n, workers=2).lives for n in (22, LIVES))
    assert long.head(22).to_dict("records") == short.to_dict("records")


@pytest.mark.parametrize("workers", [1, 2])
def test_a_policy_from_a_file_lives_as_the_routine_that_says_the_same(tmp_path, workers):
    file = tmp_path / "tidy.py"
    file.write_text(TIDY_FILE, encoding="utf-8")
    told = batch(MODEL, f"{file}:Tidy", lives=LIVES, workers=workers)
    assert told.regime == "tidy:Tidy"
    assert_frame_equal(told.lives, batch(MODEL, TIDY, lives=LIVES, workers=1).lives)
    assert told.lives["done.feed"].min() > 0


def test_a_class_of_a_module_is_a_policy_made_anew_for_each_life():
    tables = [batch(MODEL, OnceTidy, lives=LIVES, workers=workers).lives for workers in (1, 2)]
    assert_frame_equal(*tables)
    assert set(tables[0]["done.clean"]) == {1}


def test_a_class_that_no_other_process_can_know_is_a_policy_too():
    class Local(OnceTidy):
        """As one typed into a notebook."""

    table = batch(MODEL, Local, lives=LIVES, workers=2)
    assert table.regime == "Local"
    assert_frame_equal(table.lives, batch(MODEL, OnceTidy, lives=LIVES, workers=1).lives)


@pytest.mark.parametrize("workers", [1, 2])
def test_what_a_policy_does_wrong_is_told_from_any_process(tmp_path, workers):
    file = tmp_path / "odd.py"
    file.write_text("class Odd:\n    def check(self, look):\n        return ['feet']\n")
    with pytest.raises(PolicyError, match=r"^odd:Odd: life \d+, day 1 .*asked for 'feet'"):
        batch(MODEL, f"{file}:Odd", lives=LIVES, workers=workers)


# Classes from anywhere, and results that go elsewhere


def tidy_below(threshold):
    """A class that another process does not find by its name."""

    class Below:
        def check(self, look):
            seen = look()
            if not seen["asleep"] and seen["hunger"] < threshold:
                yield "feed"

    return Below


EVERY = {"checks.every": ["10 min", "20 min"]}


@pytest.mark.parametrize("made", [tidy_below(3), type("Nameless", (tidy_below(3),), {})])
def test_a_class_made_in_a_function_lives_in_several_processes(made, caplog):
    one, two = (batch(MODEL, made, lives=LIVES, workers=workers) for workers in (1, 2))
    assert_frame_equal(one.lives, two.lives)
    assert one.lives["done.feed"].sum() > 0
    assert caplog.messages == []


@pytest.mark.parametrize("policy", ["hourly", OnceTidy, tidy_below(3), "tidy.py:Tidy"])
def test_results_can_be_pickled_and_copied(policy, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "tidy.py").write_text(TIDY_FILE)
    result = compare(MODEL, [policy], lives=5, workers=1)
    life = simulate(MODEL, policy)
    swept = petsim.sweep(MODEL, [policy], EVERY, out=tmp_path / "a", lives=5, workers=1)
    for copied in (lambda x: pickle.loads(pickle.dumps(x)), deepcopy, copy):
        again = copied(result)
        assert_frame_equal(again.batches[0].lives, result.batches[0].lives)
        assert again.as_dict() == result.as_dict()
        # what looked after the pet is there as well
        lived_again = batch(again.model, again.batches[0].caretaker, lives=5, workers=1)
        assert_frame_equal(lived_again.lives, result.batches[0].lives)
        assert copied(life) == life
        assert_frame_equal(copied(swept).odds(), swept.odds())


def test_a_class_that_can_be_sent_nowhere_lives_here_and_says_why(caplog, tmp_path):
    lock = Lock()

    class Locked:
        def check(self, look):
            with lock:
                yield "clean"

    made = batch(MODEL, Locked, lives=LIVES, workers=2)
    why = (
        "Locked: can't be sent to another process or kept in a file (TypeError: cannot pickle "
        "'_thread.lock' object); expected a class that makes locks, open files and the like in "
        "its __init__"
    )
    assert caplog.messages == [f"petsim: slow on one processor: {why}"]
    assert_frame_equal(batch(MODEL, Locked, lives=LIVES, workers=1).lives, made.lives)
    nowhere = {"out": tmp_path / "a", "lives": 1}
    for sent in (
        partial(pickle.dumps, made),
        partial(petsim.sweep, MODEL, [Locked], EVERY, **nowhere),
    ):
        with pytest.raises(PolicyError) as caught:
            sent()
        assert str(caught.value) == why


@pytest.mark.parametrize("odd", [tidy_below, partial(OnceTidy)])
def test_what_makes_a_policy_is_no_caretaker(odd):
    with pytest.raises(PolicyError) as caught:
        batch(MODEL, odd, lives=1)
    assert str(caught.value) == (
        f"{odd!r}: found a Python object of type {type(odd).__name__}; expected a regime, its "
        "name, its path or its content, or the class of a policy"
    )


def test_more_lives_than_fit_into_memory_are_refused_with_how_many_would(monkeypatch):
    monkeypatch.setattr(memory, "free_memory", lambda: 8 * 10**9)
    a_row = sum(values.dtype.itemsize for values in batch(MODEL, "hourly", lives=1).values.values())
    fit = 8e9 / (1.25 * a_row)
    for regimes, most in ((["hourly"], fit), (["hourly", "hands-off"], fit / 2)):
        with pytest.raises(ArgumentError) as refused:
            compare(MODEL, regimes, lives=10**9)
        words = re.fullmatch(
            r"lives: 1000000000 take about ([\d,]+) GB of memory, and 8 GB are free; "
            r"expected at most (\d\d0+), or a sweep, which needs no such memory",
            str(refused.value),
        )
        assert words is not None
        assert 0.9 * most < int(words[2]) <= most
    with pytest.raises(ArgumentError, match=r"^lives: \d+; expected at most 2\*\*63 - 1$"):
        batch(MODEL, "hourly", lives=2**63)


def test_free_memory_is_what_the_machine_or_its_container_allows(tmp_path, monkeypatch):
    limit = tmp_path / "memory.max"
    limit.write_text("123456\n")
    monkeypatch.setattr(memory, "LIMITS", (limit,))
    assert memory.free_memory() == 123_456
    limit.write_text("max\n")
    assert memory.free_memory() > 123_456


def test_batches_are_told_apart_by_which_they_are():
    one, other = (batch(MODEL, "hourly", lives=2) for _ in range(2))
    assert one != other
    assert len({one, other, one}) == 2


# Engines and interrupts


@pytest.mark.parametrize("regime", ["camera-rig", "call-listener", "staged"])
def test_engines_give_the_same_table_and_are_named(regime):
    tables = [
        batch(MODEL, regime, lives=60, seed=5, until="death", engine=engine)
        for engine in ("reference", "compiled", "auto")
    ]
    assert [table.engine for table in tables] == ["reference", "compiled", "compiled"]
    assert_frame_equal(tables[0].lives, tables[1].lives)
    assert_frame_equal(tables[1].lives, tables[2].lives)


def test_a_policy_is_lived_by_the_reference_engine_and_by_no_other():
    assert batch(MODEL, OnceTidy, lives=2, workers=1).engine == "reference"
    with pytest.raises(ArgumentError) as caught:
        batch(MODEL, OnceTidy, lives=2, engine="compiled")
    assert str(caught.value) == (
        "engine: 'compiled', but OnceTidy is a Python policy; expected 'auto' or 'reference'"
    )


def test_without_what_the_compiled_engine_needs_the_reference_engine_lives_and_says_so(
    monkeypatch, caplog
):
    monkeypatch.setitem(sys.modules, "petsim.life.compiled", None)
    assert batch(MODEL, "ten-minute", lives=2).engine == "reference"
    [said] = caplog.messages
    assert said.startswith("petsim: slow without the compiled engine: numba can't be imported (")
    with pytest.raises(ArgumentError, match=r"^engine: 'compiled', but numba"):
        batch(MODEL, "ten-minute", lives=2, engine="compiled")


NOWHERE_TO_WRITE = """
import petsim
from numba.core.caching import CacheImpl, _CacheLocator
for locator in _CacheLocator.__subclasses__():
    locator.from_function = classmethod(lambda *_: None)
print(petsim.batch("lamplet-quick", "ten-minute", lives=2).engine)
"""


def test_without_a_folder_for_what_is_compiled_the_reference_engine_lives():
    done = subprocess.run(
        [sys.executable, "-c", NOWHERE_TO_WRITE], capture_output=True, text=True, check=True
    )
    assert done.stdout == "reference\n"
    assert done.stderr == (
        "petsim: slow without the compiled engine: "
        "there is no folder that compiled code may be written to\n"
    )


class Ends:
    """An engine that is interrupted when a life of this number is asked of it."""

    name, caretaker, chunk = "stub", load_caretaker("hourly", None), 10

    def __init__(self, number):
        self.number = number

    def lives(self, seed, numbers):
        if self.number in numbers:
            raise KeyboardInterrupt
        model = load_model(MODEL)
        return np.array([[number, *[0] * (len(petsim.columns(model)) - 1)] for number in numbers])


def test_interrupted_it_keeps_the_lives_that_all_engines_have_lived(caplog):
    model, engines = load_model(MODEL), [Ends(45), Ends(38)]
    options = {"seed": 0, "workers": 1, "check_limit": 60, "progress": False}
    batches = lived(model, engines, Span(), 100, **options)
    assert [list(made.lives["life"]) for made in batches] == [list(range(30))] * 2
    assert all(made.interrupted for made in batches)
    assert caplog.messages == ["petsim: interrupted after 30 of 100 lives; this is what they say"]
    with pytest.raises(KeyboardInterrupt):
        lived(model, [Ends(45), Ends(3)], Span(), 100, **options)


# Odds


def test_odds_are_shares_of_the_outcomes_with_their_score_intervals():
    made = batch(MODEL, "ten-minute", lives=60, seed=1)
    outcomes = list(made.lives["outcome"])
    odds = made.odds()
    forms = [name for name, form in made.model.forms.items() if form.stage == "adult"]
    assert list(odds.index[: len(forms)]) == forms
    assert set(outcomes) <= set(odds.index)
    assert odds["lives"].sum() == 60
    for outcome, row in odds.iterrows():
        count = outcomes.count(outcome)
        assert (row["lives"], row["estimate"]) == (count, count / 60)
        # Source: scipy.stats.binomtest, proportion_ci(method="wilson")
        ends = binomtest(count, 60).proportion_ci(method="wilson")
        assert (row["low"], row["high"]) == pytest.approx((ends.low, ends.high), abs=1e-12)
        assert made.share(outcome) == tuple(row[["estimate", "low", "high"]])
    assert 0 < odds.loc["beacon", "lives"] < 60


def test_odds_name_the_deaths_and_the_undecided_that_there_were():
    neglected = batch(MODEL, "hands-off", lives=30, until="death", workers=1)
    early = set(neglected.lives["outcome"]) - set(neglected.model.forms)
    assert early and early <= set(neglected.model.deaths)
    assert early <= set(neglected.odds().index)
    unfinished = batch(MODEL, "hands-off", lives=3, days=0.01, workers=1)
    assert unfinished.odds().loc["undecided", "estimate"] == 1


def test_simultaneous_odds_hold_together_over_all_outcomes_the_model_allows():
    made = batch(MODEL, "ten-minute", lives=60, seed=1)
    odds = made.odds(simultaneous=True)
    assert_frame_equal(odds[["lives", "estimate"]], made.odds()[["lives", "estimate"]])
    adults = [name for name, form in made.model.forms.items() if form.stage == "adult"]
    # each adult form, each death, and to be undecided, although no life here died
    possible = len(adults) + len(made.model.deaths) + 1
    assert possible > len(odds) == len(adults)
    for _, row in odds.iterrows():
        # Source: scipy.stats.binomtest, proportion_ci(method="exact")
        test = binomtest(int(row["lives"]), 60)
        ends = test.proportion_ci(confidence_level=1 - 0.05 / possible, method="exact")
        assert (row["low"], row["high"]) == pytest.approx((ends.low, ends.high), abs=1e-9)


# Errors


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ({"lives": 0}, "lives: 0; expected at least 1"),
        ({"lives": -3}, "lives: -3; expected at least 1"),
        ({"lives": "5"}, "lives: '5'; expected a whole number"),
        ({"lives": 2.5}, "lives: 2.5; expected a whole number"),
        ({"workers": 0}, "workers: 0; expected at least 1"),
        ({"seed": -1}, "seed: -1; expected a whole number from 0 to 2**64 - 1"),
        ({"seed": 2**64}, f"seed: {2**64}; expected a whole number from 0 to 2**64 - 1"),
        ({"seed": 1.5}, "seed: 1.5; expected a whole number from 0 to 2**64 - 1"),
        (
            {"engine": "fast"},
            "engine: 'fast'; expected one of 'auto', 'reference', 'compiled'",
        ),
        ({"until": "dusk"}, "until: 'dusk'; expected 'outcome' or 'death'"),
        ({"until": "death", "days": 3}, "until and days: both given; expected one of them"),
        ({"days": 0}, "days: 0; expected from one second to 2^53 s"),
        ({"days": float("nan")}, "days: nan; expected from one second to 2^53 s"),
    ],
)
def test_an_argument_out_of_its_range_is_named(arguments, message):
    with pytest.raises(ValueError) as caught:
        batch(MODEL, "hands-off", **{"lives": 2, "workers": 1, **arguments})
    assert str(caught.value) == message


def test_a_regime_that_does_not_go_with_the_model_is_refused_before_any_life():
    stranger = TIDY | {"routine": [{"do": "sing"}]}
    with pytest.raises(petsim.SpecError, match=r"routine\[0\]\.do: found .*'sing'"):
        batch(MODEL, stranger, lives=2)
    assert load_regime(stranger).routine[0].do == "sing"


def test_a_table_can_be_saved_and_read_again(tmp_path):
    lives = batch(MODEL, "hourly", lives=5, workers=1).lives
    lives.to_csv(tmp_path / "lives.csv", index=False)
    again = pd.read_csv(tmp_path / "lives.csv", keep_default_na=False, dtype=dict(lives.dtypes))
    assert_frame_equal(again, lives)
