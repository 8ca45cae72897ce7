"""What `petsim explain --life`, `--worst` and `--typical` do: why one life went wrong."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import petsim
from petsim.cli import inputs
from petsim.cli.inputs import Subject
from petsim.cli.output import print_answer, print_json, width
from petsim.errors import ArgumentError

if TYPE_CHECKING:
    from petsim.advice.one_life.explain_life import Chosen, LifeExplained


def explain_life(
    regime: str,
    model: str | None,
    life: int | None,
    worst: bool,
    typical: bool,
    lives: int | None,
    seed: int,
    until: Any,
    days: float | None,
    check_limit: float,
    as_json: bool,
    aim: str | None = None,
) -> None:
    """Print why one life went wrong: the one of a number, the worst, or the most typical one.

    Args:
        life: its number; None if it is to be found among the first lives.
        lives: how many these are.
        aim: the form that is aimed for; by default the model's.
        others: as the commands have them.
    """
    if (life is not None) + worst + typical != 1:
        raise ArgumentError("explain: expected one of --life, --worst and --typical")
    if lives is not None and life is not None:
        raise ArgumentError("--lives: is how many to choose from; expected --worst or --typical")
    lived = {"model": model, "seed": seed, "until": until, "days": days}
    subject = inputs.of_a_regime(regime, lives, check_limit, lived)
    chosen = None
    if life is None:
        life, chosen = _chosen(subject, worst=worst, check_limit=check_limit)
    why = inputs.apart_if_policy(
        petsim.explain_life, subject.model, subject.caretaker, check_limit=check_limit, life=life,
        aim=aim, progress=True, **subject.span,
    )  # fmt: skip
    _print(replace(why, chosen=chosen), as_json=as_json)


def _chosen(subject: Subject, *, worst: bool, check_limit: float) -> tuple[int, Chosen]:
    """The number of the worst or the most typical life, and what it was chosen as."""
    from petsim.advice.one_life.chosen_life import LIVES, typical_life, worst_life
    from petsim.advice.one_life.explain_life import Chosen

    batch = petsim.batch(
        subject.model, subject.caretaker, lives=subject.lives or LIVES, check_limit=check_limit,
        progress=True, **subject.span,
    )  # fmt: skip
    if worst:
        return worst_life(batch), Chosen("worst", len(batch))
    return typical_life(batch), Chosen("typical", len(batch))


def _print(why: LifeExplained, *, as_json: bool) -> None:
    from petsim.view import life_explained

    if as_json:
        print_json(why.as_dict())
    else:
        print_answer(life_explained.text(why, width()))
