"""Where the cells of a sweep stand along its parameters, in which units, and their names."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from matplotlib import pyplot as plt
from matplotlib.axes import Axes
from matplotlib.axis import Axis
from matplotlib.ticker import NullLocator
from numpy.typing import NDArray

from petsim.spec.quantities import DAY
from petsim.spec.variation import number_of
from petsim.study.design import value_text
from petsim.study.results import Sweep
from petsim.view.plots.sheet import labelled_height, short, short_of
from petsim.view.text import counted

if TYPE_CHECKING:
    import pandas as pd

MOST_TICKS = 8
"""As close as so many fill an axis."""
MOST_CHARACTERS = 50
"""Of tick labels side by side."""
MOST_SLANTING = 6
"""Of long tick labels side by side, those that do not overlap when slanting."""
MOST_BESIDE = 34
"""Of tick labels side by side, where there are labels at the right too."""
UNITS = (("days", DAY, 3 * DAY), ("hours", 3_600, 3 * 3_600), ("minutes", 60, 120))
"""Units of time by the longest time shown from which they fit."""
LONG = {unit for unit, _, _ in UNITS}


class Scale(NamedTuple):
    """Where the values of a parameter stand along an axis.

    path: its name. label: that with its unit. texts: the values as written, in order. places:
    where they stand. ticks: what is written there. continuous: whether they are numbers.
    geometric: whether each is the same multiple of the one before, so that the axis is logarithmic.
    """

    path: str
    label: str
    texts: list[str]
    places: list[float]
    ticks: list[str]
    continuous: bool
    geometric: bool = False

    @property
    def roomy(self) -> bool:
        """Whether there is room for a text at each value."""
        span = self.even[-1] - self.even[0]
        return all(MOST_TICKS * (b - a) >= span for a, b in pairwise(self.even))

    @property
    def even(self) -> NDArray[np.float64]:
        """The places as they are spaced on paper."""
        return np.log(self.places) if self.geometric else np.array(self.places)

    @property
    def edges(self) -> NDArray[np.float64]:
        """Where cells around the places end: on paper halfway to the next."""
        even = self.even
        around = (0.5, 0.5) if len(even) == 1 else (np.diff(even)[0] / 2, np.diff(even)[-1] / 2)
        middle = (even[1:] + even[:-1]) / 2
        found = np.array([even[0] - around[0], *middle, even[-1] + around[1]])
        return np.exp(found) if self.geometric else found


def scale_of(sweep: Sweep, path: str) -> Scale:
    """The scale of a parameter, in a unit that fits its values, or of the regimes."""
    if path == "regime":
        return _listed(path, [candidate.name for candidate in sweep.design.regimes])
    [axis] = [axis for axis in sweep.design.axes if axis.path == path]
    texts = [value_text(value) for value in axis.values]
    numbers = [number_of(value) for value in axis.values]
    known = [x for x in numbers if x is not None]
    if len(known) < len(numbers):
        return _listed(path, texts)
    unit, factor = _unit(texts, max(known))
    rising = sorted(zip(known, texts, strict=True))
    places = [x / factor for x, _ in rising]
    geometric = is_geometric(places)
    ticks = [f"{place:.{3 if geometric else 6}g}" for place in places]
    if geometric and unit in LONG and places[0] < 0.1:
        unit, ticks = "", [_duration(x) for x, _ in rising]
    said = ", ".join(filter(None, (unit, "log scale" if geometric else "")))
    label = f"{path} ({said})" if said else path
    return Scale(path, label, [t for _, t in rising], places, ticks, True, geometric)


def _listed(path: str, texts: list[str]) -> Scale:
    """The scale of what are no numbers."""
    places = [float(i) for i in range(len(texts))]
    return Scale(path, path, texts, places, [short(text) for text in texts], continuous=False)


def is_geometric(places: Sequence[float]) -> bool:
    """Whether the ratio of neighbours stays the same, but for rounding, and the distance grows."""
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


def _unit(texts: Sequence[str], largest: float) -> tuple[str, float]:
    """The unit that values as written are shown in, and how much of the stored number it is."""
    if any(text.endswith("%") for text in texts):
        return "%", 0.01
    if any(text.endswith("per day") for text in texts):
        return "per\N{NO-BREAK SPACE}day", 1
    if not any(text[-1].isalpha() for text in texts):
        return "", 1
    for unit, seconds, least in UNITS:
        if largest >= least:
            return unit, seconds
    return "seconds", 1


def name_of_cell(sweep: Sweep, found: pd.DataFrame, cell: int, most: int) -> str:
    """What tells a cell from others: its regime, if there are several, and what varies.

    most: characters it has.
    """
    said = sweep.parameters(cell) | {"regime": str(found.at[cell, "regime"])}
    return short_of([said[path] for path in varied(sweep) or ["regime"]], most)


def varied(sweep: Sweep) -> list[str]:
    """What differs between cells: "regime", and paths of parameters."""
    several = ["regime"] if len(sweep.design.regimes) > 1 else []
    return several + [axis.path for axis in sweep.design.axes if axis.range or len(axis.values) > 1]


def brief(path: str, among: Sequence[str]) -> str:
    """The last steps of a path, as few as tell it from others."""
    steps = path.split(".")
    for first in reversed(range(len(steps))):
        name = ".".join(steps[first:])
        if not any(f".{other}".endswith(f".{name}") for other in among if other != path):
            return name
    return path


def lives_a_cell(frame: pd.DataFrame) -> str:
    """How many lives there are in each cell, which may be still running."""
    fewest, most = int(frame["lives"].min()), int(frame["lives"].max())
    lives = counted(most) if fewest == most else f"{fewest} to {most} lives"
    return f"{lives} in each of {counted(len(frame), 'cell')}"


def about(sweep: Sweep, found: pd.DataFrame) -> str:
    """What a sweep is of, and how many lives were lived."""
    design = sweep.design
    under = f" under {design.regimes[0].name}" if len(design.regimes) == 1 else ""
    model = Path(design.model[0]).stem
    return f"{model}{under}: {lives_a_cell(found)}, seed {design.seed}."


def put_ticks(ax: Axes, axis: Axis, scale: Scale) -> None:
    """Put a tick at each value, if there is room; slanting or upright below, if texts are long."""
    if scale.geometric:
        (ax.set_xscale if axis is ax.xaxis else ax.set_yscale)("log")
        axis.set_minor_locator(NullLocator())
        axis.set_ticks(scale.places, labels=_thinned(scale.ticks))
        return
    if scale.continuous:
        if scale.roomy:
            axis.set_ticks(scale.places, labels=scale.ticks)
        return
    axis.set_ticks(scale.places, labels=scale.ticks)
    if axis is ax.xaxis:
        ax.set_xlim(-0.5, len(scale.places) - 0.5)
        if _slants(scale):
            slope = 35 if len(scale.places) <= MOST_SLANTING else 90
            own = {"ha": "right", "va": "top" if slope == 35 else "center"}
            plt.setp(axis.get_ticklabels(), rotation=slope, rotation_mode="anchor", **own)


def _thinned(texts: Sequence[str]) -> list[str]:
    """Texts at even distances, some of them left out where there is no room for all."""
    each = -(-sum(len(text) + 2 for text in texts) // MOST_BESIDE)
    return [text if place % each == 0 else "" for place, text in enumerate(texts)]


def _slants(scale: Scale) -> bool:
    wide = sum(len(short(text)) + 2 for text in scale.texts)
    return not scale.continuous and wide > MOST_CHARACTERS


def height_of(across: Scale, labels: int = 0) -> float:
    """Inches of a picture over a scale: more, if its texts slant, or for many labels beside."""
    longest = max(len(short(text)) for text in across.texts)
    each = 0.07 if len(across.places) <= MOST_SLANTING else 0.11
    return labelled_height(labels) + (each * longest if _slants(across) else 0)
