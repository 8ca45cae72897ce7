"""What colours and hatches mean, in all pictures: one colour is one thing.

The aim is blue, the other outcomes are a ramp from light to dark by how good they are in the order
of the model's forms, and deaths are darkest and hatched. No regime and no cell of a sweep has a
colour of these. Colour never alone carries meaning: each of these is labelled, too.
"""

from __future__ import annotations

import numpy as np
from matplotlib import colormaps
from matplotlib.colors import to_hex, to_rgb

from petsim.life.record import words
from petsim.spec.model import UNDECIDED, Model

AIM = "#0072b2"
AIM_MARKER = "o"
MISS = "#c8102e"
ASLEEP = "#d3deea"
DEATH = to_hex(colormaps["cividis"](0.0))
DEATH_HATCH = "xx"
POWER_OUT_HATCH = "////"
LEVEL = "#8a8a8a"
IN_VAIN = "#a9a9a9"
BANDS = ("#f7f7f7", "#dedede")
"""Forms before the outcome and after it, in turn."""
RAMP = "cividis_r"
"""From light, for what is good or little, to dark. Nunez, Anderton and Renslow (2018): its
lightness changes evenly, also for colour-blind eyes."""
_BEST, _WORST = 0.08, 0.8


def of_outcomes(model: Model, aim: str) -> dict[str, str]:
    """Return the colour of each outcome: forms, causes of death, and undecided."""
    others = [form for form in model.outcome_forms if form != aim]
    ramp = colormaps[RAMP](np.linspace(_BEST, _WORST, max(len(others), 2)))
    colours = dict(zip(others, map(to_hex, ramp), strict=False))
    deaths = dict.fromkeys(words(model)["outcome"], DEATH)
    return {**deaths, **colours, aim: AIM, UNDECIDED: BANDS[0]}


def ink_on(colour: str) -> str:
    """Return black or white, whichever is read better on a colour.

    Source: relative luminance as of ITU-R BT.709, and its threshold for a contrast that is equal
    with both, from the Web Content Accessibility Guidelines 2; from memory.
    """
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in to_rgb(colour)]
    return "#000000" if np.dot(linear, [0.2126, 0.7152, 0.0722]) > 0.179 else "#ffffff"
