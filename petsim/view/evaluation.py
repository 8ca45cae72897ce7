"""Answers of an evaluator as text: the odds, and how far luck and the choice of model move them."""

from __future__ import annotations

from petsim.study.evaluate import Evaluation, Evaluator
from petsim.study.stats import Interval
from petsim.view.numbers import percent, share
from petsim.view.tables import Row, counted, paragraph, table

HEAD = ("model", "weight", "odds under it")


def evaluation(answer: Evaluation, width: int = 80) -> str:
    """Return the odds of the aim in a sentence and, of several models, those under each."""
    parts = [paragraph(gist(answer), width)]
    if len(answer.batches) > 1:
        parts.append(table(HEAD, rows(answer), "  "))
    return "\n\n".join(parts)


def gist(answer: Evaluation) -> str:
    """Return the odds of the aim in a sentence, with what leaves them open."""
    first, odds = answer.batches[0], answer.odds()
    said, lives = share(Interval(*odds[:3])), counted(len(first))
    if len(answer.batches) == 1:
        return (
            f"Of {lives} of {first.model.id} under {first.regime}, {said} became {answer.aim} "
            f"(95 % interval, seed {first.seed})."
        )
    low, high = (percent(x, (odds.high - odds.low) / 2) for x in odds.sampling[1:])
    return (
        f"Over {len(answer.batches)} models, the odds of {answer.aim} under {first.regime} are "
        f"{said}: the 95 % interval of luck and of which model is true. Luck alone leaves {low} to "
        f"{high} % ({lives} of each, seed {first.seed})."
    )


def rows(answer: Evaluation) -> list[Row]:
    """Return each model with its weight and the odds under it, under HEAD."""
    triples = zip(answer.batches, answer.weights, answer.shares(), strict=True)
    return [(batch.model.id, f"{100 * w:.3g} %", share(odds)) for batch, w, odds in triples]


def evaluator(of: Evaluator, width: int = 80) -> str:
    """Return what an evaluator is asked about."""
    return paragraph(questions(of), width)


def questions(of: Evaluator) -> str:
    """Return what an evaluator answers, in a sentence."""
    models = " or ".join(model.id for model in of.models)
    return (
        f"evaluate(changes) says how likely {models} is to become {of.aim} under {of.regime} if "
        f"something is changed, each time with the luck of seed {of.seed}."
    )
