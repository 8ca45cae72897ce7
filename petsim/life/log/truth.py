"""What truly was in a simulated life, in a file of its own beside what a rig would have logged."""

from __future__ import annotations

import json
from collections.abc import Iterator
from itertools import groupby
from operator import attrgetter
from typing import Any

from petsim.life.record import Life

FORMAT = "truth 1"
"""What the first line of such a file says that it is, as `petsim`."""


def truth_text(life: Life) -> str:
    """Return JSON Lines of all that happened in a traced life, and the truth of all that was seen.

    Times are seconds of the life.
    """
    who = {"model": life.model.id, "regime": life.regime, "seed": life.seed, "life": life.number}
    lines = [{"petsim": FORMAT, **who}, *sorted(_lines(life), key=lambda line: line["t"])]
    return "".join(json.dumps(line, separators=(",", ":")) + "\n" for line in lines)


def _lines(life: Life) -> Iterator[dict[str, Any]]:
    for event in life.entries:
        yield event._asdict()
    observation = attrgetter("t", "check", "step", "look")
    for (t, check, step, _), run in groupby(life.sights, observation):
        sights = [sight for sight in run if sight.signal != "clock"]
        truth = {sight.signal: sight.truth for sight in sights}
        saw = {sight.signal: sight.seen for sight in sights}
        yield {"t": t, "event": "look", "check": check, "step": step, "saw": saw, "is": truth}
