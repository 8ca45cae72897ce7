"""A search for a life with an outcome, in words."""

from __future__ import annotations

from petsim.study.search import Search
from petsim.view.numbers import percent
from petsim.view.tables import counted


def searched(search: Search) -> str:
    """Return which life has the outcome first or, if none has, how likely it is at most."""
    lives = counted(search.lives)
    if search.number is not None:
        return f"{search.outcome}: life {search.number} is the first, of {lives} looked at"
    bound = percent(search.bound, search.bound)
    return (
        f"{search.outcome}: none of {lives}; its odds are at most {bound} %, the exact one-sided "
        "95 % bound. To look at more: --lives"
    )
