"""Paths and values of what varies: what they mean, and what is said of those that mean nothing."""

import re
from collections import Counter
from dataclasses import replace
from fractions import Fraction
from math import log2
from unittest.mock import patch

import pytest
from hypothesis import given
from hypothesis import strategies as st

from petsim.errors import MisfitError
from petsim.spec import variation
from petsim.spec.quantities import chance, duration, seconds
from petsim.spec.reading import read_text
from petsim.spec.variation import A_PATH, A_RANGE, Axis, number_of, path_steps, range_meant


def values(text):
    return list(Axis.read("some.path", text).values)


def refused(values, path="some.path"):
    """What is said of values, and of what in them."""
    with pytest.raises(MisfitError) as caught:
        Axis.read(path, values)
    return caught.value.expected


# Paths


@pytest.mark.parametrize(
    ("path", "steps"),
    [
        ("passes", ("passes",)),
        ("checks.every", ("checks", "every")),
        ("routine[3].repeat", ("routine", 3, "repeat")),
        ("quiet hours[0]", ("quiet hours", 0)),
        ("stages.infant.illness.per waste", ("stages", "infant", "illness", "per waste")),
        ("a[0][12].b", ("a", 0, 12, "b")),
    ],
)
def test_a_path_leads_through_keys_and_entries(path, steps):
    assert path_steps(path) == steps


@pytest.mark.parametrize(
    "path", ["", ".passes", "a..b", "a.", "a[", "a[x]", "a[-1]", "a]", "a.[0]", f"a[{'9' * 5000}]"]
)
def test_what_is_no_path_is_refused(path):
    assert refused("1", path) == A_PATH == (
        "expected a path such as checks.every or routine[3].repeat"
    )  # fmt: skip


# Values


@pytest.mark.parametrize(
    ("text", "meant"),
    [
        ("5", ["5"]),
        ("0, 1%,5%", ["0", "1%", "5%"]),
        ("yes, no", ["yes", "no"]),
        ("[22:30 to 07:00], []", [["22:30 to 07:00"], []]),
        ("[a, b], [c]", [["a", "b"], ["c"]]),
        ("{every: 10 min, first: random}", [{"every": "10 min", "first": "random"}]),
        ("exponential 10 min, fixed 3 min", ["exponential 10 min", "fixed 3 min"]),
        ("2 min..6 min/2 min", ["2 min", "4 min", "6 min"]),
        ("2min..6min/2min", ["2 min", "4 min", "6 min"]),
        ("2 min .. 7 min / 2 min", ["2 min", "4 min", "6 min"]),
        ("90 s..2 min/30 s", ["90 s", "2 min"]),
        ("1 h..3 h/30 min", ["1 h", "90 min", "2 h", "150 min", "3 h"]),
        ("1 h 30 min..2 h 30 min/30 min", ["90 min", "2 h", "150 min"]),
        ("200 min..210 min/5 min", ["200 min", "3 h 25 min", "3 h 30 min"]),
        ("1 day..1 week/3 days", ["1 day", "4 days", "7 days"]),
        ("1 min..8 min*2", ["1 min", "2 min", "4 min", "8 min"]),
        ("1..10*1.5", ["1", "1.5", "2.25", "3.375", "5.0625", "7.59375"]),
        ("0%..20%/10%", ["0%", "10%", "20%"]),
        ("1 per day..2 per day/0.5 per day", ["1 per day", "1.5 per day", "2 per day"]),
        ("never, 1 h..2 h/1 h", ["never", "1 h", "2 h"]),
        ("exponential {10 min..30 min/10 min}",
         ["exponential 10 min", "exponential 20 min", "exponential 30 min"]),
        ("weibull shape {1..2/0.5} scale 25 min", [
            *(f"weibull shape {shape} scale 25 min" for shape in ("1", "1.5", "2"))]),
    ],
)  # fmt: skip
def test_values_are_written_as_in_a_file(text, meant):
    assert values(text) == meant


def test_values_of_python_are_those_of_a_file():
    assert values([1, 2.5, "3"]) == ["1", "2.5", "3"]
    assert values((True, False)) == ["yes", "no"]
    assert values(range(3)) == ["0", "1", "2"]
    assert values(5) == ["5"]
    assert values([[1, 2], {"a": None}]) == [["1", "2"], {"a": ""}]
    assert values(["1..3/1", "9"]) == ["1", "2", "3", "9"]


TENTHS = st.integers(0, 10**6).map(lambda n: Fraction(n, 10))


@given(TENTHS, TENTHS.filter(bool), st.integers(1, 50), st.sampled_from(["", "%", " per day"]))
def test_a_range_of_steps_reads_back_as_low_and_so_many_steps(low, step, steps, unit):
    low, step = low % 100 if unit == "%" else low, step / 1000 if unit == "%" else step
    ends = [f"{float(x):.4f}{unit}" for x in (low, low + steps * step, step)]
    found = values("{}..{}/{}".format(*ends))
    assert len(found) == steps + 1
    read = [Fraction(text.removesuffix(unit)) if unit else Fraction(text) for text in found]
    assert read == [low + i * step for i in range(steps + 1)]


@given(st.integers(1, 10**7), st.integers(1, 10**6), st.integers(1, 50))
def test_a_range_of_times_reads_back_as_low_and_so_many_steps(low, step, steps):
    found = values(f"{low} s..{low + steps * step} s/{step} s")
    assert [duration(text) for text in found] == [low + i * step for i in range(steps + 1)]


@given(st.integers(1, 1000), st.integers(2, 9), st.integers(1, 8))
def test_a_range_of_factors_reads_back_as_low_and_so_many_factors(low, factor, steps):
    found = values(f"{low} s..{low * factor**steps} s*{factor}")
    assert [seconds(text) for text in found] == [low * factor**i for i in range(steps + 1)]


@given(st.integers(0, 10**6), st.integers(1, 10**6), st.booleans())
def test_a_range_to_sample_reads_back_as_itself(low, more, is_text):
    said = f"{low} s..{low + more} s"
    axis = Axis.read("a", f"exponential {{{said}}}" if is_text else said)
    assert axis.values == ()
    assert Axis.read("a", axis.as_data()) == axis


# Samples


@pytest.mark.parametrize(
    ("text", "shares", "chosen"),
    [
        ("5%..20%", (0, 0.5, 1), ["5%", "12.5%", "20%"]),
        ("log 1..100", (0, 0.5, 1), ["1", "10", "100"]),
        ("log 1 min..64 min", (0, 0.5, 1), ["60 s", "8 min", "64 min"]),
        ("0 s..100 s", (0.123, 0.126), ["12 s", "13 s"]),
        ("0..1", (1 / 3,), ["0.333333"]),
        ("1 per day..3 per day", (0.25,), ["1.5 per day"]),
        ("fixed {1 min..3 min}", (0.5,), ["fixed 2 min"]),
        ("a,b,c", (0, 0.33, 0.34, 0.66, 0.67, 1), ["a", "a", "b", "b", "c", "c"]),
    ],
)
def test_a_sample_takes_the_value_a_share_of_the_way(text, shares, chosen):
    axis = Axis.read("a", text)
    found = [axis.at(share) for share in shares]
    assert found == [("1 min" if x == "60 s" else x) for x in chosen]


@given(st.floats(0, 1))
def test_chances_of_a_sample_are_in_the_range(share):
    assert 0.05 <= chance(Axis.read("a", "5%..20%").at(share)) <= 0.2


@pytest.mark.parametrize(
    ("text", "low", "high", "odds"),
    [
        ("2..5", 2, 5, [1 / 4] * 4),
        ("0..1", 0, 1, [1 / 2] * 2),
        # as many from each doubling: from 1 to 2 as from 2 to 4
        ("log 1..3", 1, 3, [log2(2) / 2, log2(3 / 2) / 2, log2(4 / 3) / 2]),
    ],
)
def test_each_whole_number_of_a_sample_has_its_share_also_at_the_ends(text, low, high, odds):
    axis = Axis.read("a", text)
    whole = replace(axis, range=replace(axis.range, whole=True))
    n = 4_800
    found = Counter(whole.at((i + 0.5) / n) for i in range(n))
    assert [*found] == [str(x) for x in range(low, high + 1)]
    # points that are evenly apart hit each part of the way as often as it is long, to one or two
    assert [*found.values()] == pytest.approx([n * each for each in odds], abs=1.5)
    assert (whole.at(0), whole.at(1)) == (str(low), str(high))


# Numbers


@pytest.mark.parametrize(
    ("value", "number"),
    [
        ("90 min", 5400),
        ("1 h 30 min", 5400),
        ("PT1H30M", 5400),
        ("5%", 0.05),
        ("0.05", 0.05),
        ("1.5 per day", 1.5),
        ("never", None),
        ("-1", None),
        ("exponential 5 min", None),
        (["1"], None),
        ("9" * 5000, None),
    ],
)
def test_a_quantity_is_a_number_in_seconds_or_shares(value, number):
    assert number_of(value) == number


# What may be meant


@pytest.mark.parametrize(
    ("text", "meant"),
    [
        ("10min...30min", "10 min..30 min/10 min"),
        ("10..30min", "10 min..30 min/10 min"),
        ("10..30min/10min", "10 min..30 min/10 min"),
        ("10min..30min/10", "10 min..30 min/10 min"),
        ("10 min..30 min:5 min", "10 min..30 min/5 min"),
        ("10-30min", "10 min..30 min/10 min"),
        ("10min to 30min", "10 min..30 min/10 min"),
        ("10min..30min by 5", "10 min..30 min/5 min"),
        ("1\N{EN DASH}8 h x 2", "1 h..8 h*2"),
        ("5..20%", "5%..20%/5%"),
        ("0-20%", "0%..20%/10%"),
        ("1..3", "1..3/1"),
        ("2..5", "2..5/1.5"),
        ("1-2 per day", "1 per day..2 per day/1 per day"),
    ],
)
def test_a_range_written_otherwise_is_understood(text, meant):
    assert range_meant(text) == meant
    assert len(values(meant)) > 1
    assert range_meant(meant) is None


@pytest.mark.parametrize(
    "text", ["", "10 min", "30-10min", "-", "1..", "22:30 to 07:00", "a-b", "1 min-5%", "5..5"]
)
def test_what_means_no_range_is_taken_for_none(text):
    assert range_meant(text) is None


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("10..30min", "did you mean 10 min..30 min/10 min, or for a sample 10 min..30 min?"),
        ("10..30min/10", "did you mean 10 min..30 min/10 min?"),
        ("10..30min/5min, 1 h", "did you mean 10 min..30 min/5 min?"),
        ("1..5, 7", "did you mean 1..5/1, or for a sample 1..5?"),
    ],
)
def test_the_right_form_of_a_range_is_told(text, expected):
    assert refused(text) == expected


# Errors

LESS_TO_MORE = "expected a range from less to more, in one kind of unit"
OVER_0 = "expected a step above 0, in the unit of the range"
FACTOR = "expected a factor above 1, such as 1 min..64 min*2"


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("", A_RANGE),
        ([], A_RANGE),
        (None, A_RANGE),
        ({"a": 1}, A_RANGE),
        ("1..", A_RANGE),
        ("..5", A_RANGE),
        ("1..2..3", A_RANGE),
        ("-1..3/1", A_RANGE),
        ("1 fortnight..2 fortnight/1 fortnight", A_RANGE),
        ("5..1/1", LESS_TO_MORE),
        ("5..5/1", LESS_TO_MORE),
        ("1 min..5%/1 min", LESS_TO_MORE),
        ("1 min..5 min/1%", OVER_0),
        ("1..5/0", OVER_0),
        ("1..5*1", FACTOR),
        ("1 min..5 min*2 min", FACTOR),
        ("0..5*2", "expected a range from above 0, as it is multiplied"),
        ("log 0..5", "expected a range from above 0, as its logarithm is taken"),
        ("log 1..5, 7",
         "expected a step, such as 2 min..60 min/2 min, or a single range to sample"),
        ("1..200000/1", "expected at most 100000 values"),
        (["1..60000/1", "1..60000/1"], "expected at most 100000 values"),
        (f"0..{'9' * 400}/1", "expected at most 100 characters for a quantity"),
        (f"0 s..{'9' * 5000} s/1 s", "expected at most 100 characters for a quantity"),
        ("1 min 2 h..3 h/1 h",
         "expected each unit once, the largest first, such as 1 h 30 min"),
        ("a: b: c", "expected a value as in a file"),
        ("'a", "expected a value as in a file"),
        ([object()], "expected text, a number, yes or no, a list or a mapping"),
    ],
)  # fmt: skip
def test_values_that_mean_nothing_are_refused(text, expected):
    assert refused(text) == expected


def test_an_example_of_a_range_in_a_message_is_one():
    assert len(values("2 min..60 min/2 min")) == 30
    assert len(values("1 min..64 min*2")) == 7
    assert Axis.read("a", "5%..20%").range is not None


def test_0_needs_no_unit():
    assert Axis.read("x", "0..10%/5%").values == ("0%", "5%", "10%")
    assert Axis.read("x", "0..10%").range.at(0.5) == "5%"


@given(st.text(alphabet="a1,[]{} ", max_size=30))
def test_values_are_parted_by_the_commas_that_no_bracket_closes_after(text):
    # the same as a regular expression that looks ahead from each comma to the next bracket, in a
    # time that grows with the square of the text
    parts = [part.strip() for part in re.split(r",(?![^\[{]*[\]}])", text)]
    with patch.object(variation, "_yaml", side_effect=lambda part: part):
        assert variation._items(text) == parts


@pytest.mark.parametrize("text", ["a", "1 h", "2.5 %", "010", "a  b", "1e5", "yes"])
def test_a_bare_value_is_what_a_file_would_make_of_it(text):
    assert variation._BARE.fullmatch(text)
    assert read_text(f"value: {text}", "it").data == {"value": text}


def test_a_range_has_a_bounded_number_of_values():
    assert refused("1..200000/1") == "expected at most 100000 values"
    # whose numbers would have a million digits by and by
    assert refused("1..2*1.0000001") == "expected at most 1000 values"
    assert len(values("1..2*1.001")) == 694  # log 2 / log 1.001 and the first
