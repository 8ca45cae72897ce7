"""Times, chances and distributions as people say them."""

from __future__ import annotations

from petsim.spec.laws import Distribution
from petsim.spec.quantities import chance_text, duration_text


def law(distribution: Distribution) -> str:
    """Return a distribution of times in words: its ends or, if it has none, where its middle is."""
    family, _, words = str(distribution).partition(" ")
    if distribution.bounds()[1] is not None:
        return words.replace(" around ", ", around ")
    if family == "exponential":
        return f"{words} on average"
    return f"about {rounded(distribution.quantile(0.5))} (half the time less)"


def rounded(seconds: float) -> str:
    """Return a time in whole seconds, minutes from ten on, or hours from four days on."""
    unit = 3600 if seconds >= 4 * 86_400 else 60 if seconds >= 600 else 1
    return duration_text(max(1, round(seconds / unit)) * unit)


def chance(probability: float) -> str:
    """Return a chance in per cent."""
    return chance_text(probability).replace("%", " %")
