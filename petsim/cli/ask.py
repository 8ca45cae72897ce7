"""Commands that ask what becomes of pets: lives, sweeps of lives, and how they are shown."""

from __future__ import annotations

import sys
from collections.abc import Callable
from contextlib import nullcontext
from typing import TYPE_CHECKING, Any

import click

import petsim
from petsim.cli import complete, inputs, options, values
from petsim.cli.inputs import Subject
from petsim.cli.output import (
    FAILED,
    INTERRUPTED,
    Command,
    print_answer,
    print_diary,
    print_json,
    print_line,
    print_text,
    width,
    write_picture,
    writing_new,
)
from petsim.errors import ArgumentError
from petsim.spec import choices, defaults
from petsim.view.choices import ENTRIES, PICTURES

if TYPE_CHECKING:
    from pathlib import Path

    from petsim.life.record import Life
    from petsim.study.results import Sweep


@click.command(cls=Command)
@options.regimes("REGIME")
@click.option(
    "--lives",
    type=values.whole(1),
    metavar="N",
    show_default=f"{defaults.LIVES['compiled']}, or {defaults.LIVES['reference']} with the "
    "reference engine",
    help="Lives under each regime. With --precision this is the most allowed: "
    f"{defaults.MOST_LIVES['compiled']}, or {defaults.MOST_LIVES['reference']} with the reference "
    "engine, if it is left out.",
)
@click.option(
    "--precision",
    type=values.HALF_WIDTH,
    metavar="P",
    help="Simulate as many lives as it takes to know the differences, or the odds of a single "
    "regime, to within ± P percentage points, such as 1%.",
)
@options.aim
@options.lived
@options.engine
@options.check_limit
@click.option(
    "--why",
    is_flag=True,
    help="Add why care misses happened, in the first lives; takes a second or two for each regime.",
)
@options.as_json
def compare(
    regimes: tuple[str, ...], model: str | None, why: bool, as_json: bool, **how: Any
) -> None:
    """Odds, misses and costs of regimes, side by side.

    REGIME is the name or path of a regime, or FILE.py:CLASS; later ones are compared with the
    first.
    """
    from petsim.study.measures import AIM_MARK
    from petsim.view import comparison

    pet = inputs.model_for(regimes, model, how["check_limit"])
    result = petsim.compare(pet, regimes, progress=True, **how)
    if as_json:
        print_json(result.as_dict(why=why))
    else:
        print_answer(comparison.comparison(result, width(), why=why), AIM_MARK)
        if (hint := comparison.closer(result, width())) is not None:
            print_text(f"\n{hint}")
    _exit_if_interrupted(result)


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


@click.command(cls=Command)
@options.regimes("REGIME|STUDY")
@options.varied
@click.option(
    "--sample",
    type=values.Word(choices.SAMPLES),
    help="Simulate points spread over the ranges instead of the whole grid.",
)
@click.option("--points", type=values.whole(1), metavar="N", help="Number of these points.")
@click.option("--plan", is_flag=True, help="Estimate how long it would take, and stop.")
@click.option("--fail-fast", is_flag=True, help="Stop at the first cell that fails.")
def sweep(
    regimes: tuple[str, ...],
    workers: int | None,
    on: str | None,
    check_limit: float,
    quiet: bool,
    as_json: bool,
    plan: bool,
    fail_fast: bool,
    **design: Any,
) -> None:
    """Many variations, overnight; nothing is lost.

    REGIME is the name or path of a regime, or FILE.py:CLASS. STUDY is a study file, which says
    everything but --out, --engine, --workers and --on.
    """
    from petsim.study.sweep import planned
    from petsim.view import sweep_text

    arguments = inputs.of_a_study(regimes, design) or {
        **inputs.of_a_sweep(design),
        "regimes": regimes,
    }
    arguments["model"] = inputs.model_for(arguments["regimes"], arguments["model"], check_limit)
    if plan:
        beforehand = planned(**arguments, workers=workers, check_limit=check_limit)
        print_text(sweep_text.plan(beforehand, width()))
        return
    with inputs.workers_at(on) as executor:
        result = petsim.sweep(
            **arguments, workers=workers, executor=executor, check_limit=check_limit,
            fail_fast=fail_fast, progress=not quiet,
        )  # fmt: skip
    _print_sweep(result, sweep_text.sweep, quiet=quiet, as_json=as_json)


@click.command(cls=Command)
@options.regime
@options.varied
@click.option(
    "--method",
    type=values.Word(choices.SAMPLE_OF),
    default="morris",
    help="Morris's screening, or Sobol indices, which take more cells.",
)
@click.option(
    "--points",
    type=values.whole(2),
    default=defaults.POINTS,
    metavar="N",
    help="Trajectories of Morris's method, or points of Sobol's; more give surer results.",
)
def sensitivity(
    regime: str,
    workers: int | None,
    on: str | None,
    check_limit: float,
    quiet: bool,
    as_json: bool,
    method: str,
    points: int,
    **design: Any,
) -> None:
    """Which of several unknowns moves the odds.

    REGIME is the name or path of a regime, or FILE.py:CLASS.
    """
    from petsim.view import sweep_text

    arguments = inputs.of_a_sweep(design)
    arguments["model"] = inputs.model_for([regime], arguments["model"], check_limit)
    with inputs.workers_at(on) as executor:
        result = petsim.sensitivity(
            regime=regime,
            method=method,
            points=points,
            workers=workers,
            executor=executor,
            check_limit=check_limit,
            progress=not quiet,
            **arguments,
        )
    _print_sweep(result, sweep_text.sensitivity, quiet=quiet, as_json=as_json)


def _print_sweep(
    result: Sweep, text: Callable[[Sweep, int], str], *, quiet: bool, as_json: bool
) -> None:
    """Print what a sweep found, and exit if something is missing from it."""
    with result.snapshot():
        finished, failed = result.finished, result.failed
        if as_json:
            print_json(result.as_dict())
        elif not quiet and (finished or not result.is_sensitivity):
            print_answer(text(result, width()))
    if not finished:
        sys.exit(INTERRUPTED)
    if failed:
        sys.exit(FAILED)


@click.command(cls=Command)
@click.option(
    "--kind",
    metavar="KIND",
    shell_complete=complete.kinds,
    help=f"Which picture. Of regimes: {', '.join(PICTURES['comparison'])}; of a sweep: "
    f"{', '.join(PICTURES['sweep'])}; of a life: {', '.join(PICTURES['life'])}; of a model: "
    f"{', '.join(PICTURES['model'])}. If it is left out, the first of these, or unknowns of a "
    "sensitivity.",
)
@click.option(
    "--zoom",
    type=values.ZOOM,
    metavar="DAY[..DAY]",
    help="Of a life show this day, or the first to the last of several, such as 2..3; day 1 is "
    "that of birth.",
)
@options.of_a_sweep
@options.pictured("MODEL|SWEEP|REGIME...", "FILE.svg, .png or .pdf", complete.whatever_is_drawn)
def plot(
    what: tuple[str, ...],
    kind: str | None,
    zoom: tuple[int, int] | None,
    out: str,
    life: int | None,
    lives: int | None,
    check_limit: float,
    **others: Any,
) -> None:
    """A picture of regimes, of a sweep, of a life or of how a model grows.

    MODEL is the name or path of a model; SWEEP the name of a sweep; REGIME one or more names or
    paths of regimes, or FILE.py:CLASS.
    """
    from petsim.study.writing import path_named
    from petsim.view import plots

    path = path_named(out, ".svg", ".png", ".pdf")
    if zoom is not None and (life is None or kind not in (None, "timeline")):
        raise ArgumentError("--zoom: is of the timeline of a life; expected --life with it")
    how = inputs.of_a_picture(what, others) | ({} if zoom is None else {"zoom": zoom})
    result = inputs.model_alone(what) or inputs.shown(what, life, lives, check_limit, others)
    axes = plots.plot(result, kind, **how)
    write_picture(axes, path)
    _exit_if_interrupted(result)


@click.command(cls=Command)
@options.pictured("SWEEP|REGIME...", "FILE.html or .htm", complete.regimes_or_sweep)
def report(
    what: tuple[str, ...],
    out: str,
    life: int | None,
    lives: int | None,
    check_limit: float,
    **lived: Any,
) -> None:
    """A page to read on a phone or on paper.

    SWEEP is the name of a sweep; REGIME one or more names or paths of regimes, or FILE.py:CLASS.
    """
    from petsim.view import beside

    with beside.helper() if _are_regimes(what, life) else nullcontext() as helper:
        from petsim.study.writing import path_named
        from petsim.view import report as pages

        path = path_named(out, ".html", ".htm")
        result = inputs.shown(what, life, lives, check_limit, lived)
        pages.write(pages.of(result, helper), path)
    print_line(f"{path}: written")
    _exit_if_interrupted(result)


def _are_regimes(what: tuple[str, ...], life: int | None) -> bool:
    """Whether regimes are compared, and it is neither a sweep nor a life that is shown."""
    if life is not None or len(what) > 1:
        return life is None
    from petsim.spec.library import is_sweep

    return not is_sweep(what[0])


@click.command(cls=Command)
@click.argument("name", metavar="SWEEP", shell_complete=complete.sweep)
@click.argument("file", metavar="FILE")
@click.option(
    "--what",
    type=values.Word(choices.TABLES),
    default="odds",
    help="Which table. A row of means is a figure of a cell, one of summary has all figures of a "
    "cell; lives takes a sweep that kept them.",
)
def export(name: str, file: str, what: str) -> None:
    """A sweep's tables as CSV or Parquet, or a copy of all of it.

    SWEEP is the name of a sweep; FILE ends in .csv or .parquet. Or it is a new file that ends in
    .sweep: a copy that is whole, also while the sweep runs.
    """
    rows = petsim.open_sweep(name).export(file, what)
    if file.endswith(".sweep"):
        print_line(f"{file}: a copy, with {rows} lives")
        return
    print_line(f"{file}: {rows} {'row' if rows == 1 else 'rows'} of {what}")


def _exit_if_interrupted(result: object) -> None:
    """Exit if a comparison is of fewer lives than were asked for."""
    if isinstance(result, petsim.Comparison) and result.batches[0].interrupted:
        sys.exit(INTERRUPTED)
