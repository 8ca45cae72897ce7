"""Why one life went wrong: what it failed by, and what alone would have saved it.

The life is lived again with one thing otherwise and all other luck held: without one of its
mishaps, or with one quantity of the regime a little less or more.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

from petsim._version import __version__
from petsim.advice.explaining.imperfections import imperfections, without
from petsim.advice.one_life.chain import Link, links
from petsim.advice.one_life.chosen_life import Chosen, choose_life
from petsim.advice.one_life.nudges import Nudge, all_that_hold, ladders, smallest_of
from petsim.advice.one_life.withheld import MOST, Candidate, candidates, is_averted
from petsim.errors import ArgumentError, SpecError
from petsim.life.caretaker import Caretaker
from petsim.life.causes import why_not_done
from petsim.life.drawn import Drawn
from petsim.life.history import Check, CheckDone, History, replay
from petsim.life.kinds import EventKind
from petsim.life.record import Life, summary_of
from petsim.life.reference import ReferenceEngine
from petsim.life.simulate import (
    CaretakerSource,
    ModelSource,
    Span,
    choose_engine,
    load_together,
)
from petsim.life.turning import Demand, Turning, arrival, turning
from petsim.life.watch import limit_of, limited
from petsim.spec import defaults
from petsim.spec.arguments import word_of
from petsim.spec.model import UNDECIDED, Model
from petsim.study.aims import read_aim
from petsim.study.variants import Files, read_changes

MOST_NUDGED = {"compiled": 1500, "reference": 100}
"""Lives with a quantity changed at most, by engine, of about 10 ms or 150 ms each."""


class Otherwise(NamedTuple):
    """A life without one of its mishaps.

    candidate: the mishap. outcome: what became of the life. number: what its growth then went by,
    instead of the number of the first condition that failed; None if it did not come to that.
    """

    candidate: Candidate
    outcome: str
    number: int | None


@dataclass(frozen=True, eq=False)
class LifeExplained(Drawn):
    """Why one life went wrong.

    life: the life, traced. aim: the form that was aimed for. turn: the growth by which the aim went
    out of reach; None if it did not, or the pet died before. links: what it failed by, in order.
    withheld: the lives without one of the mishaps each of which alone cost it the aim, shortest
    first. nudges: the smallest changes of one quantity that lead to the aim, smallest first.
    together: if there is neither, the imperfections of the regime without one of which, throughout,
    the aim is reached. nearer: if no mishap did, the life without one that came nearest.
    margins: of a life that reached the aim, the conditions that it kept on its way, each with the
    form outgrown. tried, tried_changes: how many lives were lived without a mishap, and with a
    quantity changed. candidates: how many mishaps there were to try. quantities: how many
    quantities were tried. ladders, led: how often one was made less or more, and how often the
    largest change led to the aim. chosen: as what the life was chosen, if it was.
    """

    life: Life
    aim: str
    turn: Turning | None = None
    links: tuple[Link, ...] = ()
    withheld: tuple[Otherwise, ...] = ()
    nudges: tuple[Nudge, ...] = ()
    together: tuple[str, ...] = ()
    nearer: Otherwise | None = None
    margins: tuple[tuple[str, Demand], ...] = ()
    tried: int = 0
    candidates: int = 0
    tried_changes: int = 0
    quantities: int = 0
    ladders: int = 0
    led: int = 0
    chosen: Chosen | None = None

    @property
    def reached(self) -> bool:
        """Whether the life reached the aim."""
        return bool(self.life.summary["outcome"] == self.aim)

    @property
    def has_failed(self) -> bool:
        """Whether the life can't reach the aim any more."""
        is_over = self.life.summary["outcome"] != UNDECIDED
        return not self.reached and (is_over or self.turn is not None)

    def __repr__(self) -> str:
        saved = len(self.withheld) + len(self.nudges)
        outcome = self.life.summary["outcome"]
        return (
            f"<life {self.life.number} of {self.life.model.id} under {self.life.regime} explained: "
            f"{outcome}, aim {self.aim}, {saved} single changes would have saved it>"
        )

    def as_dict(self) -> dict[str, Any]:
        """It as plain data, times in seconds."""
        life = self.life
        return {
            "petsim": __version__,
            "model": life.model.id,
            "regime": life.regime,
            "seed": life.seed,
            "life": life.number,
            "chosen": None if self.chosen is None else self.chosen._asdict(),
            "outcome": life.summary["outcome"],
            "aim": self.aim,
            "failed": None if self.turn is None else _turn_as_dict(self.turn),
            "chain": [_link_as_dict(link) for link in self.links],
            "would_have_saved": [
                *(_otherwise_as_dict(each) for each in self.withheld),
                *(_nudge_as_dict(each) for each in self.nudges),
            ],
            "together": list(self.together),
            "nearer": None if self.nearer is None else _otherwise_as_dict(self.nearer),
            "margins": [{"form": f, **_demand_as_dict(d)} for f, d in self.margins],
            "tried": {
                "mishaps": self.tried,
                "changes": self.tried_changes,
                "largest": self.ladders,
                "largest_led": self.led,
            },
        }


def explain_life(
    model: ModelSource,
    regime: CaretakerSource,
    *,
    seed: int = 0,
    life: int | str = 0,
    lives: int | None = None,
    until: str | None = None,
    days: float | None = None,
    aim: str | None = None,
    check_limit: float = defaults.CHECK_LIMIT,
    progress: bool = False,
) -> LifeExplained:
    """Return why one life went wrong, and what alone would have saved it.

    What would have saved it is found by living the life again to its outcome, with one thing
    otherwise and all other luck held.

    Args:
        model: a model, or a pet as it is now, as for `simulate`.
        regime: a regime or a policy, likewise.
        seed, until, days, check_limit: as for `simulate`.
        life: its number; or of many lives "worst", the one that died first or else has most care
            misses, or "typical", the one that is nearest to all others.
        lives: how many these are; 250 by default.
        aim: the form that is aimed for; by default the model's.
        progress: whether a terminal shows how much was tried, and the time left.

    Raises:
        SpecError, PolicyError: as for `simulate`.
        ArgumentError: as for `simulate`; the aim is no form of the outcome stage; lives are given
            with the number of a life.
    """
    number, chosen = choose_life(
        model, regime, life,
        lives=lives, seed=seed, until=until, days=days, check_limit=check_limit, progress=progress,
    )  # fmt: skip
    seed, number, span = word_of("seed", seed), word_of("life", number), Span(until, days)
    with limited(limit_of(check_limit)):
        pet, [caretaker] = load_together(model, [regime])
        asked = read_aim(pet, aim)
        if aim is not None and not asked.is_one_form:
            raise ArgumentError(
                f"aim: {asked.text}; expected one form, as it is one life that is explained"
            )
        aim = asked.main
        lived = choose_engine(pet, caretaker, span).live(seed, number, traced=True)
        history = replay(lived)
        explained = LifeExplained(lived, aim, turning(history, aim), chosen=chosen)
        if explained.reached:
            return replace(explained, margins=tuple(_margins(history)))
        died = lived.summary["outcome"] in pet.deaths
        if explained.turn is None and not died:
            return explained
        explained = replace(explained, links=tuple(links(history, explained.turn)))
        return _saved(explained, history, caretaker, progress=progress)


def _margins(history: History) -> Iterator[tuple[str, Demand]]:
    """The conditions that a life kept at each growth, with the form outgrown."""
    for entry in history.life.entries:
        if entry.event == EventKind.GROWTH:
            yield from arrival(history, entry.what)


def _saved(
    explained: LifeExplained, history: History, caretaker: Caretaker, *, progress: bool
) -> LifeExplained:
    """The life with what would have saved it."""
    from tqdm import tqdm

    trials = _Trials(explained, caretaker)
    mishaps = candidates(history, explained.turn, explained.links)
    rungs = [*ladders(caretaker.regime)]
    total = min(len(mishaps), MOST) + len(rungs)
    shown = None if progress else True  # none in a pipe
    with tqdm(total=total, unit=" trials", leave=False, disable=shown) as bar:
        for candidate in mishaps[:MOST]:
            trials.withhold(candidate)
            bar.update()
        for ladder in rungs:
            trials.nudge(ladder)
            bar.update()
    is_saved = trials.withheld or trials.nudges
    return replace(
        explained,
        withheld=tuple(sorted(trials.withheld, key=lambda each: each.candidate.seconds)),
        nudges=tuple(sorted(trials.nudges, key=lambda each: abs(each.change))),
        together=() if is_saved else tuple(trials.together()),
        nearer=None if trials.withheld else trials.nearer,
        candidates=len(mishaps),
        tried=min(len(mishaps), MOST),
        tried_changes=trials.changes,
        quantities=len({ladder[0].path for ladder in rungs}),
        ladders=len(rungs),
        led=trials.led,
    )


class _Trials:
    """A life lived again and again, with one thing otherwise each time.

    withheld, nudges: what led to the aim. nearer: of all else, what came nearest. changes: how many
    lives were lived with a quantity changed. led: how often the largest change led to the aim.
    """

    def __init__(self, explained: LifeExplained, caretaker: Caretaker) -> None:
        self._life, self._turn, self._aim = explained.life, explained.turn, explained.aim
        self._caretaker, self._model = caretaker, explained.life.model
        self._files = Files((self._model,), caretaker)
        ends: dict[str, Any] = {"until_outcome": True, "horizon": None}
        self._engine = ReferenceEngine(self._model, caretaker, **ends)
        self._most = MOST_NUDGED[choose_engine(self._model, caretaker, Span(), "auto").name]
        self.withheld: list[Otherwise] = []
        self.nudges: list[Nudge] = []
        self.nearer: Otherwise | None = None
        self.changes = 0
        self.led = 0

    def withhold(self, candidate: Candidate) -> None:
        """Live the life without one mishap.

        It cost the life its aim if what was due then is put right without it: an aim reached with
        all of that as it was would be by chance.
        """
        summary = self._without(candidate, traced=False).summary
        number = None if self._turn is None else _number(summary, self._life, self._turn)
        without_it = Otherwise(candidate, summary["outcome"], number)
        if without_it.outcome != self._aim:
            self._compare(without_it)
        elif is_averted(self._without(candidate, traced=True), candidate.links):
            self.withheld.append(without_it)

    def _without(self, candidate: Candidate, *, traced: bool) -> Life:
        seed, number = self._life.seed, self._life.number
        return self._engine.live(seed, number, traced=traced, withheld={candidate.mishap.key})

    def _compare(self, life: Otherwise) -> None:
        """Keep a life in mind if no other came nearer to the aim."""
        if self._turn is None or len(self._turn.demands) != 1 or life.number is None:
            return
        [demand] = self._turn.demands
        best = demand.number if self.nearer is None else self.nearer.number
        assert best is not None
        is_nearer = life.number < best if demand.is_exceeded else life.number > best
        if is_nearer:
            self.nearer = life

    def nudge(self, ladder: Sequence[Nudge]) -> None:
        """Live the life with a quantity changed, from the largest change down while that saves."""
        held = all_that_hold(ladder, self._leads)
        self.led += bool(held)
        smallest = smallest_of(held, ladder)
        if smallest is not None:
            self.nudges.append(smallest)

    def _leads(self, nudge: Nudge) -> bool | None:
        if self.changes >= self._most:
            return False
        try:
            changes = read_changes({nudge.path: nudge.after}, [self._model])
            [variant] = self._files.changed(changes)
        except SpecError:  # the change is more than the file allows
            return None
        self.changes += 1
        return self._reaches(variant.model, variant.caretaker)

    def together(self) -> Iterator[str]:
        """Yield the imperfections of the regime without any one of which the aim is reached."""
        for each in imperfections(self._caretaker):
            if each.is_there(self._caretaker.regime):
                self.changes += 1
                if self._reaches(self._model, without(self._caretaker, [each])):
                    yield each.what

    def _reaches(self, model: Model, caretaker: Caretaker) -> bool:
        engine, number = choose_engine(model, caretaker, Span(), "auto"), self._life.number
        [row] = engine.lives(self._life.seed, range(number, number + 1)).tolist()
        return bool(summary_of(model, row)["outcome"] == self._aim)


def _number(summary: Mapping[str, Any], life: Life, turn: Turning) -> int | None:
    """What the first condition would go by in another life; None if it did not come to that.

    summary: of the other life. life: the one that failed, whose pet may have brought misses along.
    """
    demand = turn.demands[0]
    nexts = [rule.form for rule in life.model.forms[turn.form].grows_into]
    grown = next((form for form in nexts if summary[f"entered_s.{form}"] >= 0), None)
    if grown is None:
        return None
    if demand.quantity in ("discipline", "weight"):
        return int(summary[f"{demand.quantity}_at.{grown}"])
    if (demand.quantity, demand.cause) != ("misses_in_form", "all"):
        return None
    own = f"misses_in.{turn.form}"
    return int(demand.number + summary[own] - life.summary[own])


# As plain data


def _turn_as_dict(turn: Turning) -> dict[str, Any]:
    return {
        "t": turn.t,
        "form": turn.form,
        "became": turn.became,
        "missed": turn.missed,
        "conditions": [_demand_as_dict(demand) for demand in turn.demands],
    }


def _demand_as_dict(demand: Demand) -> dict[str, Any]:
    return {
        "quantity": demand.quantity,
        "cause": demand.cause or None,
        "asked": str(demand.bound),
        "number": demand.number,
    }


def _link_as_dict(link: Link) -> dict[str, Any]:
    return {
        "t": link.t,
        "cause": link.cause,
        "form": link.form,
        "due": link.since,
        "checks": [{"t": check.t, "done": _done(check)} for check in link.checks],
        "seen": [
            {"t": s.t, "signal": s.signal, "truth": s.truth, "seen": s.seen} for s in link.sights
        ],
        "pressed": [{"t": a.t, "action": a.action, "fate": a.fate.value} for a in link.attempts],
        "why": link.reason.value,
    }


def _done(check: Check) -> str:
    return "carried out" if isinstance(check, CheckDone) else why_not_done(check).value


def _otherwise_as_dict(life: Otherwise) -> dict[str, Any]:
    mishap = life.candidate.mishap
    return {
        "what": mishap.source,
        "number": mishap.number,
        "t": mishap.t,
        "seconds": life.candidate.seconds,
        "outcome": life.outcome,
        "condition": life.number,
    }


def _nudge_as_dict(nudge: Nudge) -> dict[str, Any]:
    return {
        "what": "quantity",
        "path": nudge.path,
        "choice": nudge.is_choice,
        "before": nudge.before,
        "after": nudge.after,
        "change": nudge.change,
        "seconds": nudge.seconds,
    }
