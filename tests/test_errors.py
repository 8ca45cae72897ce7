"""What may have been meant by a wrong name."""

import pytest

from petsim.errors import SYNONYMS, near_miss


@pytest.mark.parametrize(
    ("name", "known", "meant"),
    [
        ("hungr", ("hunger", "mood"), "hunger"),
        ("sick", ("hunger", "ill"), "ill"),
        ("mins", ("s", "min", "h"), "min"),
        ("m", ("s", "min", "h"), "min"),
        ("hr", ("s", "min", "h"), "h"),
        ("Sick", ("hunger", "ill"), "ill"),
        # another word for what is not there means nothing
        ("sick", ("hunger", "mood"), None),
    ],
)
def test_a_wrong_name_means_the_nearest_or_another_word_for_it(name, known, meant):
    assert near_miss(name, known) == meant


def test_no_word_stands_for_two_names():
    words = [word for others in SYNONYMS.values() for word in others]
    assert len(words) == len({*words})
    assert not {*words} & SYNONYMS.keys()
