"""How many lives grew which way, from form to form."""

from __future__ import annotations

import numpy as np

from petsim.study.batch import Batch

Way = tuple[str, str]
"""A form, and one it can grow into."""


def grown(batch: Batch) -> dict[Way, int]:
    """Return how many lives grew each way that the model has, from form to form in their order.

    A life that has grown out of a form took that of its next forms which it entered first, as a
    growth graph has no circles.
    """
    entered = {form: batch.values[f"entered_s.{form}"] for form in batch.model.forms}
    ways: dict[Way, int] = {}
    for form, growing in batch.model.forms.items():
        nexts = list(dict.fromkeys(rule.form for rule in growing.grows_into))
        if not nexts:
            continue
        times = np.array([entered[after] for after in nexts])
        took = np.where(times >= 0, times, np.iinfo(np.int64).max).argmin(axis=0)
        grew = (entered[form] >= 0) & (times >= 0).any(axis=0)
        for place, after in enumerate(nexts):
            ways[form, after] = int((grew & (took == place)).sum())
    return ways
