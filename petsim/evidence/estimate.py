"""An estimate of one parameter, with its interval and what the log could tell of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from petsim.spec.normal import normal_quantile
from petsim.spec.quantities import duration_text

Of = Literal["mean", "shape", "rate", "chance", "value"]
"""What is estimated: the mean of a law in seconds, its shape, a rate a day, a chance as a share, or
a plain value such as an amount, or a clock time in seconds of the day."""
Verdict = Literal["well", "weak", "refused"]

Z95 = normal_quantile(0.975)
"""Standard deviations of a normal law to either side of its mean that hold 95 % of it."""
REFUSED, WEAK = 0.7, 0.3
"""Shares of the doubt there was before the log: with more of it left than the first the log tells
nothing, with more than the second little."""
WIDE = 1.5
"""The factor to either side beyond which the interval of a mean is weak."""


@dataclass(frozen=True)
class Estimate:
    """What a log says of one parameter.

    path: where it is in a file, as `--vary` names it. file: of which file. of: what is estimated,
    in the unit of `Of`. estimate, low, high: it and its 95 % interval; None where refused. guess:
    its value in the file that the fit began with, None if there is none. record: what to record for
    a log to tell more, where the verdict is not "well". why: why the log can't tell, if it is
    refused. n: on how many events it rests, where they can be counted. shrink: the share of the
    doubt before that is left.
    """

    path: str
    file: Literal["model", "regime"]
    of: Of
    estimate: float | None
    low: float | None
    high: float | None
    verdict: Verdict
    guess: float | None = None
    record: str = ""
    why: str = ""
    n: int | None = None
    shrink: float | None = None

    def as_dict(self) -> dict[str, Any]:
        """It as plain data, as `petsim fit --json` prints it."""
        return {
            "path": self.path,
            "file": self.file,
            "of": self.of,
            "estimate": self.estimate,
            "low": self.low,
            "high": self.high,
            "verdict": self.verdict,
            "guess": self.guess,
            "record": self.record,
            "why": self.why,
        }


def refused(
    path: str,
    file: Literal["model", "regime"],
    of: Of,
    *,
    guess: float | None = None,
    record: str = "",
    why: str = "",
    n: int | None = None,
) -> Estimate:
    """A parameter that the log tells nothing of: the guess stays."""
    return Estimate(path, file, of, None, None, None, "refused", guess, record, why, n)


def verdict_of(shrink: float, of: Of, low: float, high: float) -> Verdict:
    """How well a log tells a parameter.

    Args:
        shrink: the standard deviation left, as a share of that before.
        of: what is estimated; a mean is weak too if its interval is wide.
        low, high: its 95 % interval.
    """
    if shrink > REFUSED:
        return "refused"
    is_wide = of == "mean" and high > low * WIDE**2
    return "weak" if shrink > WEAK or is_wide else "well"


def text_of(of: Of, value: float) -> str:
    """Return a value with its unit, in few digits, as reasons have it."""
    if of == "mean":
        return duration_text(max(1, round(value)))
    if of == "chance":
        return f"{100 * value:.2g} %"
    return f"{value:.2g}{' a day' if of == 'rate' else ''}"
