"""Options and arguments that several commands share."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import click
from click.core import ParameterSource

from petsim.cli import complete, values
from petsim.spec import choices, defaults

Command = TypeVar("Command", bound=Callable[..., Any])
Option = Callable[[Command], Command]


def all_of(*options: Option[Any]) -> Option[Any]:
    """Return what adds several options to a command, in the order in which help lists them."""

    def add(command: Command) -> Command:
        for option in reversed(options):
            command = option(command)
        return command

    return add


def written(*names: str) -> list[str]:
    """Return those options that the command line has, of some names."""
    source = click.get_current_context().get_parameter_source
    return [name for name in names if source(name) is ParameterSource.COMMANDLINE]


def apart_from(*others: str) -> Callable[[click.Context, click.Parameter, Any], Any]:
    """Return the callback of an option that goes with none of some others."""

    def see(ctx: click.Context, param: click.Parameter, value: Any) -> Any:
        if written(str(param.name)):
            for other in written(*others):
                option = next(each for each in ctx.command.params if each.name == other)
                raise click.BadParameter(f"not allowed with {option.opts[0]}", ctx, param)
        return value

    return see


def regimes(metavar: str) -> Option[Any]:
    """Return the argument that names regimes to compare, or what else the metavar says."""
    return click.argument(
        "regimes",
        metavar=f"{metavar}...",
        nargs=-1,
        required=True,
        shell_complete=complete.regimes,
    )


regime = click.argument("regime", metavar="REGIME", shell_complete=complete.regimes)


def _keep_pet(ctx: click.Context, param: click.Parameter, value: str | None) -> None:
    ctx.meta[complete.PET] = value


_pet = click.option(
    "--pet",
    metavar="PET.yaml",
    is_eager=True,
    expose_value=False,
    callback=_keep_pet,
    shell_complete=complete.pets,
    help="File of a pet as it is now, which each life takes over instead of beginning with birth.",
)
_THE_MODEL = f"the one that a regime names, or {defaults.MODEL}"
model = all_of(
    click.option(
        "--model",
        metavar="MODEL",
        show_default=_THE_MODEL,
        shell_complete=complete.models,
        help="Name or path of a model.",
    ),
    _pet,
)
models = all_of(
    click.option(
        "--model",
        "models",
        multiple=True,
        metavar="MODEL",
        show_default=_THE_MODEL,
        shell_complete=complete.models,
        help="Name or path of a model; given more than once, each is one guess at the pet.",
    ),
    click.option(
        "--weight",
        "weights",
        multiple=True,
        type=values.WEIGHT,
        metavar="W",
        show_default="all alike",
        help="How much a model is believed, once for each in their order, such as 3 and 1.",
    ),
    _pet,
)
"""One model or several guesses at it, each with its weight."""
seed = click.option(
    "--seed", type=values.whole(0), default=defaults.SEED, metavar="S", help="Seed of the luck."
)
days = click.option(
    "--days",
    type=values.DAYS,
    metavar="D",
    callback=apart_from("until"),
    help="Follow each life for D days instead.",
)
followed = all_of(
    seed,
    click.option(
        "--until",
        type=values.Word(choices.UNTIL),
        callback=apart_from("days"),
        help=f"Follow each life to its {choices.UNTIL[0]} (the default) or to its death.",
    ),
    days,
)
"""The luck of each life, and how long it is followed."""
lived = all_of(model, followed)
"""The pet, its luck, and how long each life is followed."""
lived_to_a_time = all_of(
    model,
    seed,
    click.option(
        "--until",
        type=values.END,
        metavar=f"[{'|'.join(choices.UNTIL)}|TIME]",
        callback=apart_from("days"),
        help=f"Follow the life to its {choices.UNTIL[0]} (the default), to its death, or to a time "
        'such as "day 3 12:00".',
    ),
    days,
)
"""The same of one life, which may be followed to a time."""
aim = click.option(
    "--aim",
    metavar="FORM,...",
    shell_complete=complete.aims,
    show_default="the model's worth or aim",
    help="Form to aim for; several of which each counts, such as beacon,lantern; or what each is "
    "worth, such as beacon=1,lantern=0.5, to be told the expected worth.",
)
engine = click.option(
    "--engine",
    type=values.Word(choices.ENGINES),
    default="auto",
    help="Engine that simulates the lives: the fastest that can (auto), or one by name. The result "
    "is the same.",
)
check_limit = click.option(
    "--check-limit",
    type=values.SECONDS,
    default=defaults.CHECK_LIMIT,
    metavar="TIME",
    show_default=f"{defaults.CHECK_LIMIT:g}s",
    help="Time of this computer that a Python policy may take for one check, such as 90s or 5min.",
)
workers = click.option(
    "--workers",
    type=values.whole(1),
    metavar="N",
    show_default="all",
    help="Processors to use.",
)
as_json = click.option("--json", "as_json", is_flag=True, help="Print the result as JSON.")
shown_too = all_of(
    click.option("--report", metavar="FILE.html", help="Also write a page to read."),
    click.option("--plot", metavar="FILE", help="Also draw it, in FILE.svg, .png or .pdf."),
)
"""The files that an answer is also shown in."""

varied = all_of(
    click.option(
        "--vary",
        multiple=True,
        type=values.VARIATION,
        metavar="PATH=VALUES",
        help="What varies, such as checks.every=2min..60min/2min or eyes.ill.overlooks=0,1%,5%; "
        "may be given more than once.",
    ),
    click.option(
        "--lives",
        type=values.whole(1),
        default=defaults.CELL_LIVES,
        metavar="N",
        help="Lives in each cell.",
    ),
    click.option("--out", metavar="NAME", help="Name of the sweep; its results go to NAME.sweep."),
    aim,
    click.option(
        "--keep",
        type=values.Word(choices.KEEP),
        default="sums",
        help="Keep sums and outcomes only, or every life's row too.",
    ),
    lived,
    engine,
    workers,
    click.option(
        "--on",
        type=values.ADDRESS,
        metavar="ADDRESS",
        help="Address of a Dask scheduler to simulate on, such as tcp://host:8786.",
    ),
    check_limit,
    click.option("--quiet", is_flag=True, help="Show no progress bar and no table."),
    as_json,
)
"""What a sweep is, and how it is lived."""


of_a_sweep = all_of(
    click.option(
        "--x",
        metavar="PATH",
        shell_complete=complete.paths,
        help="Of a sweep: the parameter along the axis, such as checks.every, or regime.",
    ),
    click.option(
        "--y",
        metavar="PATH",
        shell_complete=complete.paths,
        help="The second parameter of a heat map.",
    ),
    click.option(
        "--panels",
        metavar="PATH",
        shell_complete=complete.paths,
        help="The parameter that has a panel for each of its values.",
    ),
    click.option(
        "--fix",
        multiple=True,
        type=values.FIXED,
        metavar="PATH=VALUE",
        shell_complete=complete.fixed,
        help="Keep a parameter to one of its values; may be given more than once.",
    ),
    click.option(
        "--baseline",
        type=values.whole(0),
        metavar="CELL",
        help="The cell from which differences are taken, instead of the first.",
    ),
    click.option(
        "--at-least",
        type=values.SHARE,
        metavar="P",
        show_default="80%, or half of the best odds",
        help="Say where the odds are above this.",
    ),
)
"""What a picture of a sweep shows where."""


def pictured(metavar: str, endings: str, offered: complete.Complete) -> Option[Any]:
    """Return the options of what shows something in a file.

    Args:
        metavar: what can be shown, such as SWEEP|REGIME...
        endings: those that the file can have.
        offered: completes what is shown.
    """
    return all_of(
        click.argument(
            "what",
            nargs=-1,
            required=True,
            metavar=metavar,
            shell_complete=offered,
        ),
        click.option(
            "-o", "--out", required=True, metavar="FILE", help=f"File to write: {endings}."
        ),
        click.option(
            "--life",
            type=values.whole(0),
            metavar="K",
            help="Show life K under the regime instead.",
        ),
        click.option(
            "--lives",
            type=values.whole(1),
            metavar="N",
            show_default="as for compare",
            help="Lives under each regime.",
        ),
        lived,
        check_limit,
    )
