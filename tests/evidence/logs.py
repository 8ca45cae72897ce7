"""Logs made by hand, of invented pets: every name and number is made up."""

from petsim.evidence.timeline import form_spans
from petsim.life.log.entries import Action, LoggedLife, Look, Run
from petsim.spec.clocks import Begins

MIDNIGHT = Begins(0, 0)
"""Monday 00:00, so that a second of the first day is also its clock time."""


def spans_of(lives, model):
    """The forms of each life."""
    return [form_spans(life, model) for life in lives]


def look(t, **saw):
    """A look at second t, outside any check."""
    return Look(t, 0, 0, saw)


def act(t, action, outcome="unknown"):
    """An action that landed at second t, 10 s after it began."""
    return Action(t, 0, action, t - 10, 1, outcome)


def log(*entries, begins=MIDNIGHT, is_born=True, until=None, runs=None, end=None, lost=()):
    """A log with these entries, which ends with the last of them if not later."""
    last = max((entry.t for entry in entries), default=0.0) if until is None else until
    return LoggedLife(
        source="by-hand.log",
        begins=begins,
        is_born=is_born,
        until=last,
        end=end,
        entries=entries,
        runs=(Run(0.0, last, True),) if runs is None else runs,
        lost=lost,
    )
