"""How long forms last, from when a log's pet was seen to grow."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from petsim.evidence.censored import Known
from petsim.evidence.durations import Durations
from petsim.evidence.estimate import Estimate
from petsim.evidence.timeline import Spans, forms_seen
from petsim.life.log.entries import LoggedLife
from petsim.spec.model import Model

RECORD = "more lives"


def lasts_estimates(
    lives: Sequence[LoggedLife], spans: Sequence[Spans], model: Model
) -> list[Estimate]:
    """Return what logs tell of the `lasts` of each form that a pet was seen to grow out of.

    Such a form lasted at least from the end of the one bracket to the start of the other, and at
    most from the start of the one to the end of the other. One that a pet still had when its log
    ended lasted longer than it was seen for. How long the first form of a log that begins later had
    lasted is not known, and does not count.

    The mean is told, as of `petsim.evidence.durations`: the law stays of its family, and until
    there are lives enough its times are all longer or shorter by one factor.

    spans: the forms of each life.
    """
    known: dict[str, list[Known]] = {form: [] for form in model.forms}
    for life, forms in zip(lives, spans, strict=True):
        for form, lasted in _lasted(life, forms):
            known[form].append(lasted)
    estimates: list[Estimate] = []
    for form, times in known.items():
        path, guess = f"forms.{form}.lasts", model.forms[form].lasts
        told = Durations(tuple(times), path, "model", guess, RECORD, "life", "lives")
        estimates += told.estimates() if told.ended else []
    return estimates


def _lasted(life: LoggedLife, spans: Spans) -> Iterator[tuple[str, Known]]:
    """What a log tells of how long each form lasted."""
    last_seen = max((t for t, _ in forms_seen(life)), default=0.0)
    for form, since, until in spans if life.is_born else spans[1:]:
        if until is None:
            yield form, Known(last_seen - since[1], math.inf)
        elif until[1] > since[0]:  # else it was over in the second of birth, by what was seen
            yield form, Known(max(0.0, until[0] - since[1]), until[1] - since[0])
