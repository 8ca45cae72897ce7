"""The command that finds the cheapest way to look after a pet."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Any

import click

import petsim
from petsim.cli import inputs, options, values
from petsim.cli.answers import files_named, give
from petsim.cli.output import FAILED, Command, ensure_new, print_text, writing_new
from petsim.errors import ArgumentError, MisfitError
from petsim.spec import choices, defaults
from petsim.spec.names import names_a_policy

if TYPE_CHECKING:
    from pathlib import Path

    from petsim.advice.choosing.choice import Choice


@click.command(cls=Command)
@options.regime
@click.option(
    "--vary",
    multiple=True,
    type=values.VARIATION,
    metavar="PATH=VALUES",
    help="What can be chosen, such as checks.every=10min..60min/10min; may be given more than "
    "once.",
)
@click.option(
    "--steps",
    is_flag=True,
    help="Also search the routine, by small changes until none helps: a step in or out, two "
    "swapped, a threshold one up or down, an edge of a clock window half an hour off.",
)
@click.option(
    "--at-least",
    type=values.SHARE,
    metavar="P",
    help="Odds of the aim to reach, such as 95%; without it, the cheapest of all is found.",
)
@click.option(
    "--cheapest",
    metavar="COST",
    default="presses",
    help="What is to be cheap: presses, checks, quiet presses, another figure or a column of the "
    "table of lives, or a sum such as 'checks + 0.01*level_s.hunger.0'.",
)
@click.option(
    "--on",
    type=values.Word(choices.REACHED_BY),
    default=choices.REACHED_BY[0],
    help="What has to reach the odds: the lower end of their interval, or their estimate.",
)
@click.option(
    "--precision",
    type=values.HALF_WIDTH,
    metavar="P",
    callback=options.apart_from("lives"),
    show_default="1%",
    help="Simulate as many lives as it takes to know odds near these to within ± P percentage "
    "points.",
)
@click.option(
    "--lives",
    type=values.whole(1),
    metavar="N",
    help="Or N lives at most of each candidate, and N fresh lives of the one that is chosen.",
)
@click.option(
    "--sample",
    type=values.Word(choices.LOOKED_AT),
    show_default=f"all of up to {defaults.MOST_CANDIDATES}, latin of more",
    help="Look at some points only: spread evenly (latin, sobol) or, with Optuna, where it seems "
    "promising (tpe).",
)
@click.option(
    "--points",
    type=values.whole(1),
    metavar="N",
    show_default=f"{defaults.SAMPLED_CANDIDATES}",
    help="Number of these points.",
)
@options.models
@options.aim
@options.followed
@options.workers
@options.check_limit
@click.option(
    "-o",
    "--out",
    type=values.NEW_FILE,
    metavar="BETTER.yaml",
    help="Write the regime with what was chosen to this file.",
)
@options.shown_too
@options.as_json
def choose(
    regime: str,
    vary: tuple[tuple[str, str], ...],
    models: tuple[str, ...],
    weights: tuple[float, ...],
    check_limit: float,
    out: Path | None,
    report: str | None,
    plot: str | None,
    as_json: bool,
    **how: Any,
) -> None:
    """The cheapest care that still reaches the odds you want.

    REGIME is the name or path of a regime, or FILE.py:CLASS. What is chosen is confirmed on lives
    that it was not chosen by.
    """
    from petsim.view import chosen

    varied, files = inputs.varied(vary), files_named(report, plot)
    if out is not None:
        _ensure_can_be_written(out, regime, varied)
    guesses, believed = inputs.models_for([regime], models, weights, check_limit)
    found = petsim.choose(
        guesses, regime, varied, weights=believed, check_limit=check_limit, progress=True, **how
    )
    if out is not None:
        _write(found, out)
    give(found, chosen.answer(found), files, as_json=as_json, interrupted=found.interrupted)
    if found.chosen is None:
        sys.exit(FAILED)


def _ensure_can_be_written(out: Path, regime: str, vary: dict[str, str]) -> None:
    """Refuse a file that what is chosen can't be written to, before it is found."""
    from petsim.spec.variation import path_steps
    from petsim.study.changes import home_of

    ensure_new(out)
    if names_a_policy(regime):
        raise ArgumentError(f"--out: writes a regime, but {regime} is a Python policy")
    for path in vary:
        try:
            home = home_of(path_steps(path))
        except MisfitError:  # which is for whoever reads what varies to say
            continue
        if home == "model":
            raise ArgumentError(
                f"--out: writes a regime, but {path} is of the model; expected what varies to be "
                "of the regime alone"
            )


def _write(found: Choice, out: Path) -> None:
    """Write the regime that was chosen, or say that none was."""
    from petsim.spec.library import write_new
    from petsim.view import chosen

    if found.chosen is None:
        print_text(f"{out}: not written, as nothing was chosen", aside=True)
        return
    with writing_new(out):
        write_new(out, chosen.regime_file(found))
    print_text(chosen.written(found, out), aside=True)
