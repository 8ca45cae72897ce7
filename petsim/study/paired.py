"""The same lives under two kinds of care: how many reached what is asked for under which."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

Reached = Mapping[int, NDArray[np.bool_]]
"""Whether each life reached what is asked for, by the number of the first life of each chunk."""


def paired_table(ours: Reached, theirs: Reached) -> tuple[int, int, int, int]:
    """Return how many lives reached it under both, under ours only, theirs only, and neither.

    Only lives that were simulated under both count: all are 0 if there are none.
    """
    table = np.zeros(4, dtype=np.int64)
    for first in ours.keys() & theirs.keys():
        # of the last chunk, one may have more lives while a sweep gets more of them
        lives = min(len(ours[first]), len(theirs[first]))
        own, other = ours[first][:lives], theirs[first][:lives]
        table += np.bincount(3 - 2 * own - other, minlength=4)
    both, ours_only, theirs_only, neither = table.tolist()
    return both, ours_only, theirs_only, neither
