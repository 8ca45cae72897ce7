"""From a model and a regime to the table of a world and the type of a life's state."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from petsim.life import draws
from petsim.life.compiled.constants import SOURCES, THRESHOLD
from petsim.life.compiled.layout import ROOMS, ROW, TABLE, slots
from petsim.life.compiled.layout_state import state_type
from petsim.life.compiled.lists import Lists
from petsim.life.compiled.lower_caretaker import CaretakerLowering
from petsim.life.compiled.lower_pet import PetLowering
from petsim.life.compiled.structured import filled, lengths, rooms_for
from petsim.life.record import columns
from petsim.life.streams import source_id
from petsim.spec.clocks import Window
from petsim.spec.laws import FAMILIES, MOST_PARAMETERS
from petsim.spec.model import SIGNALS, Model
from petsim.spec.quantities import DAY
from petsim.spec.regime import Regime


@dataclass(frozen=True)
class Lowered:
    """A world as a table, and what goes with it.

    table: a record array of one record. state: the type of a life's state, which has the same
    rooms. sources: the names of the sources of chance, in order. steps: the places in the routine
    of the steps that the table has.
    """

    table: NDArray[Any]
    state: np.dtype[Any]
    sources: tuple[str, ...]
    steps: tuple[int, ...]


def lower_files(
    model: Model, regime: Regime, *, until_outcome: bool, watched: tuple[str, ...] | None = None
) -> Lowered:
    """Lower a model and a regime that go together, and whether lives end with their outcome.

    watched: if code outside chooses each step of the routine, the signals that it sees each time.
    """
    lists = Lists()
    pet, caretaker = PetLowering(model, lists), CaretakerLowering(model, regime, lists, watched)
    sources = _sources(model)
    values = {
        "until_outcome": until_outcome,
        **_order(model),
        **pet.pet(),
        **pet.growth(regime.checks),
        **pet.care(regime.hands),
        **caretaker.checks(),
        **caretaker.routine(),
        **caretaker.eyes(),
        **_chance(model, sources),
        # complete once all else is lowered
        **_laws(lists),
        **_windows(lists.windows),
    }
    errs = caretaker.eyes_err or any(values["slip_step"]) or any(values["forget_step"])
    values["n_errors"] = len(errors_of(model)) if errs else 0
    rooms = rooms_for(
        lengths(TABLE, values)
        | {
            "causes": len(model.causes),
            "slots": values["n_slots"],
            "columns": values["n_columns"],
            "clocks": values["n_clocks"],
            "watched": values["n_watched"],
            "late checks": caretaker.late_checks(),
        },
        ROOMS,
    )
    return Lowered(filled(TABLE, values, rooms), state_type(rooms), sources, caretaker.places)


def _order(model: Model) -> dict[str, Any]:
    """Return the places of what falls due and of what is counted."""
    places = slots(len(model.needs))
    names = [column.name for column in columns(model)]
    # the end of the row stands in for the counts of actions where the model has none
    begins_of = [*names, "done."]
    row = {
        name: next(place for place, column in enumerate(begins_of) if column.startswith(begins))
        for name, (begins, _) in ROW.items()
    }
    return {
        **{f"at_{name}": place for name, place in places.items()},
        "n_slots": places["grid"] + 1,
        **{f"in_{name}": place for name, place in row.items()},
        "in_level": [names.index(f"level_s.{need}.0") for need in model.needs],
        "n_columns": len(names),
    }


def errors_of(model: Model) -> tuple[str, ...]:
    """Return the sources of the thresholds of errors: of the eyes, the hands, and forgetting."""
    return (
        *(f"overlooks {signal}" for signal in SIGNALS),
        *(f"imagines {signal}" for signal in SIGNALS),
        *(f"misreads {need}" for need in model.needs),
        *(f"slips {action}" for action in model.care),
        "forgets",
    )


def _sources(model: Model) -> tuple[str, ...]:
    """Return the names of all sources of chance, in the order of the streams in a state."""
    return (
        *SOURCES,
        *(f"drops {need}" for need in model.needs),
        *(f"misread side {need}" for need in model.needs),
        *(f"works {action}" for action in model.care),
        *(f"instead {action}" for action in model.care),
        *errors_of(model),
    )


def _chance(model: Model, sources: tuple[str, ...]) -> dict[str, Any]:
    """Return the sources, and the first of those that needs, actions and errors have."""
    needs, errors = len(model.needs), errors_of(model)
    of_works, of_errors = len(SOURCES) + 2 * needs, len(sources) - len(errors)
    return {
        "source": np.array([source_id(name) for name in sources], dtype=np.uint64),
        "n_sources": len(sources),
        "of_drops": len(SOURCES),
        "of_sides": len(SOURCES) + needs,
        "of_works": of_works,
        "of_instead": of_works + len(model.care),
        "of_errors": of_errors,
        "first_slip": 2 * len(SIGNALS) + needs,
        "forgets": len(errors) - 1,
    }


def _laws(lists: Lists) -> dict[str, Any]:
    """Return the laws, the last of which is that of the thresholds of errors."""
    families = list(FAMILIES)
    parameters = [*(law.parameters for law, _ in lists.laws), (draws.ERROR_UNITS,)]
    padding = (0.0,) * MOST_PARAMETERS
    return {
        "law": [*(families.index(law.kind) for law, _ in lists.laws), THRESHOLD],
        "law_least": [*(least for _, least in lists.laws), 0],
        "parameter": [(*numbers, *padding)[:MOST_PARAMETERS] for numbers in parameters],
        "threshold": len(lists.laws),
    }


def _windows(windows: list[Window]) -> dict[str, Any]:
    """Return the clock windows, and the seconds of the day at which one opens or closes."""
    edges = {edge % DAY for window in windows for edge in (window.start, window.end)}
    return {
        "window_from": [window.start for window in windows],
        "window_to": [window.end for window in windows],
        "window_days": [_days(window) for window in windows],
        "n_edges": len(edges),
        "edge": sorted(edges),
    }


def _days(window: Window) -> int:
    """Return the weekdays on which a window opens, as a bit each."""
    days = range(7) if window.weekdays is None else window.weekdays
    return sum(1 << day for day in days)
