"""Parameters of which no log of a rig says anything, and what to do instead.

Care misses are hidden, so whatever only they show stays as it was guessed, and the report says so.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from petsim.evidence.estimate import Estimate, refused
from petsim.evidence.places import places_of
from petsim.evidence.timeline import FormSpan
from petsim.spec.model import Model

HIDDEN = "care misses are never seen"
MAKERS_WORD = "a test pet that is left empty on purpose, or the maker's word"


def silent_parameters(model: Model, spans: Sequence[Sequence[FormSpan]]) -> list[Estimate]:
    """Return what no log can tell, of the forms that were lived, each refused with a remedy."""
    forms = {span.form for life in spans for span in life}
    return [
        *_of_needs(model, forms),
        *_of_waste_and_illness(model, forms),
        *_of_growth(model, forms),
    ]


def _of_needs(model: Model, forms: set[str]) -> Iterator[Estimate]:
    for attribute, key in (
        ("grace", "grace"),
        ("again_after", "again after"),
        ("fatal_after", "fatal after"),
    ):
        for place, own in places_of(model, attribute, forms).items():
            for need, after in getattr(model.forms[own[0]], attribute).items():
                if after is not None:
                    yield _hidden(f"{place}.{key}.{need}", after)


def _of_waste_and_illness(model: Model, forms: set[str]) -> Iterator[Estimate]:
    for attribute in ("waste", "illness"):
        for place, own in places_of(model, attribute, forms).items():
            part = getattr(model.forms[own[0]], attribute)
            if part.grace is not None:
                yield _hidden(f"{place}.{attribute}.grace", part.grace)
            if attribute == "illness" and part.per_waste > 0:
                yield _hidden_rate(
                    f"{place}.illness.per waste",
                    part.per_waste,
                    "the pile is hardly ever there under good care",
                    "a pet whose waste is left on purpose",
                )
            if attribute == "illness" and part.per_excess > 0:
                yield _hidden_rate(
                    f"{place}.illness.per excess",
                    part.per_excess,
                    "too few illnesses are seen to tell what weight adds",
                    "weight in each look, over many lives",
                )
    for place, own in places_of(model, "lights_grace", forms).items():
        after = model.forms[own[0]].lights_grace
        if after is not None:
            yield _hidden(f"{place}.lights grace", after)


def _of_growth(model: Model, forms: set[str]) -> Iterator[Estimate]:
    for form in model.forms:
        if form in forms and len(model.forms[form].grows_into) > 1:
            yield refused(
                f"forms.{form}.grows into",
                "model",
                "value",
                why="one branch taken is as many rules would have it",
                record="the maker's word; discipline and counted misses at each growth",
            )


def _hidden(path: str, seconds: float) -> Estimate:
    return refused(path, "model", "value", guess=seconds, why=HIDDEN, record=MAKERS_WORD)


def _hidden_rate(path: str, rate: float, why: str, record: str) -> Estimate:
    return refused(path, "model", "rate", guess=rate, why=why, record=record)
