"""The command line: what can be written, and what of it is understood."""

from __future__ import annotations

import argparse
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

from petsim._version import __version__
from petsim.cli import commands
from petsim.spec import defaults


class _Parser(argparse.ArgumentParser):
    """A parser that says what may have been meant, by the command that was asked for."""

    def parse_known_args(self, args: Any = None, namespace: Any = None) -> Any:
        """Parse what is known, and refuse the rest."""
        given, rest = super().parse_known_args(args, namespace)
        if rest:
            self.error(f"unrecognized arguments: {' '.join(rest)}{self._meant(rest[0])}")
        return given, rest

    def _meant(self, argument: str) -> str:
        from petsim.errors import near_miss, quote

        close = near_miss(argument.partition("=")[0], self._option_string_actions)
        return f"; did you mean {quote(close)}?" if argument.startswith("-") and close else ""

    def _check_value(self, action: argparse.Action, value: Any) -> None:
        from petsim.errors import choice

        known = [*(action.choices or ())]
        if known and value not in known:
            expected = choice(value, known, most=len(known))
            raise argparse.ArgumentError(action, f"{value!r}; {expected}")


def parser() -> _Parser:
    """The parser of all commands; of what it parses, `command` is the function to call with it."""
    found = _Parser(
        prog="petsim",
        description="Try out how a virtual pet is looked after, before touching hardware.",
    )
    found.add_argument("--version", action="version", version=f"petsim {__version__}")
    added = found.add_subparsers(title="commands", required=True, metavar="COMMAND")

    def add(command: Callable[[argparse.Namespace], None]) -> _Parser:
        """Add a command by its name and by what its docstring says that it does."""
        name, does = command.__name__.removeprefix("do_"), command.__doc__ or ""
        summary = does.rstrip(".")
        one = added.add_parser(name, help=summary[:1].lower() + summary[1:], description=does)
        one.set_defaults(command=command)
        return one

    _add_compare(add(commands.do_compare))
    _add_run(add(commands.do_run))
    _add_sweep(add(commands.do_sweep))
    _add_sensitivity(add(commands.do_sensitivity))
    _add_plot(add(commands.do_plot))
    _add_result(add(commands.do_report), "FILE.html or .htm")
    _add_export(add(commands.do_export))
    _add_trials(add(commands.do_trials))
    _add_verify(add(commands.do_verify))
    add(commands.do_show).add_argument("file", metavar="MODEL|REGIME", help="name or path")
    _add_check(add(commands.do_check))
    add(commands.do_list)
    _add_new(add(commands.do_new))
    add(commands.do_schema).add_argument("kind", choices=("model", "regime"))
    return found


def _add_compare(compare: argparse.ArgumentParser) -> None:
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
        help="lives under each regime (default 5000, or 1000 if the reference engine "
        "lives any of them); with --precision the most of them (100,000 or 10,000)",
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
        "--lives",
        type=_whole(1),
        default=defaults.CELL_LIVES,
        metavar="N",
        help="in each cell (default 1000)",
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


def _add_plot(plot: argparse.ArgumentParser) -> None:
    plot.add_argument(
        "--kind",
        metavar="KIND",
        help="of regimes: odds (default), misses, differences, cost, forms (which it has when, "
        "under the first), hours (when misses happen); of a sweep: along (default), heat-map, "
        "differences, cost, unknowns (default of a sensitivity: which matters); of a life: "
        "timeline (default), hours",
    )
    _add_result(plot, "FILE.svg, .png or .pdf")


def _add_export(export: argparse.ArgumentParser) -> None:
    export.add_argument("sweep", metavar="SWEEP", help="name of the sweep")
    export.add_argument("file", metavar="FILE", help="FILE.csv or FILE.parquet")
    export.add_argument(
        "--what",
        choices=("odds", "differences", "means", "cells", "lives"),
        default="odds",
        help="which table (default odds); means of all figures; lives if the sweep kept them",
    )


def _add_trials(trials: argparse.ArgumentParser) -> None:
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
        "--model",
        default=defaults.MODEL,
        help="name or path of a model to simulate (default lamplet)",
    )
    trials.add_argument("--aim", metavar="FORM", help="outcome aimed for (default: the model's)")
    trials.add_argument(
        "--lives", type=_whole(1), metavar="N", help="lives to simulate under a regime (as compare)"
    )
    _add_seed(trials)
    trials.add_argument("--json", action="store_true", help="print the result as JSON")


def _add_verify(verify: argparse.ArgumentParser) -> None:
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


def _add_check(check: argparse.ArgumentParser) -> None:
    check.add_argument(
        "file",
        nargs="+",
        metavar="FILE",
        help="models, regimes, studies, policies as FILE.py:CLASS",
    )
    check.add_argument(
        "--model",
        default=defaults.MODEL,
        help="check against this if there is no model among the files (default lamplet)",
    )


def _add_new(new: argparse.ArgumentParser) -> None:
    new.add_argument("kind", choices=("model", "regime"))
    new.add_argument(
        "name", type=_new_file, metavar="NAME", help="NAME.yaml is written, never over another file"
    )


def _add_life_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--model", default=defaults.MODEL, help="name or path of a model (default lamplet)"
    )
    _add_seed(parser)
    length = parser.add_mutually_exclusive_group()
    length.add_argument(
        "--until",
        choices=("outcome", "death"),
        help="follow each life to its outcome (default) or to its death",
    )
    length.add_argument("--days", type=_positive, metavar="D", help="or for so many days")


def _add_seed(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--seed",
        type=_whole(0),
        default=defaults.SEED,
        metavar="S",
        help="seed of the luck (default 0)",
    )


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
    from petsim.errors import MisfitError
    from petsim.spec.quantities import chance

    try:
        return chance(text)
    except MisfitError as misfit:
        if re.fullmatch(r"[-+]?[0-9.]+ ?%?", text):
            raise argparse.ArgumentTypeError(f"{text!r}; {misfit.expected}") from None
        return text


def _half_width(text: str) -> float:
    from petsim.errors import MisfitError
    from petsim.spec.quantities import chance

    try:
        value = chance(text)
    except MisfitError:
        value = 0.0
    if not 0 < value < 0.5:
        raise argparse.ArgumentTypeError(f"{text!r}; expected a share such as 1%, below 50%")
    return value


def _entries(text: str) -> str:
    from petsim.errors import unknown
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
