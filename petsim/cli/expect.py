"""The command that says what the counters of a rig should show."""

from __future__ import annotations

import math
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

import petsim
from petsim.cli import inputs, options, values
from petsim.cli.answers import files_named, give
from petsim.cli.output import Command, print_text, writing_new
from petsim.errors import ArgumentError
from petsim.spec import defaults

if TYPE_CHECKING:
    from petsim.life.log.entries import LoggedLife

APART = {
    "day": ("against", "ics", "report", "plot", "until", "days", "confidence"),
    "against": ("ics", "report", "plot", "until", "days"),
    "ics": ("report", "plot", "until", "lives", "seed", "confidence", "as_json"),
}
"""What is asked for instead of the bands, with the options that say nothing of it."""
ROTA_DAYS = 14
"""Days of a calendar, if their number is not given."""


@click.command(cls=Command)
@options.regimes("REGIME")
@click.option(
    "--day",
    type=values.whole(1),
    metavar="N",
    help="Show day N hour by hour instead: checks and what keeps others away, actions and presses, "
    "growth, and what the camera must tell apart next. Day 1 is that of birth.",
)
@click.option(
    "--against",
    metavar="LOG.jsonl",
    help="Say instead on which day which count of a rig's log is outside; see petsim help log.",
)
@click.option(
    "--ics",
    type=values.NEW_CALENDAR,
    metavar="FILE.ics",
    help="Write a calendar of the due checks to this file instead, as a rota for people.",
)
@click.option(
    "--from",
    "first",
    type=values.DATE,
    metavar="YYYY-MM-DD",
    help="With --ics, the date of day 1.",
)
@click.option(
    "--lives",
    type=values.whole(1),
    metavar="N",
    show_default=f"{defaults.EXPECTED_LIVES['compiled']}, or "
    f"{defaults.EXPECTED_LIVES['reference']} with the reference engine",
    help="Lives that the bands are made from; as many more are held against them.",
)
@click.option(
    "--confidence",
    type=values.SHARE,
    default=0.95,
    metavar="P",
    show_default="95%",
    help="Chance that all counters of a quiet life stay within their bands.",
)
@options.lived
@options.check_limit
@options.shown_too
@options.as_json
def expect(
    regimes: tuple[str, ...],
    day: int | None,
    against: str | None,
    ics: Path | None,
    first: date | None,
    model: str | None,
    report: str | None,
    plot: str | None,
    as_json: bool,
    **how: Any,
) -> None:
    """What the counters of a rig should show, day by day.

    REGIME is the name or path of a regime, or FILE.py:CLASS; several are shown side by side.
    """
    from petsim.view import expected

    _ensure_apart()
    files = files_named(report, plot)
    pet = inputs.model_for(regimes, model, how["check_limit"])
    if (ics is None) != (first is None):
        raise ArgumentError("--ics: needs the date of day 1; expected --ics and --from together")
    if ics is not None and first is not None:
        _write_calendar(ics, pet, _only(regimes, "--ics"), first, how["days"])
        return
    if day is not None:
        of_day = {name: how[name] for name in ("lives", "seed", "check_limit")}
        shown = petsim.expect_day(pet, _only(regimes, "--day"), day, progress=True, **of_day)
        give(shown, expected.by_hour(shown), as_json=as_json)
        return
    if against is not None:
        _hold(against, pet, _only(regimes, "--against"), how, as_json=as_json)
        return
    result = petsim.expect(pet, regimes, progress=True, **how)
    give(result, expected.by_day(result), files, as_json=as_json)


def _ensure_apart() -> None:
    """Refuse options that say nothing of what is asked for instead of the bands."""
    for instead, others in APART.items():
        if options.written(instead):
            for other in options.written(*others):
                name = other.removeprefix("as_").replace("_", "-")
                raise ArgumentError(f"--{instead}: not allowed with --{name}")


def _only(regimes: tuple[str, ...], option: str) -> str:
    if len(regimes) > 1:
        raise ArgumentError(f"{option}: of {regimes[0]} or of {regimes[1]}? expected one regime")
    return regimes[0]


def _hold(log: str, pet: str, regime: str, how: dict[str, Any], *, as_json: bool) -> None:
    """Print what is outside in the life of a log."""
    from petsim.view import expected

    lives: tuple[LoggedLife, ...] = petsim.read_log(log)
    if len(lives) != 1:
        raise ArgumentError(f"{log}: {len(lives)} lives; expected a log of one")
    of_log = {name: how[name] for name in ("lives", "seed", "confidence", "check_limit")}
    result = petsim.hold_log(lives[0], pet, regime, progress=True, **of_log)
    give(result, expected.against(result), as_json=as_json)


def _write_calendar(path: Path, pet: str, regime: str, first: date, days: float | None) -> None:
    """Write the due checks of a regime as a calendar."""
    from petsim.advice.expecting.rota import rota
    from petsim.life.caretaker import load_caretaker
    from petsim.spec.library import load_model, write_new
    from petsim.view.rota import calendar
    from petsim.view.tables import counted

    model = load_model(pet)
    care = load_caretaker(regime, model).regime
    number = ROTA_DAYS if days is None else math.ceil(days)
    due = rota(care, first, number, model.begins.clock)
    with writing_new(path):
        write_new(path, calendar(care, model.name, first, due))
    checks = sum(len(each.days) for each in due)
    print_text(
        f"{path}: written, {counted(checks, 'check')} on {counted(number, 'day')} from {first}"
    )
