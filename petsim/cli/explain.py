"""The command that asks why odds fall, or why one life went wrong."""

from __future__ import annotations

from typing import Any

import click

import petsim
from petsim.cli import inputs, options, values
from petsim.cli.answers import files_named, give
from petsim.cli.explain_life import explain_life
from petsim.cli.output import Command
from petsim.errors import ArgumentError

OF_MANY = ("weights", "precision", "workers")
"""Options that make sense for many lives only."""


@click.command(cls=Command)
@options.regime
@click.option(
    "--life",
    type=values.whole(0),
    metavar="K",
    callback=options.apart_from("worst", "typical"),
    help="Say instead why life K went wrong, and what alone would have saved it.",
)
@click.option(
    "--worst",
    is_flag=True,
    callback=options.apart_from("life", "typical"),
    help="The same for the worst life: the one that died first, or else has most care misses.",
)
@click.option(
    "--typical",
    is_flag=True,
    callback=options.apart_from("life", "worst"),
    help="The same for the life that is nearest to all others.",
)
@options.models
@options.aim
@options.followed
@click.option(
    "--lives",
    type=values.whole(1),
    metavar="N",
    show_default="10000, or 400 under a Python policy; 250 with --worst or --typical",
    help="Lives of the regime and of its routine done flawlessly; or those of which one is chosen.",
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
    life: int | None,
    worst: bool,
    typical: bool,
    models: tuple[str, ...],
    weights: tuple[float, ...],
    check_limit: float,
    report: str | None,
    plot: str | None,
    as_json: bool,
    **how: Any,
) -> None:
    """Why the odds fall, or why one life went wrong.

    REGIME is the name or path of a regime, or FILE.py:CLASS. It is held against its own routine,
    carried out flawlessly every minute, and what lies between is taken apart by imperfection.
    """
    from petsim.view import explained

    files = files_named(report, plot)
    which: int | str | None = "worst" if worst else "typical" if typical else life
    if which is not None:
        of_one = {name: how[name] for name in ("aim", "seed", "until", "days", "lives")}
        explain_life(
            regime, _only(models), which, files=files,
            check_limit=check_limit, as_json=as_json, **of_one,
        )  # fmt: skip
        return
    guesses, believed = inputs.models_for([regime], models, weights, check_limit)
    found = petsim.explain(
        guesses, regime, weights=believed, check_limit=check_limit, progress=True, **how
    )
    give(found, explained.answer(found), files, as_json=as_json, interrupted=found.interrupted)


def _only(models: tuple[str, ...]) -> str | None:
    """Return the model of one life; options that are of many lives are refused."""
    for name in options.written(*OF_MANY):
        option = "weight" if name == "weights" else name
        raise ArgumentError(
            f"--{option}: is for many lives; expected without --life, --worst and --typical"
        )
    if len(models) > 1:
        raise ArgumentError(
            "--model: given more than once; expected one, as a life is of one model"
        )
    return models[0] if models else None
