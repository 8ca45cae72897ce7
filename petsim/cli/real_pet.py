"""Commands on real pets."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

import petsim
from petsim.cli import complete, inputs, options, values
from petsim.cli.output import (
    Command,
    ensure_new,
    print_fit,
    print_json,
    print_text,
    width,
    write_picture,
    writing_new,
)
from petsim.errors import ArgumentError, ensure_known, quote
from petsim.spec import defaults
from petsim.spec.choices import PRESSED, TIME
from petsim.view.choices import PICTURES

if TYPE_CHECKING:
    from pathlib import Path

    from petsim.evidence.fit import Fit
    from petsim.study.trials import TrialPlan, Trials


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
@click.option(
    "--plot",
    metavar="FILE",
    help="Also draw it, in FILE.svg, .png or .pdf: the number of pets there was beside those that "
    "the odds lead to expect or, with --tell, the power by how many pets there are.",
)
@options.as_json
def trials(
    reached: tuple[int, int] | None,
    odds: float | str | None,
    tell: tuple[float | str, float | str] | None,
    days: float | None,
    rigs: int,
    plot: str | None,
    as_json: bool,
    **simulated: Any,
) -> None:
    """What a few real pets say of the odds, and how many are needed.

    K/N says that K of N real pets became what was aimed for. They are held against ODDS, such as
    74%, or against those of a REGIME, which is simulated.
    """
    from petsim.study.writing import path_named
    from petsim.view import real_pets

    if (reached is None) == (tell is None):
        raise ArgumentError("trials: expected either K/N, such as 3/5, or --tell with two odds")
    path = None if plot is None else path_named(plot, ".svg", ".png", ".pdf")
    if path is not None and tell is None and odds is None:
        raise ArgumentError("--plot: shows K/N beside odds; expected a regime, or odds such as 74%")
    regimes = [each for each in (odds, *(tell or ())) if isinstance(each, str)]
    simulated["model"] = inputs.model_for(regimes, simulated["model"], defaults.CHECK_LIMIT)
    result: Trials | TrialPlan
    if tell is not None:
        result = petsim.tell_apart(*tell, days=days, rigs=rigs, progress=True, **simulated)
        text = real_pets.plan(result, width())
    elif options.written("days", "rigs"):
        raise ArgumentError("trials: --days and --rigs say how long --tell takes; expected it")
    else:
        assert reached is not None
        result = petsim.trials(*reached, odds, progress=True, **simulated)
        text = real_pets.trials(result, width())
    if as_json:
        print_json(result.as_dict())
    else:
        print_text(text)
    if path is not None:
        write_picture(result.plot(), path, aside=True)


@click.command("import", cls=Command)
@click.argument("table", metavar="NOTES.csv")
@click.option(
    "-o", "--out", required=True, type=values.NEW_LOG, metavar="LOG.jsonl", help="Log to write."
)
@click.option("--time", metavar="COLUMN", default=TIME, help="Column of the times.")
@click.option(
    "--seen",
    multiple=True,
    type=values.COLUMN_OF,
    metavar="SIGNAL=COLUMN",
    help="Column of a signal whose column is named otherwise; may be given more than once.",
)
@click.option("--pressed", metavar="COLUMN", default=PRESSED, help="Column of the actions.")
@click.option("--born", is_flag=True, help="The pet was born at the time of the first row.")
@click.option(
    "--model",
    metavar="MODEL",
    default=defaults.MODEL,
    shell_complete=complete.models,
    help="Model of the pet, whose needs, forms and actions the notes name.",
)
def import_(
    table: str,
    out: Path,
    time: str,
    seen: tuple[tuple[str, str], ...],
    pressed: str,
    born: bool,
    model: str,
) -> None:
    """A week of notes as a log.

    NOTES.csv is a table with a row for each look at the pet: the time, what was seen of each
    signal, and what was pressed; see petsim help log.
    """
    from petsim.life.log.notes import Columns, notes, signals_of
    from petsim.spec.library import load_model, write_new
    from petsim.view.tables import counted

    pet = load_model(model)
    signals = signals_of(pet)
    for signal, _ in seen:
        ensure_known("--seen", signal, signals)
    found = notes(table, pet, Columns(time, pressed, dict(seen)), is_born=born)
    with writing_new(out):
        write_new(out, found.text)
    print_text(
        f"{out}: written, a log of {counted(found.checks, 'check')}; try: petsim check {out}"
    )
    for name, meant in found.left_out.items():
        may_mean = f"; did you mean {quote(meant)}?" if meant else ""
        print_text(f"column {quote(name)}: left out{may_mean}", aside=True)


@click.command(cls=Command)
@click.argument("logs", metavar="LOG...", nargs=-1, required=True, shell_complete=complete.logs)
@click.option(
    "--model",
    required=True,
    metavar="GUESS",
    shell_complete=complete.models,
    help="Name or path of a model, the guess: its forms, needs and actions are taken as they are.",
)
@click.option(
    "--regime",
    metavar="RIG",
    shell_complete=complete.regimes,
    show_default="the one that the logs name",
    help="Name or path of a regime, the guess of the rig's eyes, hands and power.",
)
@click.option(
    "-o",
    "--out",
    type=values.NEW_FILE,
    metavar="PET.yaml",
    help="Write the model, with every value that the logs can tell, to this file.",
)
@click.option(
    "--rig",
    type=values.NEW_FILE,
    metavar="RIG.yaml",
    help="Write the regime, with what they tell of eyes, hands and power, to this file.",
)
@click.option(
    "--odds",
    is_flag=True,
    help="Also simulate what the logs leave in doubt of the odds of the aim: some hundred draws of "
    "the pet and the rig, which take a few minutes.",
)
@click.option("--report", metavar="FILE.html", help="Also write a page to read.")
@click.option("--plot", metavar="FILE", help="Also draw it, in FILE.svg, .png or .pdf.")
@click.option(
    "--kind",
    type=values.Word(PICTURES["fit"]),
    default=PICTURES["fit"][0],
    help="Which picture --plot draws.",
)
@options.as_json
def fit(
    logs: tuple[str, ...],
    model: str,
    regime: str | None,
    out: Path | None,
    rig: Path | None,
    odds: bool,
    report: str | None,
    plot: str | None,
    kind: str,
    as_json: bool,
) -> None:
    """A model of your pet from the log of your rig.

    LOG is a file of a rig, as petsim help log describes; petsim run --log writes one of a simulated
    life. What the logs can't tell stays as guessed, with what to record instead.
    """
    from petsim.study.writing import path_named
    from petsim.view import doubted, fitted
    from petsim.view import report as pages
    from petsim.view.report.fits import of_fit

    _ensure_new(out, rig)
    page = None if report is None else path_named(report, ".html", ".htm")
    picture = None if plot is None else path_named(plot, ".svg", ".png", ".pdf")
    if picture is None and options.written("kind"):
        raise ArgumentError("--kind: is of a picture; expected --plot with it")
    found = petsim.fit(logs, model, regime, progress=True)
    _write_fit(found, out, rig)
    doubt = petsim.doubt(found, progress=True) if odds else None
    if as_json:
        print_json(found.as_dict() | ({} if doubt is None else {"odds": doubt.as_dict()}))
    else:
        print_fit(fitted.fit(found, width()))
        if doubt is not None:
            print_text("\n" + doubted.odds(doubt, width()))
    if page is not None:
        pages.write(of_fit(found, doubt), page)
        print_text(f"{page}: written", aside=True)
    if picture is not None:
        write_picture(found.plot(kind), picture, aside=True)


def _ensure_new(out: Path | None, rig: Path | None) -> None:
    """Refuse files that can't be written or are one, before what is in them is worked out."""
    if rig is not None and rig == out:
        raise ArgumentError(f"--rig: {rig} is named twice; expected another file")
    for path in filter(None, (out, rig)):
        ensure_new(path)


def _write_fit(found: Fit, out: Path | None, rig: Path | None) -> None:
    """Write the files that are asked for, and say what can be asked of them."""
    from petsim.spec.library import write_new
    from petsim.view import written_fit

    for path, text in ((out, written_fit.model_file), (rig, written_fit.regime_file)):
        if path is not None:
            with writing_new(path):
                write_new(path, text(found))
    if out is not None or rig is not None:
        print_text(written_fit.summary(out, rig), aside=True)
