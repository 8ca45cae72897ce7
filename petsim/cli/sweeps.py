"""Commands that vary what a regime says: sweeps, sensitivities, and their tables."""

from __future__ import annotations

import sys
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import click

import petsim
from petsim.cli import complete, inputs, options, values
from petsim.cli.output import (
    FAILED,
    INTERRUPTED,
    Command,
    print_answer,
    print_json,
    print_line,
    print_text,
    width,
)
from petsim.spec import choices, defaults

if TYPE_CHECKING:
    from petsim.study.results import Sweep


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
