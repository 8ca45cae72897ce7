"""What colours mean, in all pictures alike; each is told in grey, by shape or by words too.

The aim is blue. Odds of it on a map, and lines that are told apart, are shades of this blue.
"""

from __future__ import annotations

import numpy as np
from matplotlib.colors import LinearSegmentedColormap, to_hex, to_rgb
from numpy.typing import ArrayLike, NDArray

AIM, AIM_MARKER = "#0072B2", "o"
"""The first colour of the cycle."""
PALE, DARK = "#fafafa", "#111111"
"""What is written or drawn on colours, which are the same on a dark page."""
ODDS = LinearSegmentedColormap.from_list(
    "odds", [(0, "#eaf3fa"), (0.55, AIM), (1, "#0a1f3c")], N=256
)
"""From odds of none to odds of all: the darker, the likelier, by about as much everywhere."""
LINES = LinearSegmentedColormap.from_list("lines", ["#79b8e4", AIM, "#0b4170"])
"""From the first of several lines to the last; seen on white paper and on dark."""


def shades(number: int) -> list[str]:
    """Return the colours of lines, from pale to dark; of a single one, that of the aim."""
    return [AIM] if number == 1 else [to_hex(LINES(x)) for x in np.linspace(0, 1, number)]


def ink_on(colour: str) -> str:
    """Return which of PALE and DARK stands out more on a colour.

    Source of the lightness: relative luminance, WCAG 2.1.
    """
    return PALE if luminance(to_rgb(colour)) < 0.18 else DARK


def luminance(rgb: ArrayLike) -> NDArray[np.float64]:
    """Return the relative luminance, 0..1, of colours whose last axis is red, green and blue."""
    channels = np.asarray(rgb, dtype=np.float64)
    linear = np.where(channels <= 0.04045, channels / 12.92, ((channels + 0.055) / 1.055) ** 2.4)
    return np.asarray(linear @ np.array([0.2126, 0.7152, 0.0722]))
