"""What `petsim explain --life`, `--worst` and `--typical` do: why one life went wrong."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import petsim
from petsim.cli import inputs
from petsim.cli.answers import Files, give
from petsim.errors import ArgumentError


def explain_life(
    regime: str,
    model: str | None,
    life: int | str,
    lives: int | None,
    files: Files,
    *,
    seed: int,
    until: Any,
    days: float | None,
    aim: str | None,
    check_limit: float,
    as_json: bool,
) -> None:
    """Give why one life went wrong.

    Args:
        life: its number, or "worst" or "typical".
        lives: how many it is chosen from.
        files: in which the answer is shown too.
        others: as the commands have them.
    """
    from petsim.advice.one_life.chosen_life import choose_life
    from petsim.view import life_explained

    if lives is not None and not isinstance(life, str):
        raise ArgumentError("--lives: is how many to choose from; expected --worst or --typical")
    lived = {"model": model, "seed": seed, "until": until, "days": days}
    subject = inputs.of_a_regime(regime, lives, check_limit, lived)
    # of a policy lives are in processes of their own by themselves, while a single one is not
    number, chosen = choose_life(
        subject.model, subject.caretaker, life,
        lives=subject.lives, check_limit=check_limit, progress=True, **subject.span,
    )  # fmt: skip
    why = inputs.apart_if_policy(
        petsim.explain_life, subject.model, subject.caretaker, check_limit=check_limit, life=number,
        aim=aim, progress=True, **subject.span,
    )  # fmt: skip
    why = replace(why, chosen=chosen)
    give(why, life_explained.answer(why), files, as_json=as_json)
