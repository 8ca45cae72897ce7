"""The list of slow tests: what makes a test slow, and that it names tests that there are."""

import re
from pathlib import Path

import pytest

from tests import slow

TESTS = Path(__file__).parent


def test_a_test_is_slow_by_its_cases():
    seconds = {
        "a.py::one": [slow.LIMIT * 2],
        "a.py::of_many_one": [slow.LIMIT * 2, *[0.0] * 9],
        "a.py::many": [slow.LIMIT * 0.9] * 100,
    }
    assert slow.slow_of(seconds) == ["a.py::many", "a.py::one"]


def test_cases_of_a_test_are_one_test():
    assert slow.function_of("tests/a.py::TestB::test_c[d::e-[f]]") == "tests/a.py::TestB::test_c"


def test_each_test_is_in_one_share_with_all_its_cases():
    shares = [{test for test in slow.listed() if slow.is_in_share(test, k, 8)} for k in range(1, 9)]
    assert sum(map(len, shares)) == len(set.union(*shares)) == len(slow.listed())
    assert min(map(len, shares)) > len(slow.listed()) / 16
    assert [slow.is_in_share(f"a.py::b[{case}]", 1, 2) for case in range(9)] in (
        [True] * 9,
        [False] * 9,
    )


def test_a_share_that_is_none_is_refused():
    assert slow.share("8/8") == (8, 8)
    for text in ("9/8", "0/8", "3", "a/b"):
        with pytest.raises(ValueError):
            slow.share(text)


def test_all_that_are_listed_are_tests():
    assert slow.listed()
    for test in slow.listed():
        file, *_, function = test.split("::")
        text = (TESTS.parent / file).read_text(encoding="utf-8")
        assert re.search(rf"(?m)^ *def {function}\(|^{function} = ", text), test
