"""What colours mean, in all pictures alike; each is told in grey, by shape or by words too.

The aim is blue, and so are its odds on a map, and lines that are told apart, from pale to dark;
other forms that count too are a paler blue. The other outcomes are a ramp from light to dark,
deaths darkest and hatched, care misses red. No regime has a colour of its own, as it is told by its
place and its name.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from matplotlib import colormaps
from matplotlib.colors import LinearSegmentedColormap, to_hex, to_rgb
from numpy.typing import ArrayLike, NDArray

from petsim.life.record import words
from petsim.spec.model import UNDECIDED, Model

AIM, AIM_MARKER = "#0072B2", "o"
"""The first colour of the cycle."""
MISS = "#c4161c"
PALE, DARK = "#fefefe", "#010101"
"""What is written or drawn on colours: as good as white and black, which turn on a dark page."""
EVEN = 0.179
"""The luminance on which both stand out alike, 4.5 to 1."""
OTHER = "#d9d9d9"
"""What is neither the aim nor better or worse than anything."""
ASLEEP = "#d3deea"
"""When the pet sleeps."""
SURROUNDINGS = {"power out": "////", "bad light": "...."}
"""The hatches of what is wrong with a caretaker's surroundings."""
LEVEL, IN_VAIN = "#8a8a8a", "#a9a9a9"
"""What is there, such as how full a need is; what was in vain, or only may be."""
BANDS = ("#f7f7f7", "#dedede")
"""Forms that are no outcome, in turn."""
BEST = "#bbd7ea"
"""What can't be told from the likeliest."""
HATCHES = ("///", "\\\\\\", "xxx", "...", "|||")

RAMP = (0.95, 0.3)
DEATHS = (0.12, 0.0)
"""Parts of cividis, whose lightness rises evenly: Nunez, Anderton and Renslow (2018)."""
MISSES = LinearSegmentedColormap.from_list("misses", ["#fdeae6", "#f4a08c", MISS, "#6d0a10"])
"""From few care misses to many."""

ODDS = LinearSegmentedColormap.from_list(
    "odds", [(0, "#eaf3fa"), (0.55, AIM), (1, "#0a1f3c")], N=256
)
"""From odds of none to odds of all: the darker, the likelier, by about as much everywhere."""
LINES = LinearSegmentedColormap.from_list("lines", ["#79b8e4", AIM, "#0b4170"])
"""From the first of several lines to the last; seen on white paper and on dark."""


class Look(NamedTuple):
    """How an outcome is filled, and the colour of what is written on it."""

    colour: str
    hatch: str
    ink: str


def of_outcomes(model: Model, *aimed: str) -> dict[str, Look]:
    """Return the look of each outcome: forms aimed for, others in the model's order, then deaths.

    Of several forms aimed for the first has the colour of the aim, the others paler ones.
    """
    others = [form for form in model.outcome_forms if form not in aimed]
    deaths = [outcome for outcome in words(model)["outcome"] if outcome in model.deaths]
    blues = [to_hex(LINES(x)) for x in np.linspace(0.5, 0, len(aimed))]
    looks = dict(zip(aimed, map(_filled, [AIM, *blues[1:]]), strict=True))
    looks |= zip(others, map(_filled, _along_cividis(*RAMP, len(others))), strict=True)
    shades = _along_cividis(*DEATHS, len(deaths))
    for place, (death, shade) in enumerate(zip(deaths, shades, strict=True)):
        looks[death] = _filled(shade, HATCHES[place % len(HATCHES)])
    return {**looks, UNDECIDED: _filled(OTHER)}


def _along_cividis(first: float, last: float, number: int) -> list[str]:
    return [to_hex(colormaps["cividis"](x)) for x in np.linspace(first, last, number)]


def _filled(colour: str, hatch: str = "") -> Look:
    return Look(colour, hatch, ink_on(colour))


def shades(number: int) -> list[str]:
    """Return the colours of lines, from pale to dark; of a single one, that of the aim."""
    return [AIM] if number == 1 else [to_hex(LINES(x)) for x in np.linspace(0, 1, number)]


def ink_on(colour: str) -> str:
    """Return which of PALE and DARK stands out more on a colour.

    Source of the lightness: relative luminance, WCAG 2.1.
    """
    return PALE if luminance(to_rgb(colour)) < EVEN else DARK


def luminance(rgb: ArrayLike) -> NDArray[np.float64]:
    """Return the relative luminance, 0..1, of colours whose last axis is red, green and blue."""
    channels = np.asarray(rgb, dtype=np.float64)
    linear = np.where(channels <= 0.04045, channels / 12.92, ((channels + 0.055) / 1.055) ** 2.4)
    return np.asarray(linear @ np.array([0.2126, 0.7152, 0.0722]))
