"""The same lives under two kinds of care: what each came to, and how many did under which."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

Values = Mapping[int, NDArray[np.float64]]
"""What each life is worth, by the number of the first life of each chunk."""


def common(ours: Values, theirs: Values) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return what the lives are worth that were simulated under both, under either; maybe none."""
    pairs = [(np.empty(0), np.empty(0))]
    for first in sorted(ours.keys() & theirs.keys()):
        # of the last chunk, one may have more lives while a sweep gets more of them
        lives = min(len(ours[first]), len(theirs[first]))
        pairs.append((ours[first][:lives], theirs[first][:lives]))
    own, others = map(np.concatenate, zip(*pairs, strict=True))
    return own, others


def paired_table(ours: NDArray[np.bool_], theirs: NDArray[np.bool_]) -> tuple[int, int, int, int]:
    """Return of how many lives it holds under both, under ours only, theirs only, and neither."""
    both, ours_only, theirs_only, neither = np.bincount(3 - 2 * ours - theirs, minlength=4).tolist()
    return both, ours_only, theirs_only, neither
