"""What one would count without a model of what is hidden: a mean time between drops of a need.

From the last look at a need in a check to the first in the next its level has dropped by the
difference, and that in the time the pet was awake. What that leaves out are misreadings, which are
counted as drops where they are too low and as none where they are too high, and drops at 0.
"""

from itertools import groupby, pairwise

import numpy as np

from petsim.evidence.power import exponential_mean
from petsim.evidence.sleep import holds
from petsim.evidence.timeline import form_at, form_spans
from petsim.life.log.entries import Look
from petsim.spec.quantities import DAY


def naive_mean(lives, need, forms, model):
    """The mean time of an exponential law between drops of a need in forms, and its interval."""
    drops = total = 0
    for life in lives:
        spans = form_spans(life, model)
        for (_, last), (first, _) in pairwise(_checks(life, need)):
            form = form_at(spans, last.t)
            if form in forms and form == form_at(spans, first.t):
                drops += max(0, last.saw[need] - first.saw[need])
                total += _awake(life, model.forms[form].sleeps, last.t, first.t)
    return total / drops, *exponential_mean(total, drops)


def _checks(life, need):
    """The first and the last look at a need of each check in which there was one."""
    looks = [entry for entry in life.entries if isinstance(entry, Look) and need in entry.saw]
    for _, group in groupby(looks, lambda look: look.check):
        check = list(group)
        yield check[0], check[-1]


def _awake(life, windows, since, until):
    """The seconds between two in which a pet is awake that sleeps in windows."""
    clocks = (life.begins.clock + np.arange(int(since), int(until))) % DAY
    return int((~holds(windows, clocks)).sum())
