"""The command that asks how good eyes, hands, power and people must be."""

from __future__ import annotations

from typing import Any

import click

import petsim
from petsim.cli import inputs, options, values
from petsim.cli.answers import files_named, give
from petsim.cli.output import Command


@click.command(cls=Command)
@options.regime
@click.option(
    "--at-least",
    type=values.SHARE,
    default="90%",
    metavar="P",
    help="Odds of the aim that are to hold, such as 90%.",
)
@options.models
@options.aim
@options.followed
@click.option(
    "--lives",
    type=values.whole(1),
    metavar="N",
    show_default="5000, or 1000 under a Python policy",
    help="Lives at each value that is tried, at most.",
)
@click.option(
    "--precision",
    type=values.SHARE,
    metavar="P",
    default="20%",
    help="Find each limit to within ± P of itself, as far as the lives allow.",
)
@options.workers
@options.check_limit
@options.shown_too
@options.as_json
def tolerance(
    regime: str,
    models: tuple[str, ...],
    weights: tuple[float, ...],
    check_limit: float,
    report: str | None,
    plot: str | None,
    as_json: bool,
    **how: Any,
) -> None:
    """How good eyes, hands and power must be.

    REGIME is the name or path of a regime, or FILE.py:CLASS: a rig or a rota as it is today. The
    limit of each thing is found by itself, all else as it is.
    """
    from petsim.view import tolerances

    files = files_named(report, plot)
    guesses, believed = inputs.models_for([regime], models, weights, check_limit)
    found = petsim.tolerance(
        guesses, regime, weights=believed, check_limit=check_limit, progress=True, **how
    )
    give(found, tolerances.answer(found), files, as_json=as_json, interrupted=found.interrupted)
