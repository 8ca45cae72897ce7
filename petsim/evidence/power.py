"""How long a rig's power lasts, and how long it is out, from the runs of its log."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

from petsim.evidence.censored import Known
from petsim.evidence.durations import DOUBT_BEFORE, Durations
from petsim.evidence.estimate import Estimate, refused, verdict_of
from petsim.evidence.means import mean_of
from petsim.life.log.entries import LoggedLife
from petsim.spec.laws import Distribution
from petsim.spec.regime import Regime

LEAST = 3
"""Power cuts below which nothing is told of them."""
LATEST = 60.0
"""Seconds within which a rig that has written a line writes the next, or its power is cut."""
RECORD = "record months of the rig's own uptime; no pet needed"


def outage_estimates(lives: Sequence[LoggedLife], regime: Regime) -> list[Estimate]:
    """Return what logs tell of a regime's `outages`; nothing if there are none in either.

    A run that was stopped on purpose, or in which the log ends, was to last longer, and a time for
    which a rig was stopped on purpose is no outage. The first run of a log that begins later counts
    from there on, which is right for an exponential law.
    """
    ups = [up for life in lives for up in _ups(life)]
    downs = [down for life in lives for down in _downs(life)]
    if regime.outages is not None:
        laws = regime.outages
        return [*_of("outages.up", laws.up, ups), *_of("outages.down", laws.down, downs)]
    cuts = _ended(ups)
    if not cuts:
        return []
    why = f"the regime has no `outages`, and the power was cut in these logs ({cuts} times)"
    add = "nothing more, but write `outages` into the regime"
    return [
        refused(path, "regime", "mean", why=why, record=add, n=cuts)
        for path in ("outages.up", "outages.down")
    ]


def exponential_mean(total: float, ended: int, level: float = 0.95) -> tuple[float, float]:
    """Return the interval of the mean of exponential times, of which some ended in a total time.

    It is exact where one looks for a given time: the number of those that end is then a Poisson
    one.

    Source: Epstein and Sobel (1953), "Life testing", Journal of the American Statistical
    Association 48:486-502, for the chi-square law; from memory.

    Args:
        total: all the time together, of those that did not end too.
        ended: how many did, at least 1.
        level: the confidence level.
    """
    from scipy.special import chdtri

    tail = (1 - level) / 2
    low, high = chdtri(2 * ended + 2, tail), chdtri(2 * ended, 1 - tail)
    return 2 * total / float(low), 2 * total / float(high)


def _ups(life: LoggedLife) -> list[Known]:
    """The times that the power lasted."""
    return [
        Known(run.until - run.since, math.inf)
        if run.is_clean
        else Known(run.until - run.since, run.until - run.since + LATEST)
        for run in life.runs
    ]


def _downs(life: LoggedLife) -> list[Known]:
    """The times that it was out."""
    return [
        Known(max(0.0, after.since - run.until - LATEST), after.since - run.until)
        for run, after in pairwise(life.runs)
        if not run.is_clean
    ]


def _of(path: str, guess: Distribution, known: list[Known]) -> list[Estimate]:
    n = _ended(known)
    if n < LEAST:
        why = f"the logs show {n} of them; {LEAST} are the fewest that tell anything"
        return [refused(path, "regime", "mean", guess=mean_of(guess), record=RECORD, why=why, n=n)]
    if path == "outages.up" and guess.kind == "exponential":
        return [_exponential(path, guess, known)]
    of_it = Durations(tuple(known), path, "regime", guess, RECORD, "outage", "outages")
    return of_it.estimates()


def _exponential(path: str, guess: Distribution, known: list[Known]) -> Estimate:
    """The mean of an exponential law: all the time there was power, for each time it was cut."""
    n = _ended(known)
    total = sum(low if math.isinf(high) else (low + high) / 2 for low, high, _ in known)
    low, high = exponential_mean(total, n)
    shrink = 1 / math.sqrt(n) / DOUBT_BEFORE["mean"]
    verdict = verdict_of(shrink, "mean", low, high)
    record = "" if verdict == "well" else RECORD
    return Estimate(
        path, "regime", "mean", total / n, low, high, verdict, mean_of(guess), record, "", n, shrink
    )


def _ended(known: Sequence[Known]) -> int:
    return sum(math.isfinite(each.high) for each in known)
