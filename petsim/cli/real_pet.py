"""Commands on real pets."""

from __future__ import annotations

from typing import Any

import click

import petsim
from petsim.cli import complete, inputs, options, values
from petsim.cli.output import Command, print_json, print_text, width
from petsim.errors import ArgumentError
from petsim.spec import defaults


@click.command(cls=Command)
@click.argument("reached", required=False, type=values.REACHED, metavar="[K/N]")
@click.argument(
    "odds",
    required=False,
    type=values.ODDS,
    metavar="[ODDS|REGIME]",
    shell_complete=complete.regimes,
)
@click.option(
    "--tell",
    nargs=2,
    type=values.ODDS,
    metavar="ODDS|REGIME ODDS|REGIME",
    shell_complete=complete.regimes,
    help="Work out how many real pets it takes to tell these two odds apart.",
)
@click.option(
    "--days",
    type=values.DAYS,
    metavar="D",
    show_default="as simulated, or 7",
    help="Days that a real life takes to its outcome.",
)
@click.option(
    "--rigs",
    type=values.whole(1),
    default=1,
    metavar="N",
    help="Real pets that live at the same time.",
)
@options.model
@options.aim
@click.option(
    "--lives",
    type=values.whole(1),
    metavar="N",
    show_default="as for compare",
    help="Lives to simulate under a regime.",
)
@options.seed
@options.as_json
def trials(
    reached: tuple[int, int] | None,
    odds: float | str | None,
    tell: tuple[float | str, float | str] | None,
    days: float | None,
    rigs: int,
    as_json: bool,
    **simulated: Any,
) -> None:
    """What a few real pets say of the odds, and how many are needed.

    K/N says that K of N real pets became what was aimed for. They are held against ODDS, such as
    74%, or against those of a REGIME, which is simulated.
    """
    from petsim.view import real_pets

    if (reached is None) == (tell is None):
        raise ArgumentError("trials: expected either K/N, such as 3/5, or --tell with two odds")
    regimes = [each for each in (odds, *(tell or ())) if isinstance(each, str)]
    simulated["model"] = inputs.model_for(regimes, simulated["model"], defaults.CHECK_LIMIT)
    if tell is not None:
        plan = petsim.tell_apart(*tell, days=days, rigs=rigs, progress=True, **simulated)
        data, text = plan.as_dict(), real_pets.plan(plan, width())
    elif options.written("days", "rigs"):
        raise ArgumentError("trials: --days and --rigs say how long --tell takes; expected it")
    else:
        assert reached is not None
        real = petsim.trials(*reached, odds, progress=True, **simulated)
        data, text = real.as_dict(), real_pets.trials(real, width())
    if as_json:
        print_json(data)
    else:
        print_text(text)
