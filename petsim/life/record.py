"""What a life reports: its summary's columns, its event log's entries, and both together."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any, NamedTuple

from petsim._version import __version__
from petsim.life.drawn import Drawn
from petsim.life.mishaps import Mishap
from petsim.life.policy import Clock, clock_at
from petsim.life.state import State
from petsim.spec.model import UNDECIDED, Model

if TYPE_CHECKING:
    import pandas as pd

    from petsim.life.caretaker import Caretaker
    from petsim.life.log.entries import LoggedLife


LABELS = ("outcome", "died")
"""The columns that hold a word; all others hold whole numbers."""


class Column(NamedTuple):
    """A column of the table of lives: its name, its unit, and what it holds."""

    name: str
    unit: str
    meaning: str

    @property
    def dtype(self) -> str:
        """Its type in the table: 32 bits where no life can need more, to keep the table small."""
        if self.name in LABELS:
            return "category"
        small = self.name.startswith(("misses", "weight_at.", "discipline_at."))
        return "int32" if small else "int64"


def columns(model: Model) -> list[Column]:
    """The columns of a life's summary, in order, for a model's needs, forms and actions."""
    return [
        Column("life", "", "number of the life"),
        Column(
            "outcome",
            "",
            "first form of the outcome stage, cause of an earlier death, or undecided",
        ),
        Column("end_s", "s", "length of the life as followed"),
        Column("died", "", "cause of death; empty if alive at the end"),
        *_care_misses(model),
        Column("lapses", "count", "misbehaviours that ran out unreprimanded"),
        Column("unfair", "count", "reprimands with no misbehaviour in progress"),
        *(column for action in model.care for column in _of_action(action)),
        Column("cut_off", "count", "actions begun that the end of the life cut off"),
        Column("presses", "count", "presses in all"),
        Column("quiet_presses", "count", "presses in quiet hours"),
        Column("checks", "count", "checks started"),
        Column(
            "checks_skipped",
            "count",
            "checks skipped: power out, busy, or overtaken by the next",
        ),
        Column("checks_forgotten", "count", "checks forgotten"),
        *(column for form in model.forms for column in _of_form(form)),
        *(
            Column(f"level_s.{name}.{level}", "s", f"time with {name} at {level}")
            for name, need in model.needs.items()
            for level in range(need.full + 1)
        ),
        Column("ill_s", "s", "time ill"),
        Column("asleep_s", "s", "time asleep"),
        Column("spells_s", "s", "time in spells of bad light"),
    ]


def _care_misses(model: Model) -> list[Column]:
    return [
        Column("misses", "count", "care misses in all"),
        *(Column(f"misses.{c}", "count", f"care misses of cause {c}") for c in model.causes),
        *(Column(f"misses_in.{f}", "count", f"care misses as {f}") for f in model.forms),
        *(
            Column(f"misses_at.{h:02}", "count", f"care misses from {h:02}:00 to {h + 1:02}:00")
            for h in range(24)
        ),
    ]


def _of_action(action: str) -> list[Column]:
    return [
        Column(f"done.{action}", "count", f"{action} landed, whatever it did"),
        Column(f"wasted.{action}", "count", f"{action} landed but was refused or changed nothing"),
        Column(f"lost.{action}", "count", f"{action} landed but its chance failed"),
        Column(f"slipped.{action}", "count", f"{action} pressed but did not land"),
    ]


def _of_form(form: str) -> list[Column]:
    return [
        Column(f"entered_s.{form}", "s", f"second it became {form}; -1 if it never did"),
        Column(f"weight_at.{form}", "", f"weight the rules saw then; -1 if never {form}"),
        Column(f"discipline_at.{form}", "0..100", f"discipline then; -1 if never {form}"),
    ]


Row = dict[str, Any]
"""A life's summary by column, while it is counted."""


def blank_row(model: Model) -> Row:
    """The row of a life in which nothing has happened yet."""
    row: Row = dict.fromkeys((column.name for column in columns(model)), 0)
    row |= {"outcome": UNDECIDED, "died": ""}
    for form in model.forms:
        row |= {f"entered_s.{form}": -1, f"weight_at.{form}": -1, f"discipline_at.{form}": -1}
    return row


def words(model: Model) -> dict[str, tuple[str, ...]]:
    """The words of the columns that hold some, in the order of the numbers that stand for them."""
    outcomes = (*model.outcome_forms, *model.deaths, UNDECIDED)
    return {"outcome": outcomes, "died": ("", *model.deaths)}


def row_of(model: Model, summary: dict[str, Any]) -> list[int]:
    """A life's summary as numbers, in the order of the columns, each word by its number."""
    named = words(model)
    return [named[name].index(value) if name in named else value for name, value in summary.items()]


def summary_of(model: Model, row: list[int]) -> dict[str, Any]:
    """The summary of a life whose numbers these are."""
    named = words(model)
    return {
        column.name: named[column.name][value] if column.name in named else value
        for column, value in zip(columns(model), row, strict=True)
    }


class Event(NamedTuple):
    """An entry of the event log.

    t: second; event: its kind; what: the form, need, cause or action it is about;
    value: level, pile, doses, discipline or misses after it, where there is one.
    """

    t: int
    event: str
    what: str = ""
    value: int | None = None


class Seen(NamedTuple):
    """One signal of one look: the truth, and what the caretaker took it for.

    t: second; check: number of the check, 1 for the first that was started; step: of the routine,
    from 1, or 0 under a Python policy; look: number of the observation, 1 for the first.
    """

    t: int
    check: int
    step: int
    look: int
    signal: str
    truth: Any
    seen: Any


class Begun(NamedTuple):
    """An action whose first press comes at second t, whatever becomes of it.

    check: as of what is `Seen`; takes: the seconds after which it is over, by the regime; place:
    how many signals were seen before it.
    """

    t: int
    check: int
    action: str
    presses: int
    takes: int
    place: int


@dataclass(frozen=True)
class Life(Drawn):
    """One simulated life, replayable from its model, caretaker, seed, number and length.

    It equals another if the same was lived, though its caretaker was read anew from a file.

    until_outcome: whether it was to end with its outcome. horizon: the second at which it was to be
    left, if there was one. start: the state that it went on from, or in which a pet was taken over;
    None if it began with birth.
    """

    model: Model
    caretaker: Caretaker = field(compare=False)
    seed: int
    number: int
    until_outcome: bool
    horizon: int | None
    start: State | None
    summary: dict[str, Any]
    entries: tuple[Event, ...]
    sights: tuple[Seen, ...]
    begun: tuple[Begun, ...]
    draws: dict[str, int]
    """Numbers drawn from each source of chance."""
    mishaps: tuple[Mishap, ...] = field(default=(), compare=False)
    """What went wrong by chance, in order; only the reference engine notes it."""

    @property
    def regime(self) -> str:
        """What the user calls the caretaker."""
        return self.caretaker.name

    @cached_property
    def events(self) -> pd.DataFrame:
        """The event log: t (s), event, what, value."""
        import pandas as pd

        frame = pd.DataFrame(self.entries, columns=list(Event._fields))
        return frame.astype({"t": "int64", "value": "Int64"})

    @cached_property
    def looks(self) -> pd.DataFrame:
        """What the caretaker looked at: t (s), check (its number, from 1), step (of the routine,
        from 1), look (number of the observation, from 1), signal, truth, seen.
        """
        import pandas as pd

        return pd.DataFrame(self.sights, columns=list(Seen._fields))

    def log(self) -> LoggedLife:
        """Return what a rig would have logged of it, if it was traced: what was seen and pressed.

        Its `.write(path)` makes a file of it.
        """
        from petsim.life.log.simulated import logged

        return logged(self)

    def clock(self, t: int) -> Clock:
        """The pet's own clock at second t."""
        return clock_at(t, self.model.begins)

    def as_dict(self) -> dict[str, Any]:
        """Everything of it as plain data, as `petsim run --json` prints it."""
        return {
            "petsim": __version__,
            "model": self.model.id,
            "regime": self.regime,
            "seed": self.seed,
            "life": self.number,
            "summary": self.summary,
            "events": [event._asdict() for event in self.entries],
        }

    def __repr__(self) -> str:
        s = self.summary
        misses = "1 care miss" if s["misses"] == 1 else f"{s['misses']} care misses"
        return (
            f"<life {self.number} of seed {self.seed}: {self.model.id} under {self.regime}, "
            f"{s['outcome']}, {s['end_s'] / 86_400:.1f} days, {misses}>"
        )
