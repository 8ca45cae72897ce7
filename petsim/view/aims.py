"""The words for what is aimed for: odds of a form or of one of several, or an expected worth."""

from __future__ import annotations

from typing import NamedTuple

from petsim.spec.document import plain_number
from petsim.study.aims import Aim


class Words(NamedTuple):
    """What is said of odds, or of a worth.

    are, do: the verbs. more, less, best, worst, as_good, as_bad: of two, and of several. by: whose
    intervals they have.
    """

    are: str
    do: str
    more: str
    less: str
    best: str
    worst: str
    as_good: str
    as_bad: str
    by: str


ODDS = Words(
    *("are", "do", "likelier", "less likely", "likeliest", "least likely"),
    *("just as likely", "just as unlikely", "Wilson's"),
)
WORTH = Words(
    "is", "does", "higher", "lower", "highest", "lowest", "just as high", "just as low", "Zou's"
)


def words(aim: Aim) -> Words:
    """Return the words for an aim."""
    return ODDS if aim.is_share else WORTH


def comes_to(aim: Aim, odds: str) -> str:
    """Return what care leads to: "beacon in 73 % (72 to 74) of lives"."""
    if aim.is_share:
        return f"{aim} in {odds} of lives"
    return f"an {aim.figure} of {odds} of full worth"


def title(aim: Aim) -> str:
    """Return what is estimated, at the beginning of a title: "Odds of beacon"."""
    return aim.figure[0].upper() + aim.figure[1:]


def upright(aim: Aim) -> str:
    """Return what is written beside an axis: what is estimated, and its unit below."""
    return f"{aim.figure}\n({aim.unit})"


def differ(aim: Aim, than: str) -> str:
    """Return the question of a picture of differences from those elsewhere; than: where."""
    those = "those" if aim.is_share else "that"
    return f"{words(aim).do.capitalize()} the {aim.figure} differ from {those}{than}?"


def of_full(aim: Aim) -> str:
    """Return what follows per cents in a sentence: nothing after odds."""
    return "" if aim.is_share else " of full worth"


def became(aim: Aim) -> str:
    """Return what no life did where none is worth anything."""
    return f"became {aim}" if aim.is_share else "was worth anything"


def worths(aim: Aim) -> str:
    """Return what each form is worth, in a sentence; nothing where it is odds that are told."""
    if aim.is_share:
        return ""
    each = ", ".join(f"{plain_number(worth)} as {form}" for form, worth in aim.worths.items())
    return f"A life is worth {each}, else 0."
