"""The axes of a sweep's parameters: where its cells stand, in which units, with which names."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from matplotlib import pyplot as plt
from matplotlib.axes import Axes
from matplotlib.axis import Axis
from matplotlib.ticker import MaxNLocator, NullLocator
from numpy.typing import NDArray

from petsim.errors import ArgumentError
from petsim.spec.quantities import DAY
from petsim.spec.variation import number_of
from petsim.study.design import value_text
from petsim.study.results import Sweep
from petsim.study.stats import Interval
from petsim.view.plots.sheet import short
from petsim.view.progress import so_far
from petsim.view.tables import counted

if TYPE_CHECKING:
    import pandas as pd

MOST_TICKS = 8
"""Ticks that fill an axis at even distances."""
MOST_CHARACTERS = 50
"""Characters of tick labels side by side, until they slant."""
MOST_SLANTING = 6
"""Long tick labels side by side that do not overlap when slanting."""
MOST_BESIDE = 34
"""Characters of tick labels side by side, where there are labels at the right too."""
UNITS = (("days", DAY, 3 * DAY), ("hours", 3_600, 3 * 3_600), ("minutes", 60, 120))
"""Units of time by the longest time shown from which they fit."""
IN_HOURS = re.compile(r"[0-9.]+ ?h|0")
NAMED_UNITS = {unit for unit, _, _ in UNITS}


class Scale(NamedTuple):
    """Where the values of a parameter stand along an axis.

    path: its name. label: the name with the unit. texts: the values as written, in order. places:
    where they stand. ticks: the texts that are written there. continuous: whether they are numbers.
    geometric: whether each is the same multiple of the one before, so that the axis is logarithmic.
    unit: that of the places.
    """

    path: str
    label: str
    texts: list[str]
    places: list[float]
    ticks: list[str]
    continuous: bool
    geometric: bool = False
    unit: str = ""

    @property
    def roomy(self) -> bool:
        """Whether there is room for a text at each value."""
        span = self.even[-1] - self.even[0]
        return all(MOST_TICKS * (b - a) >= span for a, b in pairwise(self.even))

    @property
    def even(self) -> NDArray[np.float64]:
        """The places as they are spaced on paper."""
        return np.log(self.places) if self.geometric else np.array(self.places)


def ensure_grid(sweep: Sweep) -> None:
    """Raise ArgumentError for a sample, and for a grid in which nothing is simulated yet."""
    if sweep.design.sample is not None:
        raise ArgumentError(
            f"{sweep.path}: is a sample, whose points lie on no line; draw scatter, or sweep a grid"
        )
    sweep.ensure_begun()


def scale_of(sweep: Sweep, path: str) -> Scale:
    """The scale of a parameter, in a unit that fits its values, or of the regimes."""
    if path == "regime":
        return _listed(path, [candidate.name for candidate in sweep.design.regimes])
    [axis] = [axis for axis in sweep.design.axes if axis.path == path]
    texts = [value_text(value) for value in axis.values]
    common, bare, numbers = numbers_in(texts)
    if not numbers:
        return _listed(path, texts)
    unit, factor = unit_of(bare, max(numbers))
    rising = sorted(zip(numbers, texts, strict=True))
    places = [x / factor for x, _ in rising]
    geometric = is_geometric(places)
    ticks = [f"{place:.{3 if geometric else 6}g}" for place in places]
    shown = unit
    if geometric and unit in NAMED_UNITS and places[0] < 0.1:
        shown, ticks = "", [_duration(x) for x, _ in rising]
    in_units = ", ".join(filter(None, (common, shown, "log scale" if geometric else "")))
    label = f"{path} ({in_units})" if in_units else path
    return Scale(path, label, [t for _, t in rising], places, ticks, True, geometric, unit)


def numbers_in(texts: Sequence[str]) -> tuple[str, list[str], list[float]]:
    """The words that all texts begin with, the texts without them, and the numbers that these are.

    If one of them is no number, there are no numbers.
    """
    common, bare = common_words(texts)
    numbers = [x for x in map(number_of, bare) if x is not None]
    return common, bare, numbers if len(numbers) == len(texts) else []


def common_words(texts: Sequence[str]) -> tuple[str, list[str]]:
    """The words that all of some texts begin with, and the texts without them.

    So laws of one kind differ by their numbers alone. Of a single text no words are common.
    """
    if len(texts) < 2:
        return "", [*texts]
    words = [text.split() for text in texts]
    same = 0
    while all(len(each) > same + 1 and each[: same + 1] == words[0][: same + 1] for each in words):
        same += 1
    return " ".join(words[0][:same]), [" ".join(each[same:]) for each in words]


def unlike(texts: Sequence[str]) -> list[str]:
    """Texts without the words that all of them begin with."""
    return common_words(texts)[1]


def _listed(path: str, texts: list[str]) -> Scale:
    """The scale of values that are not numbers, side by side."""
    places = [float(i) for i in range(len(texts))]
    return Scale(path, path, texts, places, [short(text) for text in texts], continuous=False)


def is_geometric(places: Sequence[float]) -> bool:
    """Whether the ratio of neighbours is the same throughout, and their distance grows."""
    if len(places) < 3 or places[0] <= 0:
        return False
    ratios = [b / a for a, b in pairwise(places)]
    distances = [b - a for a, b in pairwise(places)]
    return max(ratios) < 1.01 * min(ratios) and max(distances) > 1.01 * min(distances)


def _duration(seconds: float) -> str:
    """A time in a unit of its own."""
    for unit, size in (("d", DAY), ("h", 3_600), ("min", 60)):
        if seconds >= size:
            return f"{seconds / size:.3g} {unit}"
    return f"{seconds:.3g} s"


def unit_of(texts: Sequence[str], largest: float) -> tuple[str, float]:
    """The unit in which values, as written, are shown, and its size in the stored unit.

    Times of hours alone are shown in hours, even if that makes many, as people write them so; other
    times in what fits the longest.
    """
    if any(text.endswith("%") for text in texts):
        return "%", 0.01
    if any(text.endswith("per day") for text in texts):
        return "per\N{NO-BREAK SPACE}day", 1
    if not any(text[-1].isalpha() for text in texts):
        return "", 1
    if all(IN_HOURS.fullmatch(text) for text in texts):
        return "hours", 3_600
    for unit, seconds, least in UNITS:
        if largest >= least:
            return unit, seconds
    return "seconds", 1


def varied(sweep: Sweep) -> list[str]:
    """The paths of parameters that differ between cells; "regime" first, if there are several."""
    several = ["regime"] if len(sweep.design.regimes) > 1 else []
    return several + [axis.path for axis in sweep.design.axes if axis.range or len(axis.values) > 1]


def lives_a_cell(frame: pd.DataFrame) -> str:
    """The number of lives in each cell, in words; it differs while a sweep is running."""
    fewest, most = int(frame["lives"].min()), int(frame["lives"].max())
    lives = counted(most) if fewest == most else f"{fewest} to {most} lives"
    return f"{lives} in each of {counted(len(frame), 'cell')}"


def about(sweep: Sweep, frame: pd.DataFrame) -> str:
    """Sentences on how far an unfinished sweep is, and on model, regime, lives, and the seed."""
    design = sweep.design
    under = f" under {design.regimes[0].name}" if len(design.regimes) == 1 else ""
    model = Path(design.model[0]).stem
    facts = f"{model}{under}: {lives_a_cell(frame)}, seed {design.seed}."
    return f"{so_far(sweep)} {facts}".lstrip()


def percent_limits(ax: Axes, intervals: Sequence[Interval]) -> None:
    """Have the upright axis show intervals in per cent, to whole tens and a little beyond."""
    low = 10 * math.floor(10 * min(i.low for i in intervals))
    high = 10 * math.ceil(10 * max(i.high for i in intervals))
    ax.set_ylim(low - 0.03 * (high - low), high + 0.03 * (high - low))
    ax.yaxis.set_major_locator(MaxNLocator(5, integer=True, steps=[1, 2, 2.5, 5, 10]))


def put_ticks(ax: Axes, axis: Axis, scale: Scale, room: int = MOST_CHARACTERS) -> None:
    """Put a tick at each value, if there is room; slanting or upright below, if texts are long.

    room: the characters that fit side by side.
    """
    if scale.geometric:
        (ax.set_xscale if axis is ax.xaxis else ax.set_yscale)("log")
        axis.set_minor_locator(NullLocator())
        axis.set_ticks(scale.places, labels=thinned_ticks(scale.ticks, min(room, MOST_BESIDE)))
        return
    if scale.continuous:
        if scale.roomy and sum(len(tick) + 2 for tick in scale.ticks) <= room:
            axis.set_ticks(scale.places, labels=scale.ticks)
        else:
            axis.set_major_locator(MaxNLocator(max(2, min(6, room // 6)), steps=[1, 2, 5, 10]))
        return
    axis.set_ticks(scale.places, labels=scale.ticks)
    if axis is ax.xaxis:
        ax.set_xlim(-0.5, len(scale.places) - 0.5)
        if _slants(scale, room):
            is_steep = len(scale.places) > MOST_SLANTING or room < MOST_CHARACTERS
            slope, va = (90, "center") if is_steep else (35, "top")
            plt.setp(
                axis.get_ticklabels(), rotation=slope, rotation_mode="anchor", ha="right", va=va
            )


def thinned_ticks(texts: Sequence[str], room: int = MOST_BESIDE) -> list[str]:
    """Texts, of which some are left out at even distances where there is no room for all."""
    each = -(-sum(len(text) + 2 for text in texts) // room)
    return [text if place % each == 0 else "" for place, text in enumerate(texts)]


def _slants(scale: Scale, room: int) -> bool:
    """Whether texts are too long to stand side by side."""
    wide = sum(len(tick) + 2 for tick in scale.ticks)
    return not scale.continuous and wide > room


def height_below(scale: Scale, room: int = MOST_CHARACTERS) -> float:
    """The height, in inches, that texts below an axis take beyond that of a line."""
    if not _slants(scale, room):
        return 0
    is_steep = len(scale.places) > MOST_SLANTING or room < MOST_CHARACTERS
    return (0.11 if is_steep else 0.07) * max(map(len, scale.ticks))
