"""The command that asks why odds fall."""

from __future__ import annotations

from typing import Any

import click

import petsim
from petsim.cli import complete, inputs, options, values
from petsim.cli.answers import files_named, give
from petsim.cli.output import Command


@click.command(cls=Command)
@click.argument("regime", metavar="REGIME", shell_complete=complete.regimes)
@options.models
@options.aim
@options.followed
@click.option(
    "--lives",
    type=values.whole(1),
    metavar="N",
    show_default="10000, or 400 under a Python policy",
    help="Lives of the regime and of its routine done flawlessly.",
)
@click.option(
    "--precision",
    type=values.HALF_WIDTH,
    metavar="P",
    default="1%",
    help="Work out what each imperfection costs to within ± P percentage points, as far as the "
    "lives allow.",
)
@options.workers
@options.check_limit
@options.shown_too
@options.as_json
def explain(
    regime: str,
    models: tuple[str, ...],
    weights: tuple[float, ...],
    check_limit: float,
    report: str | None,
    plot: str | None,
    as_json: bool,
    **how: Any,
) -> None:
    """Why the odds fall, and what each imperfection costs.

    REGIME is the name or path of a regime, or FILE.py:CLASS. It is held against its own routine,
    carried out flawlessly every minute.
    """
    from petsim.view import explained

    files = files_named(report, plot)
    guesses, believed = inputs.models_for([regime], models, weights, check_limit)
    found = petsim.explain(
        guesses, regime, weights=believed, check_limit=check_limit, progress=True, **how
    )
    give(found, explained.answer(found), files, as_json=as_json)
