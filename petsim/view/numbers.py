"""How an estimate is said: few digits, and its uncertainty beside it.

Two digits of the uncertainty are shown, and the estimate as far as these reach.
"""

from __future__ import annotations

import math

from petsim.study.stats import Interval


def share(interval: Interval) -> str:
    """Return a share, 0..1, in per cent with its interval; if none or all, with a bound."""
    half = (interval.high - interval.low) / 2
    value, low, high = (percent(x, half) for x in interval)
    if interval.estimate == 0:
        return f"0 % (at most {percent(interval.high, interval.high)})"
    if interval.estimate == 1:
        return f"100 % (at least {percent(interval.low, 1 - interval.low)})"
    return f"{value} % ({low} to {high})"


def per_cent(interval: Interval) -> str:
    """Return a share, 0..1, in per cent, as far as its interval lets; of none or all, a bound."""
    if interval.estimate == 0:
        return f"at most {percent(interval.high, interval.high)} %"
    if interval.estimate == 1:
        return f"at least {percent(interval.low, 1 - interval.low)} %"
    return f"{percent(interval.estimate, (interval.high - interval.low) / 2)} %"


def rounded(interval: Interval, digits: int = 0) -> str:
    """Return a share, 0..1, in per cent with its interval, all to some decimals."""
    value, low, high = (f"{100 * x:.{digits}f}" for x in interval)
    return f"{value} % ({low} to {high})"


def ratio(interval: Interval) -> str:
    """Return a ratio, 0..1, in per cent with the half-width of its interval, if that is known."""
    half = 100 * (interval.high - interval.estimate)
    if not half > 0:
        return f"{100 * interval.estimate:.0f} %"
    digits = decimals(half)
    return f"{100 * interval.estimate:.{digits}f} ± {half:.{digits}f} %"


def mean(interval: Interval) -> str:
    """Return a mean over lives, in any unit, with the half-width of its interval if they differ."""
    half = interval.high - interval.estimate
    if math.isnan(half):
        return f"{_four_digits(interval.estimate)} (one life)"
    if half == 0:
        return f"{_four_digits(interval.estimate)} in every life"
    digits = decimals(half)
    return f"{interval.estimate:.{digits}f} ± {half:.{digits}f}"


def points(interval: Interval) -> str:
    """Return a difference of shares, -1 to 1, in percentage points with its interval."""
    digits = decimals(100 * (interval.high - interval.low) / 2)
    value, low, high = (f"{100 * x:+.{digits}f}" for x in interval)
    return f"{value} ({low} to {high})"


def distance(low: float, high: float) -> str:
    """Return the ends of a difference of shares in percentage points, whichever sign it has."""
    near, far = sorted((abs(100 * low), abs(100 * high)))
    digits = decimals((far - near) / 2)
    return f"{near:.{digits}f} to {far:.{digits}f} percentage points"


def half_width(x: float) -> str:
    """Return half the width of an interval of shares, 0..1, in percentage points."""
    return f"± {100 * x:.2g} percentage points"


def p_value(p: float) -> str:
    """Return a p-value to two digits, or to two decimals where it is no small one."""
    if p < 0.0001:
        return "< 0.0001"
    return f"{p:.2g}" if p < 0.1 else f"{p:.2f}"


def bar(x: float) -> str:
    """Return a share as a bar: a `#` for each tenth; a `.` if that is none, but it is not 0."""
    return "#" * math.floor(10 * x + 0.5) or ("." if x > 0 else "")


def percent(x: float, uncertainty: float) -> str:
    """Return a share in per cent, without the sign, as far as two digits of its uncertainty."""
    return f"{100 * x:.{decimals(100 * uncertainty)}f}"


def decimals(uncertainty: float) -> int:
    """Return how many decimals show two digits of an uncertainty above 0."""
    rounded = float(f"{uncertainty:.1e}")
    return max(0, 1 - math.floor(math.log10(rounded)))


def _four_digits(x: float) -> str:
    return f"{x:.4g}" if abs(x) < 9999.5 else f"{x:.0f}"
