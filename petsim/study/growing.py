"""How many lives grew which way, from form to form."""

from __future__ import annotations

from petsim.study.batch import Batch
from petsim.study.requirements import next_form

Way = tuple[str, str]
"""A form, and one it can grow into."""


def grown(batch: Batch) -> dict[Way, int]:
    """Return how many lives grew each way that the model has, from form to form in their order."""
    ways: dict[Way, int] = {}
    for form, growing in batch.model.forms.items():
        nexts = list(dict.fromkeys(rule.form for rule in growing.grows_into))
        if not nexts:
            continue
        outgrew, came_next = next_form(form, nexts, batch.values)
        for place, after in enumerate(nexts):
            ways[form, after] = int((outgrew & (came_next == place)).sum())
    return ways
