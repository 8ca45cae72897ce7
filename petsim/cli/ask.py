"""Commands that ask what becomes of pets, and show it as text, picture or page."""

from __future__ import annotations

import sys
from contextlib import nullcontext
from typing import Any

import click

import petsim
from petsim.cli import complete, inputs, options, values
from petsim.cli.output import (
    INTERRUPTED,
    Command,
    print_answer,
    print_json,
    print_line,
    print_text,
    width,
    write_picture,
)
from petsim.errors import ArgumentError
from petsim.spec import defaults
from petsim.view.choices import PICTURES


@click.command(cls=Command)
@options.regimes("REGIME")
@click.option(
    "--lives",
    type=values.whole(1),
    metavar="N",
    show_default=f"{defaults.LIVES['compiled']}, or {defaults.LIVES['reference']} with the "
    "reference engine",
    help="Lives under each regime. With --precision this is the most allowed: "
    f"{defaults.MOST_LIVES['compiled']}, or {defaults.MOST_LIVES['reference']} with the reference "
    "engine, if it is left out.",
)
@click.option(
    "--precision",
    type=values.HALF_WIDTH,
    metavar="P",
    help="Simulate as many lives as it takes to know the differences, or the odds of a single "
    "regime, to within ± P percentage points, such as 1%.",
)
@options.aim
@options.lived
@options.engine
@options.check_limit
@click.option(
    "--why",
    is_flag=True,
    help="Add why care misses happened, in the first lives; takes a second or two for each regime.",
)
@options.as_json
def compare(
    regimes: tuple[str, ...], model: str | None, why: bool, as_json: bool, **how: Any
) -> None:
    """Odds, misses and costs of regimes, side by side.

    REGIME is the name or path of a regime, or FILE.py:CLASS; later ones are compared with the
    first.
    """
    from petsim.study.measures import AIM_MARK
    from petsim.view import comparison

    pet = inputs.model_for(regimes, model, how["check_limit"])
    result = petsim.compare(pet, regimes, progress=True, **how)
    if as_json:
        print_json(result.as_dict(why=why))
    else:
        print_answer(comparison.comparison(result, width(), why=why), AIM_MARK)
        if (hint := comparison.closer(result, width())) is not None:
            print_text(f"\n{hint}")
    _exit_if_interrupted(result)


@click.command(cls=Command)
@click.option(
    "--kind",
    metavar="KIND",
    shell_complete=complete.kinds,
    help=f"Which picture. Of regimes: {', '.join(PICTURES['comparison'])}; of a sweep: "
    f"{', '.join(PICTURES['sweep'])}; of a life: {', '.join(PICTURES['life'])}; of a model: "
    f"{', '.join(PICTURES['model'])}. If it is left out, the first of these, or unknowns of a "
    "sensitivity.",
)
@click.option(
    "--zoom",
    type=values.ZOOM,
    metavar="DAY[..DAY]",
    help="Of a life show this day, or the first to the last of several, such as 2..3; day 1 is "
    "that of birth.",
)
@options.of_a_sweep
@options.pictured("MODEL|SWEEP|REGIME...", "FILE.svg, .png or .pdf", complete.whatever_is_drawn)
def plot(
    what: tuple[str, ...],
    kind: str | None,
    zoom: tuple[int, int] | None,
    out: str,
    life: int | None,
    lives: int | None,
    check_limit: float,
    **others: Any,
) -> None:
    """A picture of regimes, of a sweep, of a life or of how a model grows.

    MODEL is the name or path of a model; SWEEP the name of a sweep; REGIME one or more names or
    paths of regimes, or FILE.py:CLASS.
    """
    from petsim.study.writing import path_named
    from petsim.view import plots

    path = path_named(out, ".svg", ".png", ".pdf")
    if zoom is not None and (life is None or kind not in (None, "timeline")):
        raise ArgumentError("--zoom: is of the timeline of a life; expected --life with it")
    how = inputs.of_a_picture(what, others) | ({} if zoom is None else {"zoom": zoom})
    result = inputs.model_alone(what) or inputs.shown(what, life, lives, check_limit, others)
    axes = plots.plot(result, kind, **how)
    write_picture(axes, path)
    _exit_if_interrupted(result)


@click.command(cls=Command)
@options.pictured("SWEEP|REGIME...", "FILE.html or .htm", complete.regimes_or_sweep)
def report(
    what: tuple[str, ...],
    out: str,
    life: int | None,
    lives: int | None,
    check_limit: float,
    **lived: Any,
) -> None:
    """A page to read on a phone or on paper.

    SWEEP is the name of a sweep; REGIME one or more names or paths of regimes, or FILE.py:CLASS.
    """
    from petsim.view import beside

    of_regimes = life is None and not inputs.name_a_sweep(what)
    with beside.helper() if of_regimes else nullcontext() as helper:
        from petsim.study.writing import path_named
        from petsim.view import report as pages

        path = path_named(out, ".html", ".htm")
        result = inputs.shown(what, life, lives, check_limit, lived)
        pages.write(pages.of(result, helper), path)
    print_line(f"{path}: written")
    _exit_if_interrupted(result)


def _exit_if_interrupted(result: object) -> None:
    """Exit if a comparison is of fewer lives than were asked for."""
    if isinstance(result, petsim.Comparison) and result.batches[0].interrupted:
        sys.exit(INTERRUPTED)
