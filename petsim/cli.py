"""The `petsim` command: one function a subcommand; the only place that prints or exits."""

from __future__ import annotations

import argparse
import errno
import json
import os
import re
import shutil
import signal
import sys
import time
from _thread import interrupt_main, start_new_thread
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING, Any, NamedTuple

from petsim import __version__

if TYPE_CHECKING:
    from concurrent.futures import Executor

    from petsim.study.results import Sweep

FAILED = 1
BAD_INPUT = 2
INTERRUPTED = 130
PATIENCE = 10.0
"""Seconds after which an import is broken off."""
MOMENT = 0.05
"""Seconds after which Ctrl-C is tried again."""


def main(arguments: Sequence[str] | None = None) -> None:
    """Run one command and exit: 0 if all is well, 1 if a check fails, 2 if the input is wrong."""
    given = _parser().parse_args(arguments)
    # what a terminal can't show is written out, not a reason to stop
    sys.stdout.reconfigure(errors="backslashreplace")  # type: ignore[union-attr]
    try:
        with _interrupts_kept():
            given.command(given)
        sys.stdout.flush()
    except BrokenPipeError:
        # the reader (head, less) has seen enough; keep Python from saying so again at exit
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except KeyboardInterrupt:
        print("petsim: interrupted", file=sys.stderr)
        sys.exit(INTERRUPTED)
    except Exception as error:
        if not _is_for_the_user(error):
            raise
        print(error, file=sys.stderr)
        sys.exit(BAD_INPUT)


@contextmanager
def _interrupts_kept() -> Iterator[None]:
    """Ctrl-C once more, a moment later, where it would be lost or would break something.

    It is lost in a destructor, of which other packages have many: Python tells of it but goes on.
    An import that it breaks off ends in any error, or in a crash, when it is of compiled code.
    Other compiled code makes an error of its own of it, which here is Ctrl-C again.
    """
    tell, before = sys.unraisablehook, signal.getsignal(signal.SIGINT)
    patience, is_raised = PATIENCE, False

    def lost(what: Any) -> None:
        if issubclass(what.exc_type, KeyboardInterrupt):
            start_new_thread(_interrupt_later, ())
        else:
            tell(what)

    def interrupt(number: int, frame: FrameType | None) -> None:
        nonlocal patience, is_raised
        if patience > 0 and _is_importing(frame):
            patience -= MOMENT
            start_new_thread(_interrupt_later, ())
        else:
            is_raised = True
            raise _Interrupt

    sys.unraisablehook = lost
    if before is not signal.SIG_IGN:
        signal.signal(signal.SIGINT, interrupt)
    try:
        yield
    except Exception as error:
        if is_raised and not _is_for_the_user(error):
            raise _Interrupt from error
        raise
    finally:
        signal.signal(signal.SIGINT, before)
        sys.unraisablehook = tell


class _Interrupt(KeyboardInterrupt):
    """Ctrl-C.

    Of a plain KeyboardInterrupt that goes through `exec`, as in a named tuple, Python ends as if
    nobody had caught it.
    """


def _interrupt_later() -> None:
    time.sleep(MOMENT)
    interrupt_main()


def _is_importing(frame: FrameType | None) -> bool:
    while frame is not None:
        if frame.f_code.co_name == "_find_and_load":  # of importlib
            return True
        frame = frame.f_back
    return False


def _is_for_the_user(error: Exception) -> bool:
    from petsim.life.policy import PolicyError
    from petsim.life.simulation import ArgumentError
    from petsim.spec.problems import SpecError

    return isinstance(error, SpecError | PolicyError | ArgumentError)


def _compare(given: argparse.Namespace) -> None:
    from petsim.study.compare import compare
    from petsim.view import text

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
        print(text.comparison(result, width))
        if (hint := text.closer(result, width)) is not None:
            print(f"\n{hint}")
    if result.batches[0].interrupted:
        sys.exit(INTERRUPTED)


def _run(given: argparse.Namespace) -> None:
    from petsim.life.simulation import ArgumentError, simulate
    from petsim.view import diary

    if (given.regime is None) == (given.sweep is None):
        raise ArgumentError("run: expected either a regime, or --from a sweep with --cell")
    if given.lives is not None and given.outcome is None:
        raise ArgumentError("--lives: is how many to look at for an --outcome; expected both")
    asked = _of_a_regime(given) if given.sweep is None else _of_a_cell(given)
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


class _Asked(NamedTuple):
    """The pet and its caretaker, how they live, and lives to look at at most."""

    who: tuple[Any, Any]
    told: dict[str, Any]
    lives: int | None


def _of_a_regime(given: argparse.Namespace) -> _Asked:
    """What the command line asks for of a regime."""
    from petsim.life.simulation import ArgumentError

    if given.cell is not None:
        raise ArgumentError("--cell: is one of a sweep; expected --from with it")
    told = {"seed": given.seed, "until": given.until, "days": given.days}
    return _Asked((given.model, given.regime), told, given.lives)


def _of_a_cell(given: argparse.Namespace) -> _Asked:
    """What the command line asks for of a cell of a sweep."""
    from petsim.study.results import open_sweep

    _see_that_the_sweep_says(given, "model", "seed", "until", "days")
    found, cell = open_sweep(given.sweep), given.cell or 0
    design = found.design
    told = {"seed": design.seed, "until": design.until, "days": design.days}
    who = (found.model(cell), found.caretaker(cell))
    return _Asked(who, told, given.lives or design.lives)


def _see_that_the_sweep_says(given: argparse.Namespace, *options: str) -> None:
    """Refuse options that say again what a sweep is."""
    from petsim.life.simulation import ArgumentError

    usual = STUDY_SAYS | {"lives": None}
    for option in options:
        if getattr(given, option) != usual[option]:
            raise ArgumentError(f"--{option}: is as in the sweep; expected no such option with it")


def _searched(given: argparse.Namespace, asked: _Asked) -> int:
    """The number of the first life with the outcome that is wanted; exit if none is found."""
    from petsim.study.search import first_with
    from petsim.view import text

    found = first_with(given.outcome, *asked.who, lives=asked.lives, progress=True, **asked.told)
    # beside data it goes where it is in no reader's way
    beside = found.number is None or given.json or given.csv
    print(text.searched(found), file=sys.stderr if beside else sys.stdout)
    if found.number is None:
        sys.exit(FAILED)
    return found.number


def _sweep(given: argparse.Namespace) -> None:
    from petsim.study.sweep import planned, sweep
    from petsim.view import sweep as view

    asked = _study(given) or _asked(given)
    width = shutil.get_terminal_size().columns
    if given.plan:
        print(view.plan(planned(**asked, workers=given.workers), width))
        return
    with _executor(given.on) as executor:
        found = sweep(
            **asked,
            workers=given.workers,
            executor=executor,
            fail_fast=given.fail_fast,
            progress=not given.quiet,
        )
    _print_sweep(found, view.sweep, given)


def _sensitivity(given: argparse.Namespace) -> None:
    from petsim.study.sensitivity import sensitivity
    from petsim.view import sweep as view

    asked = _asked(given) | {"method": given.method, "points": given.points}
    [asked["regime"]] = asked.pop("regimes")
    with _executor(given.on) as executor:
        progress = not given.quiet
        found = sensitivity(**asked, workers=given.workers, executor=executor, progress=progress)
    _print_sweep(found, view.sensitivity, given)


def _print_sweep(
    found: Sweep, text: Callable[[Sweep, int], str], given: argparse.Namespace
) -> None:
    """Print what a sweep found, and exit if something is missing from it."""
    finished, failed = found.finished, found.failed
    if given.json:
        _print_json(found.as_dict())
    elif not given.quiet and (finished or not found.is_sensitivity):
        print(text(found, shutil.get_terminal_size().columns))
    if not finished:
        sys.exit(INTERRUPTED)
    if failed:
        sys.exit(FAILED)


STUDY_SAYS = {
    "model": "lamplet",
    "lives": 1_000,
    "seed": 0,
    "sample": None,
    "points": None,
    "until": None,
    "days": None,
    "aim": None,
    "keep": "sums",
}
"""What a study file says, and what the options are if they are not given."""


def _study(given: argparse.Namespace) -> dict[str, Any] | None:
    """What a sweep is by a study file, if it is given one."""
    from petsim.life.simulation import ArgumentError
    from petsim.spec.document import is_file
    from petsim.spec.study import is_study, load_study
    from petsim.study.check import asked_by

    path = Path(given.regime[0])
    if path.suffix not in (".yaml", ".yml"):
        return None
    if not is_file(path):
        raise ArgumentError(f"{path}: no such file; expected a YAML file")
    if not is_study(path):
        return None
    if len(given.regime) > 1 or given.vary:
        raise ArgumentError(f"{path}: is a study, which says itself what varies under which")
    study = load_study(path)
    for option, usual in STUDY_SAYS.items():
        if getattr(given, option) != usual:
            raise ArgumentError(f"--{option}: is for {path} to say; expected it changed there")
    out = given.out or path.with_suffix("")
    return asked_by(study) | {"engine": given.engine, "out": out}


def _asked(given: argparse.Namespace) -> dict[str, Any]:
    """What a sweep is by the command line."""
    from petsim.life.simulation import ArgumentError

    if given.out is None:
        raise ArgumentError("--out: missing; expected the name of the file for the results")
    paths = [path for path, _ in given.vary]
    for path in paths:
        if paths.count(path) > 1:
            raise ArgumentError(f"--vary: {path} is given twice; expected all its values in one")
    named = ("engine", "model", "out", "lives", "sample", "points", "seed", "until", "days", "aim")
    return {name: getattr(given, name) for name in named if hasattr(given, name)} | {
        "regimes": given.regime,
        "vary": dict(given.vary),
        "keep": given.keep == "lives",
    }


@contextmanager
def _executor(address: str | None) -> Iterator[Executor | None]:
    """A cluster to live lives on, if there is an address."""
    if address is None:
        yield None
        return
    from petsim.study.cluster import cluster

    with cluster(address) as executor:
        yield executor


def _plot(given: argparse.Namespace) -> None:
    from petsim.life.simulation import ArgumentError
    from petsim.view import plots

    path = _named(given.out, ".svg", ".png", ".pdf")
    drawn = plots.plot(_result(given), given.kind)
    try:
        plots.save(drawn, path)
    except OSError as error:
        raise ArgumentError(f"{path}: can't be written: {error.strerror}") from error
    print(f"{path}: written")


def _report(given: argparse.Namespace) -> None:
    from petsim.view import report

    path = _named(given.out, ".html", ".htm")
    report.write(report.of(_result(given)), path)
    print(f"{path}: written")


def _named(name: str, *ends: str) -> Path:
    """The path of a file that a kind of result can be written to, by how its name ends."""
    from petsim.life.simulation import ArgumentError
    from petsim.spec.problems import quote

    path, (*others, last) = Path(name), ends
    if path.suffix not in ends:
        ends_in = f"{', '.join(others)} or {last}"
        raise ArgumentError(f"{name or quote(name)}: expected a name that ends in {ends_in}")
    # told before lives are lived for it
    if not path.parent.is_dir():
        raise ArgumentError(f"{path}: can't be written: {os.strerror(errno.ENOENT)}")
    return path


def _result(given: argparse.Namespace) -> Any:
    """What is to be shown: a sweep by its name, a life by its number, or regimes side by side."""
    from petsim.life.simulation import ArgumentError, simulate
    from petsim.study.compare import compare
    from petsim.study.results import open_sweep

    [first, *others] = given.what
    if not others and _names_a_sweep(first):
        if given.life is not None:
            raise ArgumentError("--life: is of a regime; of a sweep, see petsim run --from")
        _see_that_the_sweep_says(given, "lives", "model", "seed", "until", "days")
        return open_sweep(first)
    for name in given.what:
        _see_that_it_is_no_sweep(name)
    told = {"seed": given.seed, "until": given.until, "days": given.days}
    if given.life is None:
        return compare(given.model, given.what, lives=given.lives, progress=True, **told)
    if others:
        raise ArgumentError(f"--life: of {first} or of {others[0]}? expected one regime")
    if given.lives is not None:
        raise ArgumentError("--lives: is of a comparison; expected it without --life")
    return simulate(given.model, first, life=given.life, **told)


def _names_a_sweep(name: str) -> bool:
    """Whether there is a sweep of this name."""
    from petsim.life.simulation import ArgumentError
    from petsim.spec.document import is_file
    from petsim.study.store import sweep_path

    try:
        return is_file(sweep_path(name))
    except ArgumentError:
        return False


def _see_that_it_is_no_sweep(name: str) -> None:
    """Refuse the name of a sweep, or one that is nearest to a sweep's, where regimes are meant."""
    from petsim.life.caretaker import names_a_policy
    from petsim.life.simulation import ArgumentError
    from petsim.spec.document import is_file
    from petsim.spec.library import shipped
    from petsim.spec.problems import near_miss, quote

    regimes, path = shipped("regimes"), Path(name)
    is_other_file = is_file(path) and path.suffix != ".sweep"
    if name in regimes or name.endswith((".yaml", ".yml")) or names_a_policy(name) or is_other_file:
        return
    if _names_a_sweep(name):
        raise ArgumentError(f"{name}: is a sweep, which is drawn by itself; expected it alone")
    sweeps = [other.stem for other in path.parent.glob("*.sweep")]
    close = near_miss(path.name.removesuffix(".sweep"), [*regimes, *sweeps])
    if close in sweeps and close not in regimes:
        meant = quote(str(path.with_name(close)))
        raise ArgumentError(
            f"{quote(name)}: found no such regime or sweep; did you mean the sweep {meant}?"
        )


def _export(given: argparse.Namespace) -> None:
    from petsim.study.results import open_sweep

    rows = open_sweep(given.sweep).export(given.file, given.what)
    print(f"{given.file}: {rows} {'row' if rows == 1 else 'rows'} of {given.what}")


def _trials(given: argparse.Namespace) -> None:
    from petsim.life.simulation import ArgumentError
    from petsim.study.trials import tell_apart, trials
    from petsim.view import evidence

    if (given.trials is None) == (given.tell is None):
        raise ArgumentError("trials: expected either K/N, such as 3/5, or --tell with two odds")
    options = {"model": given.model, "aim": given.aim, "seed": given.seed, "lives": given.lives}
    width = shutil.get_terminal_size().columns
    if given.tell is None:
        reached, pets = given.trials
        real = trials(reached, pets, given.odds, progress=True, **options)
        result, said = real.as_dict, evidence.trials(real, width)
    else:
        first, second = given.tell
        length = {"days": given.days, "rigs": given.rigs}
        plan = tell_apart(first, second, progress=True, **length, **options)
        result, said = plan.as_dict, evidence.plan(plan, width)
    if given.json:
        _print_json(result())
    else:
        print(said)


def _verify(given: argparse.Namespace) -> None:
    from tqdm import tqdm

    from petsim.theory.suite import checks, verify
    from petsim.view import verdicts

    began, running = time.monotonic(), verify(given.engine, long=given.long)
    # in a pipe there is no bar
    bar = tqdm(running, total=len(checks()), unit=" checks", leave=False, disable=None)
    outcomes, width = [*bar], shutil.get_terminal_size().columns
    write = verdicts.report if given.figures else verdicts.brief
    if given.json:
        _print_json([row for outcome in outcomes for row in verdicts.as_rows(outcome)])
    else:
        print(write(outcomes, time.monotonic() - began, width))
    if not all(outcome.holds for outcome in outcomes):
        sys.exit(FAILED)


def _show(given: argparse.Namespace) -> None:
    from petsim.spec.library import load
    from petsim.view.show import show

    print(show(load(given.file)))


def _check(given: argparse.Namespace) -> None:
    from petsim.life.check import check
    from petsim.spec.study import is_study
    from petsim.study.check import check_study
    from petsim.view.show import well

    studies = [file for file in given.file if is_study(Path(file))]
    others = [file for file in given.file if file not in studies]
    findings = [*check(others, given.model), *map(check_study, studies)]
    for finding in findings:
        if finding.problems:
            print(*finding.problems, sep="\n", file=sys.stderr)
        else:
            print(well(finding))
    if any(finding.problems for finding in findings):
        sys.exit(BAD_INPUT)


def _list(given: argparse.Namespace) -> None:
    from petsim.view.show import listing

    print(listing())


def _new(given: argparse.Namespace) -> None:
    from petsim.life.simulation import ArgumentError
    from petsim.spec.library import write_starter

    path: Path = given.name
    try:
        write_starter(given.kind, path)
    except FileExistsError:
        raise ArgumentError(f"{path}: is there already; expected a new file") from None
    except OSError as error:
        raise ArgumentError(f"{path}: cannot be written: {error.strerror}") from error
    print(f"{path}: written, a {given.kind} to start from; try: petsim check {path}")


def _schema(given: argparse.Namespace) -> None:
    from petsim.spec.schema import json_schema

    _print_json(json_schema(given.kind))


def _print_json(data: Any) -> None:
    print(json.dumps(data, indent=2, allow_nan=False))


class _Parser(argparse.ArgumentParser):
    """A parser that says what may have been meant, by the command that was asked for."""

    def parse_known_args(self, args: Any = None, namespace: Any = None) -> Any:
        """Parse what is known, and refuse the rest."""
        given, rest = super().parse_known_args(args, namespace)
        if rest:
            self.error(f"unrecognized arguments: {' '.join(rest)}{self._meant(rest[0])}")
        return given, rest

    def _meant(self, argument: str) -> str:
        from petsim.spec.problems import near_miss, quote

        close = near_miss(argument.partition("=")[0], self._option_string_actions)
        return f"; did you mean {quote(close)}?" if argument.startswith("-") and close else ""

    def _check_value(self, action: argparse.Action, value: Any) -> None:
        from petsim.spec.problems import near_miss, quote

        known = [*(action.choices or ())]
        if known and value not in known:
            close = near_miss(value, known)
            all_of_them = f"expected one of {', '.join(map(quote, known))}"
            expected = all_of_them if close is None else f"did you mean {quote(close)}?"
            raise argparse.ArgumentError(action, f"{value!r}; {expected}")


def _parser() -> argparse.ArgumentParser:
    parser = _Parser(
        prog="petsim",
        description="Try out how a virtual pet is looked after, before touching hardware.",
    )
    parser.add_argument("--version", action="version", version=f"petsim {__version__}")
    commands = parser.add_subparsers(title="commands", required=True, metavar="COMMAND")

    def add(name: str, does: str) -> argparse.ArgumentParser:
        return commands.add_parser(name, help=does, description=f"{does[0].upper()}{does[1:]}.")

    _add_compare(add("compare", "odds, misses and costs of regimes, side by side"))
    _add_run(add("run", "one life as a diary"))
    _add_sweep(add("sweep", "many variations, overnight; nothing is lost"))
    _add_sensitivity(add("sensitivity", "which of several unknowns moves the odds"))
    plot = add("plot", "a picture of regimes, of a sweep or of a life")
    plot.set_defaults(command=_plot)
    plot.add_argument(
        "--kind",
        metavar="KIND",
        help="of regimes: odds (default), misses, differences, cost, forms (which it has when, "
        "under the first), hours (when misses happen); of a sweep: along (default), heat-map, "
        "differences, cost; of a life: timeline (default), hours",
    )
    _add_result(plot, "FILE.svg, .png or .pdf")
    report = add("report", "a page to read on a phone or on paper")
    report.set_defaults(command=_report)
    _add_result(report, "FILE.html or .htm")
    export = add("export", "a sweep's tables as CSV or Parquet")
    export.set_defaults(command=_export)
    export.add_argument("sweep", metavar="SWEEP", help="name of the sweep")
    export.add_argument("file", metavar="FILE", help="FILE.csv or FILE.parquet")
    export.add_argument(
        "--what",
        choices=("odds", "differences", "cells", "lives"),
        default="odds",
        help="which table (default odds); lives if the sweep kept them",
    )

    _add_trials(add("trials", "what a few real pets say of the odds, and how many it takes"))

    verify = add("verify", "hold petsim on this machine against theory and published figures")
    verify.set_defaults(command=_verify)
    verify.add_argument(
        "--engine",
        choices=("reference", "compiled"),
        help="what lives the lives (default: both, the reference engine a fifth as many)",
    )
    verify.add_argument(
        "--figures",
        action="store_true",
        help="print every figure, not only those of checks that fail",
    )
    verify.add_argument("--long", action="store_true", help="live 100 times as many lives")
    verify.add_argument("--json", action="store_true", help="print every figure as JSON")

    show = add("show", "what was understood of a model or a regime")
    show.set_defaults(command=_show)
    show.add_argument("file", metavar="MODEL|REGIME", help="name or path")

    check = add("check", "say what is wrong with files, all at once")
    check.set_defaults(command=_check)
    check.add_argument(
        "file",
        nargs="+",
        metavar="FILE",
        help="models, regimes, studies, policies as FILE.py:CLASS",
    )
    check.add_argument(
        "--model",
        default="lamplet",
        help="check against this if there is no model among the files (default lamplet)",
    )

    listing = add("list", "the models and regimes that come with petsim")
    listing.set_defaults(command=_list)

    new = add("new", "write a commented file to start from")
    new.set_defaults(command=_new)
    new.add_argument("kind", choices=("model", "regime"))
    new.add_argument(
        "name", type=_new_file, metavar="NAME", help="NAME.yaml is written, never over another file"
    )

    schema = add("schema", "JSON Schema of the files, for editors")
    schema.set_defaults(command=_schema)
    schema.add_argument("kind", choices=("model", "regime"))
    return parser


def _add_compare(compare: argparse.ArgumentParser) -> None:
    compare.set_defaults(command=_compare)
    compare.add_argument(
        "regime",
        nargs="+",
        metavar="REGIME",
        help="name or path of a regime, or FILE.py:CLASS; later ones are compared with the first",
    )
    compare.add_argument(
        "--lives",
        type=_whole(1),
        metavar="N",
        help="lives under each regime (default 5000, or 1000 if there is a Python policy); with "
        "--precision the most of them (100,000 or 10,000)",
    )
    compare.add_argument(
        "--precision",
        type=_half_width,
        metavar="P",
        help="as many lives as it takes to know the differences, or the odds of one regime, to "
        "within ± P percentage points, such as 1%%",
    )
    compare.add_argument(
        "--aim", metavar="FORM", help="outcome to compare the odds of (default: the model's aim)"
    )
    _add_life_options(compare)
    compare.add_argument(
        "--engine",
        choices=("auto", "reference", "compiled"),
        default="auto",
        help="what lives the lives: the fastest that can (auto), or one by name; never matters "
        "to the result",
    )
    compare.add_argument("--json", action="store_true", help="print the result as JSON")


def _add_run(run: argparse.ArgumentParser) -> None:
    run.set_defaults(command=_run)
    run.add_argument("regime", nargs="?", metavar="REGIME", help="name or path, or FILE.py:CLASS")
    run.add_argument(
        "--from", dest="sweep", metavar="SWEEP", help="a life of a sweep, with its model and regime"
    )
    run.add_argument("--cell", type=_whole(0), metavar="C", help="which cell of it (default 0)")
    which = run.add_mutually_exclusive_group()
    which.add_argument("--life", type=_whole(0), metavar="K", help="number of the life (default 0)")
    which.add_argument(
        "--outcome",
        metavar="OUTCOME",
        help="or the first life that ends so: a form, a cause of death, or undecided",
    )
    run.add_argument(
        "--lives",
        type=_whole(1),
        metavar="N",
        help="lives to look at for it at most (default 5000, or 1000 under a Python policy, or as "
        "many as are in the cell)",
    )
    _add_life_options(run)
    output = run.add_mutually_exclusive_group()
    output.add_argument(
        "--only",
        action="append",
        type=_entries,
        metavar="ENTRIES",
        help="keep to misses, growth, care, needs, illness, discipline, sleep or power; "
        "may be given more than once",
    )
    output.add_argument("--json", action="store_true", help="print summary and event log as JSON")
    output.add_argument("--csv", action="store_true", help="print the event log as CSV")


def _add_sweep(sweep: argparse.ArgumentParser) -> None:
    sweep.set_defaults(command=_sweep)
    sweep.add_argument(
        "regime",
        nargs="+",
        metavar="REGIME|STUDY",
        help="names or paths of regimes, or FILE.py:CLASS; or a study file, which says all but "
        "--out, --engine, --workers and --on",
    )
    _add_variation(sweep)
    sweep.add_argument(
        "--sample", choices=("latin", "sobol"), help="points instead of the whole grid"
    )
    sweep.add_argument("--points", type=_whole(1), metavar="N", help="how many of them")
    sweep.add_argument("--plan", action="store_true", help="say what it would take, and stop")
    sweep.add_argument("--fail-fast", action="store_true", help="stop at the first cell that fails")


def _add_sensitivity(sensitivity: argparse.ArgumentParser) -> None:
    sensitivity.set_defaults(command=_sensitivity)
    sensitivity.add_argument(
        "regime", nargs=1, metavar="REGIME", help="name or path of a regime, or FILE.py:CLASS"
    )
    _add_variation(sensitivity)
    sensitivity.add_argument(
        "--method",
        choices=("morris", "sobol"),
        default="morris",
        help="Morris's screening (default), or Sobol indices, which take more cells",
    )
    sensitivity.add_argument(
        "--points", type=_whole(2), default=16, metavar="N", help="trajectories (default 16)"
    )


def _add_variation(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--vary",
        action="append",
        default=[],
        type=_variation,
        metavar="PATH=VALUES",
        help="what varies: checks.every=2min..60min/2min, eyes.ill.overlooks=0,1%%,5%%; may be "
        "given more than once",
    )
    command.add_argument(
        "--lives", type=_whole(1), default=1_000, metavar="N", help="in each cell (default 1000)"
    )
    command.add_argument("--out", metavar="NAME", help="results go to NAME.sweep")
    command.add_argument(
        "--aim", metavar="FORM", help="outcome aimed for (default: the model's aim)"
    )
    command.add_argument(
        "--keep",
        choices=("sums", "lives"),
        default="sums",
        help="keep sums and outcomes (default), or every life's row",
    )
    _add_life_options(command)
    command.add_argument(
        "--engine",
        choices=("auto", "reference", "compiled"),
        default="auto",
        help="what lives the lives; never matters to the result",
    )
    command.add_argument(
        "--workers", type=_whole(1), metavar="N", help="processors to use (default: all)"
    )
    command.add_argument(
        "--on",
        type=_address,
        metavar="ADDRESS",
        help="a Dask scheduler to live them on, tcp://host:8786",
    )
    command.add_argument("--quiet", action="store_true", help="no bar and no table")
    command.add_argument("--json", action="store_true", help="print what was found as JSON")


def _add_result(command: argparse.ArgumentParser, file: str) -> None:
    command.add_argument(
        "what", nargs="+", metavar="SWEEP|REGIME", help="name of a sweep, or regimes to compare"
    )
    command.add_argument("-o", "--out", required=True, metavar="FILE", help=f"written to {file}")
    command.add_argument(
        "--life", type=_whole(0), metavar="K", help="show this life under the regime"
    )
    command.add_argument(
        "--lives", type=_whole(1), metavar="N", help="lives under each regime (as compare)"
    )
    _add_life_options(command)


def _add_trials(trials: argparse.ArgumentParser) -> None:
    trials.set_defaults(command=_trials)
    trials.add_argument(
        "trials",
        nargs="?",
        type=_reached,
        metavar="K/N",
        help="real pets that became what was aimed for, of how many",
    )
    trials.add_argument(
        "odds",
        nargs="?",
        type=_odds,
        metavar="ODDS|REGIME",
        help="odds to hold them against, such as 74%%, or a regime to simulate",
    )
    trials.add_argument(
        "--tell",
        nargs=2,
        type=_odds,
        metavar="ODDS|REGIME",
        help="how many real pets it takes to tell these two odds apart",
    )
    trials.add_argument(
        "--days",
        type=_positive,
        metavar="D",
        help="days a real life takes to its outcome (default: as simulated, or 7)",
    )
    trials.add_argument(
        "--rigs",
        type=_whole(1),
        default=1,
        metavar="N",
        help="pets that live at a time (default 1)",
    )
    trials.add_argument(
        "--model", default="lamplet", help="name or path of a model to simulate (default lamplet)"
    )
    trials.add_argument("--aim", metavar="FORM", help="outcome aimed for (default: the model's)")
    trials.add_argument(
        "--lives", type=_whole(1), metavar="N", help="lives to simulate under a regime (as compare)"
    )
    trials.add_argument(
        "--seed", type=_whole(0), default=0, metavar="S", help="seed of the luck (default 0)"
    )
    trials.add_argument("--json", action="store_true", help="print the result as JSON")


def _add_life_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--model", default="lamplet", help="name or path of a model (default lamplet)"
    )
    parser.add_argument(
        "--seed", type=_whole(0), default=0, metavar="S", help="seed of the luck (default 0)"
    )
    length = parser.add_mutually_exclusive_group()
    length.add_argument(
        "--until",
        choices=("outcome", "death"),
        help="follow each life to its outcome (default) or to its death",
    )
    length.add_argument("--days", type=_positive, metavar="D", help="or for so many days")


def _whole(least: int) -> Callable[[str], int]:
    def number(text: str) -> int:
        value = int(text) if text.isascii() and text.isdigit() and len(text) < 21 else -1
        if not least <= value < 2**64:
            raise argparse.ArgumentTypeError(f"{text!r}; expected a whole number from {least} up")
        return value

    return number


def _positive(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = 0.0
    if not 0 < value < float("inf"):
        raise argparse.ArgumentTypeError(f"{text!r}; expected a number of days above 0")
    return value


def _variation(text: str) -> tuple[str, str]:
    path, equals, values = map(str.strip, text.partition("="))
    if not equals or not path or not values:
        raise argparse.ArgumentTypeError(f"{text!r}; expected PATH=VALUES")
    return path, values


def _address(text: str) -> str:
    if not text.strip():
        raise argparse.ArgumentTypeError(f"{text!r}; expected an address such as tcp://host:8786")
    return text


def _reached(text: str) -> tuple[int, int]:
    reached, slash, pets = text.partition("/")
    if not (slash and all(part.isascii() and part.isdigit() for part in (reached, pets))):
        raise argparse.ArgumentTypeError(f"{text!r}; expected two numbers such as 3/5")
    return int(reached), int(pets)


def _odds(text: str) -> float | str:
    """Odds in per cent or as a number; anything else is a regime."""
    from petsim.spec.problems import MisfitError
    from petsim.spec.quantities import chance

    try:
        return chance(text)
    except MisfitError as misfit:
        if re.fullmatch(r"[-+]?[0-9.]+ ?%?", text):
            raise argparse.ArgumentTypeError(f"{text!r}; {misfit.expected}") from None
        return text


def _half_width(text: str) -> float:
    from petsim.spec.problems import MisfitError
    from petsim.spec.quantities import chance

    try:
        value = chance(text)
    except MisfitError:
        value = 0.0
    if not 0 < value < 0.5:
        raise argparse.ArgumentTypeError(f"{text!r}; expected a share such as 1%, below 50%")
    return value


def _entries(text: str) -> str:
    from petsim.spec.problems import unknown
    from petsim.view.diary import KINDS_OF

    if text not in KINDS_OF:
        misfit = unknown("kind of entry", text, KINDS_OF)
        raise argparse.ArgumentTypeError(f"{misfit.found}; {misfit.expected}")
    return text


def _new_file(text: str) -> Path:
    path = Path(text)
    if path.name.strip() in ("", ".."):
        raise argparse.ArgumentTypeError(f"{text!r}; expected the name of a new file")
    is_named = path.suffix in (".yaml", ".yml")
    return path if is_named else path.with_name(f"{path.name}.yaml")
