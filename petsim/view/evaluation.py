"""Answers of an evaluator as text: the odds, and how far luck and the choice of model move them."""

from __future__ import annotations

from petsim.study.evaluate import Evaluation, Evaluator
from petsim.study.stats import Interval
from petsim.view.numbers import percent, share
from petsim.view.tables import Row, counted, paragraph, table


def evaluation(answer: Evaluation, width: int = 80) -> str:
    """Return the odds of the aim or the expected worth in a sentence, and those of each model."""
    parts = [paragraph(gist(answer), width)]
    if len(answer.batches) > 1:
        parts.append(table(head(answer), rows(answer), "  "))
    return "\n\n".join(parts)


def gist(answer: Evaluation) -> str:
    """Return the odds of the aim, or the expected worth, with what leaves them open."""
    first, odds, aim = answer.batches[0], answer.odds(), answer.aim
    said, lives = share(Interval(*odds[:3])), counted(len(first))
    if len(answer.batches) == 1:
        of = f"{lives} of {first.model.id} under {first.regime}"
        known = f"(95 % interval, seed {first.seed})"
        if aim.is_share:
            return f"Of {of}, {said} became {aim} {known}."
        return f"The {aim.figure} of {of} was {said} of full worth {known}."
    low, high = (percent(x, (odds.high - odds.low) / 2) for x in odds.sampling[1:])
    told = f"{said}: the" if aim.is_share else f"{said} of full worth: the"
    return (
        f"Over {len(answer.batches)} models, the {aim.figure} under {first.regime} "
        f"{'are' if aim.is_share else 'is'} {told} 95 % interval of luck and of which model is "
        f"true. Luck alone leaves {low} to {high} % ({lives} of each, seed {first.seed})."
    )


def head(answer: Evaluation) -> Row:
    """Return the head of the table of models."""
    return "model", "weight", f"{'odds' if answer.aim.is_share else answer.aim.figure} under it"


def rows(answer: Evaluation) -> list[Row]:
    """Return each model with its weight and the odds under it, under `head`."""
    triples = zip(answer.batches, answer.weights, answer.shares(), strict=True)
    return [(batch.model.id, f"{100 * w:.3g} %", share(odds)) for batch, w, odds in triples]


def evaluator(of: Evaluator, width: int = 80) -> str:
    """Return what an evaluator is asked about."""
    return paragraph(questions(of), width)


def questions(of: Evaluator) -> str:
    """Return what an evaluator answers, in a sentence."""
    models = " or ".join(model.id for model in of.models)
    asked = f"how likely {models} is to become {of.aim}"
    if not of.aim.is_share:
        asked = f"what a life of {models} is worth on average"
    return (
        f"evaluate(changes) says {asked} under {of.regime} if something is changed, each time with "
        f"the luck of seed {of.seed}."
    )
