"""The random worlds that are kept are those that the strategies draw now."""

from tests.drawn import digest, kept, random_rigs, random_takeovers, random_worlds


def test_the_kept_worlds_were_drawn_by_these_strategies():
    assert kept()["drawn by"] == digest(), "draw them anew: python -m tests.drawn"


def test_there_are_as_many_as_tests_ask_for():
    assert [len(each()) for each in (random_worlds, random_rigs, random_takeovers)] == [
        300,
        200,
        150,
    ]
