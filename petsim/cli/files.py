"""Commands on files, on petsim itself, and the manual."""

from __future__ import annotations

import shlex
import sys
import time
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from petsim.cli import complete, inputs, options, values
from petsim.cli.output import (
    BAD_INPUT,
    FAILED,
    Command,
    Questions,
    complain,
    print_answer,
    print_json,
    print_line,
    print_page,
    print_styled,
    print_text,
    width,
    writing_new,
)
from petsim.errors import ArgumentError, choice
from petsim.spec import choices, defaults
from petsim.view.manual import TOPICS, manual, title

if TYPE_CHECKING:
    from petsim.life.check import Finding
    from petsim.spec.choices import SpecKind


@click.command(cls=Command)
@click.argument("file", metavar="FILE", shell_complete=complete.any_file)
def show(file: str) -> None:
    """A file as petsim understands it, or what a sweep found.

    FILE is the name or path of a model or a regime, a pet, a study, a log, a policy as
    FILE.py:CLASS, or the name of a sweep.
    """
    from petsim.spec.library import is_sweep
    from petsim.view.show import show_file

    inputs.ensure_policies_load([file], defaults.CHECK_LIMIT)
    write = print_answer if is_sweep(file) else print_text
    write(show_file(file, width()))


@click.command(cls=Command)
@click.argument(
    "files", metavar="FILE...", nargs=-1, required=True, shell_complete=complete.any_file
)
@click.option(
    "--model",
    metavar="MODEL",
    show_default=f"the one that a regime names, or {defaults.MODEL}",
    shell_complete=complete.models,
    help="Model to check against if none of the files is one.",
)
@options.check_limit
@options.as_json
def check(files: tuple[str, ...], model: str | None, check_limit: float, as_json: bool) -> None:
    """Say what is wrong with files, all at once, and what is in a log.

    FILE is the name or path of a model or a regime, a pet, a study, a log, a policy as
    FILE.py:CLASS, or the name of a sweep.
    """
    from petsim.study.check import check_files
    from petsim.view.show import findings_as_dict, passed

    findings = check_files(files, model, check_limit)
    if as_json:
        print_json(findings_as_dict(findings))
    for finding in () if as_json else findings:
        if finding.problems:
            complain("\n".join(finding.problems))
        else:
            print_text(passed(finding))
    sys.exit(_exit_code(findings))


def _exit_code(findings: Iterable[Finding]) -> int:
    """Return the code of bad input, or of failure if nothing but a damaged sweep is wrong."""
    wrong = {finding.kind for finding in findings if finding.problems}
    if wrong == {"sweep"}:
        return FAILED
    return BAD_INPUT if wrong else 0


@click.command(cls=Command)
@click.argument("kind", type=values.Word(choices.STARTERS))
@click.argument("name", type=values.NEW_FILE, metavar="NAME")
@click.option(
    "--model",
    metavar="MODEL",
    default=defaults.MODEL,
    shell_complete=complete.models,
    help="Model of a pet.",
)
def new(kind: SpecKind, name: Path, model: str) -> None:
    """Write a commented file to start from."""
    from petsim.spec.library import write_starter

    if kind != "pet":
        for option in options.written("model"):
            raise ArgumentError(f"--{option}: is for a pet; expected no such option with a {kind}")
    with writing_new(name):
        write_starter(kind, name, model)
    trial = f"petsim check {shlex.quote(str(name))}"
    print_line(f"{name}: written, a {kind} to start from; try: {trial}")


@click.command("list", cls=Command)
def list_() -> None:
    """The models and regimes that come with petsim."""
    from petsim.view.show import listing

    print_text(listing())


@click.command(cls=Command)
@click.argument("of", type=values.Word((*choices.STARTERS, *choices.DATA)))
def schema(of: str) -> None:
    """The JSON Schema of a kind of file, for editors, or of what a command prints with --json."""
    from petsim.spec.schema import json_schema
    from petsim.view.data import data_schema

    print_json(json_schema(of) if of in choices.STARTERS else data_schema(of))


@click.command(cls=Command)
@click.option(
    "--engine",
    type=values.Word(choices.ENGINES[1:]),
    show_default="both; the reference engine with a twentieth of the lives",
    help="Engine to hold against theory.",
)
@click.option(
    "--figures", is_flag=True, help="Print every figure, not only those of checks that fail."
)
@click.option("--long", is_flag=True, help="Simulate 100 times as many lives.")
@click.option("--json", "as_json", is_flag=True, help="Print every figure as JSON.")
def verify(engine: str | None, figures: bool, long: bool, as_json: bool) -> None:
    """Hold petsim on this machine against theory and published figures."""
    from tqdm import tqdm

    from petsim.theory import suite
    from petsim.view import verification

    began, running = time.monotonic(), suite.verify(engine, long=long)
    # in a pipe there is no bar
    bar = tqdm(running, total=len(suite.checks()), unit=" checks", leave=False, disable=None)
    outcomes = [*bar]
    if as_json:
        print_json([row for outcome in outcomes for row in verification.as_rows(outcome)])
    else:
        write = verification.report if figures else verification.brief
        print_text(write(outcomes, time.monotonic() - began, width()))
    if not all(outcome.holds for outcome in outcomes):
        sys.exit(FAILED)


@click.command("help", cls=Command)
@click.argument("topic", required=False, metavar="[TOPIC|COMMAND]", shell_complete=complete.topics)
@click.pass_context
def help_(ctx: click.Context, topic: str | None) -> None:
    """A page of the manual, or the options of a command."""
    assert ctx.parent is not None and isinstance(ctx.parent.command, Questions)
    group = ctx.parent.command
    if topic is None:
        formatter = ctx.make_formatter()
        ctx.command.format_usage(ctx, formatter)
        with formatter.section("Topics"):
            formatter.write_dl([(name, title(name)) for name in TOPICS])
        group.format_commands(ctx.parent, formatter)
        print_styled(formatter.getvalue().rstrip())
    elif topic in TOPICS:
        print_page(manual(topic))
    elif topic in group.commands:
        command = group.commands[topic]
        print_styled(command.get_help(command.context_class(command, ctx.parent, topic)))
    else:
        expected = choice(topic, [*TOPICS, *group.commands], most=len(TOPICS))
        raise click.BadParameter(f"{topic!r}; {expected}", ctx, param_hint="'TOPIC'")
