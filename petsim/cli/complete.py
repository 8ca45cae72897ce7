"""What a shell offers to complete: names of files, pictures and outcomes."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING

import click
from click.shell_completion import BashComplete, CompletionItem, add_completion_class

from petsim.errors import PetsimError
from petsim.spec import defaults
from petsim.spec.names import YAML, Shelf, shipped, sweeps_beside
from petsim.view.choices import PICTURES
from petsim.view.manual import TOPICS

if TYPE_CHECKING:
    from petsim.spec.model import Model


class Bash(BashComplete):
    """Completion in bash, which splits a word at each =, such as `beacon=1,lantern`."""

    _split_off = ""
    """What bash has split off the word that is completed."""

    def get_completion_args(self) -> tuple[list[str], str]:
        """Return the words before the one that is completed, and that one, as they were written."""
        args, incomplete = super().get_completion_args()
        words: list[str] = []
        for word in (*args, incomplete):
            last = words[-1] if words else None
            if last is not None and word == "=" and last.startswith("-"):
                words.append("")  # the value of an option, which is yet to come
            elif last is not None and (word == "=" or last == "" or last.endswith("=")):
                words[-1] += word
            else:
                words.append(word)
        *args, whole = words
        self._split_off = whole[: whole.rfind("=") + 1]
        return args, whole

    def format_completion(self, item: CompletionItem) -> str:
        """Return an offer without what bash has split off it."""
        return f"{item.type},{item.value.removeprefix(self._split_off)}"


add_completion_class(Bash)

Complete = Callable[[click.Context, click.Parameter, str], list[CompletionItem]]


def _files(*shelves: Shelf, endings: tuple[str, ...] = YAML, by_stem: bool = False) -> Complete:
    """Return what completes the name of a shipped file, of one here, or the path of another.

    Args:
        shelves: of the shipped files.
        endings: of the files here.
        by_stem: whether sweeps here are offered too, by their name without its ending.
    """

    def complete(
        ctx: click.Context, param: click.Parameter, incomplete: str
    ) -> list[CompletionItem]:
        if "/" in incomplete:
            return [CompletionItem(incomplete, type="file")]
        here = sorted(file.name for file in Path().iterdir() if file.suffix in endings)
        sweeps = sorted(sweeps_beside(Path("any"))) if by_stem else []
        return _that_begin(incomplete, chain(*map(shipped, shelves), sweeps, here))

    return complete


def _that_begin(incomplete: str, names: Iterable[str]) -> list[CompletionItem]:
    return [CompletionItem(name) for name in names if name.startswith(incomplete)]


PET = "petsim.pet"
"""The key of the pet's file in the context of a command."""
models = _files("models")
pets = _files()
regimes = _files("regimes", endings=(*YAML, ".py"))
regimes_or_sweep = _files("regimes", endings=(*YAML, ".py"), by_stem=True)
whatever_is_drawn = _files("models", "regimes", endings=(*YAML, ".py"), by_stem=True)
any_file = _files("models", "regimes", endings=(*YAML, ".py", ".sweep", ".jsonl"))
logs = _files(endings=(".jsonl",))
sweep = _files(endings=(), by_stem=True)


def kinds(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Offer the pictures of all that a command draws."""
    drawn = ("comparison", "sweep", "life", "model")
    return _that_begin(incomplete, dict.fromkeys(chain(*(PICTURES[each] for each in drawn))))


def paths(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Offer the parameters of the sweep that the command line names."""
    return _that_begin(incomplete, _varied(ctx))


def fixed(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Offer these parameters with their values, once one is written."""
    varied = _varied(ctx)
    path, equals, _ = incomplete.partition("=")
    if not equals:
        return _that_begin(incomplete, (f"{name}=" for name in varied))
    return _that_begin(incomplete, (f"{path}={value}" for value in varied.get(path, ())))


def _varied(ctx: click.Context) -> dict[str, list[str]]:
    """The values of each parameter of a sweep by its path, the regimes among them."""
    from petsim.study.design import value_text
    from petsim.study.results import open_sweep

    # after an option that lacks its value click has not told what is which
    names: tuple[str, ...] = ctx.params.get("what") or tuple(ctx.args)
    try:
        design = open_sweep(names[0]).design if len(names) == 1 else None
    except PetsimError:
        design = None
    if design is None:
        return {}
    values = {axis.path: [value_text(value) for value in axis.values] for axis in design.axes}
    return values | {"regime": [regime.name for regime in design.regimes]}


def outcomes(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Offer the outcomes of lives of the model that the command line names."""
    from petsim.life.record import words

    model = _model(ctx)
    return [] if model is None else _that_begin(incomplete, words(model)["outcome"])


def aims(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Offer the forms of the outcome stage of the model, those after a comma too."""
    model = _model(ctx)
    before, comma, begun = incomplete.rpartition(",")
    named = {each.partition("=")[0].strip() for each in before.split(",")}
    forms = () if model is None else (form for form in model.outcome_forms if form not in named)
    return [CompletionItem(f"{before}{comma}{item.value}") for item in _that_begin(begun, forms)]


def topics(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Offer the topics of the manual and the commands."""
    group = ctx.find_root().command
    commands = group.list_commands(ctx) if isinstance(group, click.Group) else []
    return _that_begin(incomplete, (*TOPICS, *commands))


def _model(ctx: click.Context) -> Model | None:
    from petsim.spec.library import load_model

    try:
        return load_model(ctx.meta.get(PET) or ctx.params.get("model") or defaults.MODEL)
    except PetsimError:
        return None
