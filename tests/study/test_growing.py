"""How many lives grew which way is what their own rows say."""

from collections import Counter
from itertools import pairwise

import petsim
from petsim.study.growing import grown


def test_ways_are_those_of_each_life():
    batch = petsim.batch("lamplet", "hourly", lives=60, until="death", workers=1)
    expected = Counter()
    for row in batch.lives.to_dict("records"):
        entered = {form: row[f"entered_s.{form}"] for form in batch.model.forms}
        taken = sorted((t, form) for form, t in entered.items() if t >= 0)
        expected.update((a, b) for (_, a), (_, b) in pairwise(taken))
    ways = grown(batch)
    assert {way: number for way, number in ways.items() if number} == expected
    possible = {(form, rule.form) for form, f in batch.model.forms.items() for rule in f.grows_into}
    assert set(ways) == possible
    assert len({way[1] for way in expected}) > 4
