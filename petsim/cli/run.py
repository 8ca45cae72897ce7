"""The command that simulates one life and tells it, and writes what it leaves."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Any

import click

import petsim
from petsim.cli import complete, inputs, options, values
from petsim.cli.inputs import Subject
from petsim.cli.output import (
    FAILED,
    Command,
    print_diary,
    print_json,
    print_text,
    width,
    writing_new,
)
from petsim.errors import ArgumentError
from petsim.spec import defaults
from petsim.view.choices import ENTRIES

if TYPE_CHECKING:
    from pathlib import Path

    from petsim.life.record import Life


@click.command(cls=Command)
@click.argument("regime", required=False, metavar="[REGIME]", shell_complete=complete.regimes)
@click.option(
    "--from",
    "sweep",
    metavar="SWEEP",
    shell_complete=complete.sweep,
    help="Take the life from this sweep, with its model and regime.",
)
@click.option("--cell", type=values.whole(0), default=0, metavar="C", help="Cell of the sweep.")
@click.option(
    "--trust",
    is_flag=True,
    help="Run the code of a Python policy that the sweep's file holds.",
)
@click.option(
    "--life",
    type=values.whole(0),
    default=0,
    metavar="K",
    callback=options.apart_from("outcome"),
    help="Number of the life.",
)
@click.option(
    "--outcome",
    metavar="OUTCOME",
    callback=options.apart_from("life"),
    shell_complete=complete.outcomes,
    help="Find the first life with this outcome: a form, a cause of death, or undecided.",
)
@click.option(
    "--lives",
    type=values.whole(1),
    metavar="N",
    show_default=f"{defaults.LIVES['compiled']}, or {defaults.LIVES['reference']} under a Python "
    "policy; of a cell, all its lives",
    help="Most lives to search for that outcome.",
)
@options.lived_to_a_time
@click.option(
    "--write-pet",
    type=values.NEW_FILE,
    metavar="PET.yaml",
    help="Write the pet to this file, as it is at the time that --until or --days gives; --pet "
    "takes such a file.",
)
@click.option(
    "--log",
    type=values.NEW_LOG,
    metavar="LOG.jsonl",
    help="Write what a rig would have logged of the life, without the truth, to this file; see "
    "petsim help log.",
)
@click.option(
    "--truth",
    type=values.NEW_LOG,
    metavar="TRUTH.jsonl",
    help="With --log, write what truly was to this file.",
)
@options.check_limit
@click.option(
    "--only",
    multiple=True,
    type=values.Word(ENTRIES),
    callback=options.apart_from("as_json", "as_csv"),
    help="Show only entries of this kind; may be given more than once.",
)
@click.option(
    "--json",
    "as_json",
    is_flag=True,
    callback=options.apart_from("only", "as_csv"),
    help="Print summary and event log as JSON.",
)
@click.option(
    "--csv",
    "as_csv",
    is_flag=True,
    callback=options.apart_from("only", "as_json"),
    help="Print the event log as CSV.",
)
def run(
    regime: str | None,
    sweep: str | None,
    cell: int,
    trust: bool,
    life: int,
    outcome: str | None,
    lives: int | None,
    write_pet: Path | None,
    log: Path | None,
    truth: Path | None,
    check_limit: float,
    only: tuple[str, ...],
    as_json: bool,
    as_csv: bool,
    **lived: Any,
) -> None:
    """One life as a diary.

    REGIME is the name or path of a regime, or FILE.py:CLASS.
    """
    from petsim.study.writing import write_csv
    from petsim.view import diary

    if lives is not None and outcome is None:
        raise ArgumentError("--lives: is how many to look at for an --outcome; expected both")
    _ensure_new(log, truth)
    if regime is not None and sweep is None:
        subject = inputs.of_a_regime(regime, lives, check_limit, lived)
    elif sweep is not None and regime is None:
        subject = inputs.of_a_cell(sweep, cell, lives, trust=trust)
    else:
        raise ArgumentError("run: expected either a regime, or --from a sweep with --cell")
    if outcome is not None:
        life = _first_with(outcome, subject, check_limit, beside_data=as_json or as_csv)
    lone = inputs.one_life(
        subject.model, subject.caretaker, life=life, check_limit=check_limit, **subject.span
    )
    if write_pet is not None:
        _write_pet(write_pet, lone, subject)
    if log is not None:
        _write_log(log, truth, lone)
    if as_json:
        print_json(lone.as_dict())
    elif as_csv:
        write_csv(lone.events, sys.stdout)
    else:
        lines = diary.diary(lone, only)
        print_diary(diary.wrapped(lines, width()) if sys.stdout.isatty() else lines)


def _write_pet(path: Path, life: Life, subject: Subject) -> None:
    """Write the pet as it is at the end of a life, and say what its file can't hold."""
    from petsim.life.pet_left import own_model, pet_of
    from petsim.spec.library import from_folder_of, write_new
    from petsim.view import written_pet

    if life.horizon is None:
        expected = 'expected --until with one, such as --until "day 3 12:00", or --days'
        raise ArgumentError(f"--write-pet: at which time? {expected}")
    if life.summary["died"]:
        died = life.clock(life.summary["end_s"])
        raise ArgumentError(f"--write-pet: the pet died on {died}; expected an earlier time")
    state = petsim.state_at(
        life.model, subject.caretaker, life.horizon, seed=life.seed, life=life.number
    )
    own = own_model(life.model).asked_by
    left = pet_of(state, life.model, own and from_folder_of(path, own))
    with writing_new(path):
        write_new(path, written_pet.file(left, life))
    print_text(written_pet.summary(left, path), aside=True)


def _ensure_new(log: Path | None, truth: Path | None) -> None:
    """Refuse the files of a log and its truth that can't be written, before the life is lived."""
    if truth is not None and (log is None or log == truth):
        raise ArgumentError("--truth: is beside a log; expected --log with another file")
    for path in filter(None, (log, truth)):
        if path.exists():
            raise ArgumentError(f"{path}: is there already; expected a new file")


def _write_log(path: Path, truth: Path | None, life: Life) -> None:
    """Write what a rig would have logged of a life, and what truly was if that is asked for."""
    from petsim.life.log.truth import truth_text
    from petsim.spec.library import write_new

    life.log().write(path)
    print_text(f"{path}: written, what a rig would have logged, on nominal dates", aside=True)
    if truth is not None:
        with writing_new(truth):
            write_new(truth, truth_text(life))
        print_text(f"{truth}: written, what truly was", aside=True)


def _first_with(outcome: str, subject: Subject, check_limit: float, *, beside_data: bool) -> int:
    """Return the number of the first life with an outcome; exit if none has it."""
    from petsim.study.search import first_with
    from petsim.view.search import searched

    model, caretaker, span, lives = subject
    search = first_with(
        *(outcome, model, caretaker), lives=lives, check_limit=check_limit, progress=True, **span
    )
    print_text(searched(search), aside=search.number is None or beside_data)
    if search.number is None:
        sys.exit(FAILED)
    return search.number
