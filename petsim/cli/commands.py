"""The commands, one function each, whose docstring is the help that is printed of it."""

from __future__ import annotations

import json
import shlex
import shutil
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from petsim.cli.asked import (
    Asked,
    of_a_cell,
    of_a_regime,
    of_a_study,
    of_a_sweep,
    shown,
    workers_at,
)

if TYPE_CHECKING:
    import argparse

    from petsim.study.results import Sweep

FAILED = 1
BAD_INPUT = 2
INTERRUPTED = 130


def do_compare(given: argparse.Namespace) -> None:
    """Odds, misses and costs of regimes, side by side."""
    from petsim.study.compare import compare
    from petsim.view import comparison

    result = compare(
        given.model,
        given.regime,
        lives=given.lives,
        precision=given.precision,
        seed=given.seed,
        until=given.until,
        days=given.days,
        aim=given.aim,
        engine=given.engine,
        progress=True,
    )
    if given.json:
        _print_json(result.as_dict())
    else:
        width = shutil.get_terminal_size().columns
        print(comparison.comparison(result, width))
        if (hint := comparison.closer(result, width)) is not None:
            print(f"\n{hint}")
    _exit_if_interrupted(result)


def do_run(given: argparse.Namespace) -> None:
    """One life as a diary."""
    from petsim.errors import ArgumentError
    from petsim.life.simulate import simulate
    from petsim.view import diary

    if (given.regime is None) == (given.sweep is None):
        raise ArgumentError("run: expected either a regime, or --from a sweep with --cell")
    if given.lives is not None and given.outcome is None:
        raise ArgumentError("--lives: is how many to look at for an --outcome; expected both")
    asked = of_a_regime(given) if given.sweep is None else of_a_cell(given)
    number = given.life or 0
    if given.outcome is not None:
        number = _searched(given, asked)
    life = simulate(*asked.who, life=number, **asked.told)
    if given.json:
        _print_json(life.as_dict())
    elif given.csv:
        life.events.to_csv(sys.stdout, index=False)
    else:
        lines = diary.diary(life, given.only)
        if sys.stdout.isatty():
            lines = diary.wrapped(lines, shutil.get_terminal_size().columns)
        print(*lines, sep="\n")


def _searched(given: argparse.Namespace, asked: Asked) -> int:
    """The number of the first life with the outcome that is wanted; exit if none is found."""
    from petsim.study.search import first_with
    from petsim.view.search import searched

    found = first_with(given.outcome, *asked.who, lives=asked.lives, progress=True, **asked.told)
    # beside data it goes where it is in no reader's way
    beside = found.number is None or given.json or given.csv
    print(searched(found), file=sys.stderr if beside else sys.stdout)
    if found.number is None:
        sys.exit(FAILED)
    return found.number


def do_sweep(given: argparse.Namespace) -> None:
    """Many variations, overnight; nothing is lost."""
    from petsim.study.sweep import planned, sweep
    from petsim.view import sweep as view

    asked = of_a_study(given) or of_a_sweep(given)
    width = shutil.get_terminal_size().columns
    if given.plan:
        print(view.plan(planned(**asked, workers=given.workers), width))
        return
    with workers_at(given.on) as executor:
        found = sweep(
            **asked,
            workers=given.workers,
            executor=executor,
            fail_fast=given.fail_fast,
            progress=not given.quiet,
        )
    _print_sweep(found, view.sweep, given)


def do_sensitivity(given: argparse.Namespace) -> None:
    """Which of several unknowns moves the odds."""
    from petsim.study.sensitivity import sensitivity
    from petsim.view import sweep as view

    asked = of_a_sweep(given) | {"method": given.method, "points": given.points}
    [asked["regime"]] = asked.pop("regimes")
    with workers_at(given.on) as executor:
        progress = not given.quiet
        found = sensitivity(**asked, workers=given.workers, executor=executor, progress=progress)
    _print_sweep(found, view.sensitivity, given)


def _print_sweep(
    found: Sweep, text: Callable[[Sweep, int], str], given: argparse.Namespace
) -> None:
    """Print what a sweep found, and exit if something is missing from it."""
    with found.snapshot():
        finished, failed = found.finished, found.failed
        if given.json:
            _print_json(found.as_dict())
        elif not given.quiet and (finished or not found.is_sensitivity):
            print(text(found, shutil.get_terminal_size().columns))
    if not finished:
        sys.exit(INTERRUPTED)
    if failed:
        sys.exit(FAILED)


def do_plot(given: argparse.Namespace) -> None:
    """A picture of regimes, of a sweep or of a life."""
    from petsim.study.writing import path_named, written_whole
    from petsim.view import plots

    path = path_named(given.out, ".svg", ".png", ".pdf")
    result = shown(given)
    drawn = plots.plot(result, given.kind)
    with written_whole(path) as draft:
        plots.save(drawn, draft)
    print(f"{path}: written")
    _exit_if_interrupted(result)


def do_report(given: argparse.Namespace) -> None:
    """A page to read on a phone or on paper."""
    from petsim.study.writing import path_named
    from petsim.view import report

    path = path_named(given.out, ".html", ".htm")
    result = shown(given)
    report.write(report.of(result), path)
    print(f"{path}: written")
    _exit_if_interrupted(result)


def do_export(given: argparse.Namespace) -> None:
    """A sweep's tables as CSV or Parquet."""
    from petsim.study.results import open_sweep

    rows = open_sweep(given.sweep).export(given.file, given.what)
    print(f"{given.file}: {rows} {'row' if rows == 1 else 'rows'} of {given.what}")


def do_trials(given: argparse.Namespace) -> None:
    """What a few real pets say of the odds, and how many it takes."""
    from petsim.errors import ArgumentError
    from petsim.study.trials import tell_apart, trials
    from petsim.view import real_pets

    if (given.trials is None) == (given.tell is None):
        raise ArgumentError("trials: expected either K/N, such as 3/5, or --tell with two odds")
    if given.tell is None and (given.days, given.rigs) != (None, 1):
        raise ArgumentError("trials: --days and --rigs say how long --tell takes; expected it")
    options = {"model": given.model, "aim": given.aim, "seed": given.seed, "lives": given.lives}
    width = shutil.get_terminal_size().columns
    if given.tell is None:
        reached, pets = given.trials
        real = trials(reached, pets, given.odds, progress=True, **options)
        result, said = real.as_dict, real_pets.trials(real, width)
    else:
        first, second = given.tell
        length = {"days": given.days, "rigs": given.rigs}
        plan = tell_apart(first, second, progress=True, **length, **options)
        result, said = plan.as_dict, real_pets.plan(plan, width)
    if given.json:
        _print_json(result())
    else:
        print(said)


def do_verify(given: argparse.Namespace) -> None:
    """Hold petsim on this machine against theory and published figures."""
    from tqdm import tqdm

    from petsim.theory.suite import checks, verify
    from petsim.view import verification

    began, running = time.monotonic(), verify(given.engine, long=given.long)
    # in a pipe there is no bar
    bar = tqdm(running, total=len(checks()), unit=" checks", leave=False, disable=None)
    outcomes, width = [*bar], shutil.get_terminal_size().columns
    write = verification.report if given.figures else verification.brief
    if given.json:
        _print_json([row for outcome in outcomes for row in verification.as_rows(outcome)])
    else:
        print(write(outcomes, time.monotonic() - began, width))
    if not all(outcome.holds for outcome in outcomes):
        sys.exit(FAILED)


def do_show(given: argparse.Namespace) -> None:
    """What was understood of a model or a regime."""
    from petsim.spec.library import load
    from petsim.view.show import show

    print(show(load(given.file)))


def do_check(given: argparse.Namespace) -> None:
    """Say what is wrong with files, all at once."""
    from petsim.life.check import check
    from petsim.spec.study import is_study
    from petsim.study.check import check_study
    from petsim.view.show import passed

    studies = [file for file in given.file if is_study(Path(file))]
    others = [file for file in given.file if file not in studies]
    findings = [*check(others, given.model), *map(check_study, studies)]
    for finding in findings:
        if finding.problems:
            print(*finding.problems, sep="\n", file=sys.stderr)
        else:
            print(passed(finding))
    if any(finding.problems for finding in findings):
        sys.exit(BAD_INPUT)


def do_list(given: argparse.Namespace) -> None:
    """The models and regimes that come with petsim."""
    from petsim.view.show import listing

    print(listing())


def do_new(given: argparse.Namespace) -> None:
    """Write a commented file to start from."""
    from petsim.errors import ArgumentError
    from petsim.spec.library import write_starter

    path: Path = given.name
    try:
        write_starter(given.kind, path)
    except FileExistsError:
        raise ArgumentError(f"{path}: is there already; expected a new file") from None
    except OSError as error:
        raise ArgumentError(f"{path}: can't be written: {error.strerror}") from error
    print(
        f"{path}: written, a {given.kind} to start from; try: petsim check {shlex.quote(str(path))}"
    )


def do_schema(given: argparse.Namespace) -> None:
    """The JSON Schema of the files, for editors."""
    from petsim.spec.schema import json_schema

    _print_json(json_schema(given.kind))


def _exit_if_interrupted(result: object) -> None:
    """Exit if a comparison is of fewer lives than were asked for."""
    from petsim.study.compare import Comparison

    if isinstance(result, Comparison) and result.batches[0].interrupted:
        sys.exit(INTERRUPTED)


def _print_json(data: Any) -> None:
    print(json.dumps(data, indent=2, allow_nan=False))
