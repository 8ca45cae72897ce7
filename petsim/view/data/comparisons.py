"""Schema of a comparison: what `petsim compare` prints."""

from __future__ import annotations

from collections.abc import Callable

from petsim.spec import defaults
from petsim.spec.choices import ENGINES
from petsim.spec.library import load_model
from petsim.study.measures import Estimator, Measure, measures
from petsim.study.reasons import ORDER
from petsim.view.data.parts import (
    SHARE,
    Schema,
    by_name,
    ends,
    flag,
    list_of,
    number,
    or_null,
    record,
    seed,
    text,
    version,
    whole,
)


def comparison() -> Schema:
    """Return the schema of regimes compared."""
    precision = record(
        "The precision that was wanted",
        wanted=number("Half-width wanted of the widest interval", SHARE),
        half_width=number("Half-width that it has", SHARE),
        reached=flag("Whether no more lives were lived as these are enough"),
    )
    return record(
        "Regimes side by side on the same luck",
        "miss_reasons",
        petsim=version(),
        model=text("Name of the model"),
        seed=seed(),
        lives=whole("Lives under each regime", least=1),
        until=text("What each life was followed to: outcome, death, or a number of days"),
        precision=or_null(precision, "if none was wanted"),
        aim=text("What is hoped for, as --aim takes it, whose odds or worth are compared"),
        regimes=list_of("The regimes, in the order given", _regime()),
        differences=list_of("Each later regime against the first", _difference()),
        miss_reasons=list_of("Why care misses happened, with --why", _miss_reasons()),
    )


def _miss_reasons() -> Schema:
    mean = {
        name: or_null(end, "if only one life was lived") if name != "estimate" else end
        for name, end in ends("count").items()
    }
    by_reason = record(
        "By main reason, means that add up to all misses",
        **{reason: record(f"Misses a life: {reason}", **mean) for reason in ORDER},
    )
    return record(
        "The main reasons of the care misses of the first lives under a regime",
        regime=text("Name of the regime, as given"),
        lives=whole("Lives that were simulated again for it", least=1),
        misses_per_life=by_reason,
        misses_per_life_by_cause=by_name("The same by what was missed", by_reason),
    )


def _regime() -> Schema:
    met = record("Share of lives with it", **ends(SHARE))
    takes = record(
        "A condition, and the lives that met it",
        form=text("The form before the aim"),
        what=text("What its rule of growth asks; empty for having come to this form"),
        met=or_null(met, "if no life outgrew the form"),
    )
    optional, figures = _figures(_figure)
    _, intervals = _figures(_interval)
    return record(
        "The figures of a regime",
        *optional,
        "expected_worth",
        expected_worth=record(
            "Odds of one of several forms, or the expected worth, if these are aimed for",
            **ends(SHARE),
        ),
        name=text("Name of the regime, as given"),
        engine=text("The engine that simulated its lives", *ENGINES[1:]),
        **figures,
        aim_takes=list_of(
            "What the aim takes: of all lives, then of those that outgrew a form", takes
        ),
        intervals=record("The intervals of the means", **intervals),
    )


def _figures(of: Callable[[str, Measure], Schema | None]) -> tuple[list[str], dict[str, Schema]]:
    """The fields that the measures of any model have, and which of them can be missing.

    Args:
        of: makes the schema of a measure from what it is; None if it is left out.
    """
    always: set[str] = set()
    fields: dict[str, Schema] = {}
    for measure in measures(load_model(defaults.MODEL)):
        first, *names = measure.path
        example = "For example, " if names else ""
        schema = of(f"{example}{measure.table}: {measure.label}", measure)
        if schema is None or not measure.in_data:
            continue
        fields.setdefault(first, by_name(f"{measure.table}, by name", schema) if names else schema)
        always |= set() if measure.rare else {first}
    return [name for name in fields if name not in always], fields


def _figure(what: str, measure: Measure) -> Schema:
    """The schema of a measure beside others of its regime."""
    if measure.estimator is Estimator.SHARE:
        return record(what, **ends(measure.unit))
    about = f"{what}, {measure.estimator.value}"
    if measure.estimator is Estimator.COUNT:
        return whole(about)
    return number(about, measure.unit)


def _interval(what: str, measure: Measure) -> Schema | None:
    """The schema of the interval of a mean."""
    if measure.estimator is not Estimator.MEAN:
        return None
    estimate, low, high = ends(measure.unit).values()
    why = "if only one life was lived"
    return record(what, estimate=estimate, low=or_null(low, why), high=or_null(high, why))


def _difference() -> Schema:
    gain = number(
        "Times as many lives that show it as well if each regime has luck of its own", "factor"
    )
    return record(
        "How much likelier the aim, or how much higher the worth, is than under the first regime",
        of=text("Name of the regime"),
        against=text("Name of the first"),
        aim=text("What is hoped for, whose odds or worth differ"),
        **ends("difference of shares, -1..1"),
        p_value=number("McNemar's exact test of shares, paired t test of worths", SHARE),
        pairing_gain=or_null(gain, "if all lives, or none, tell the two apart"),
    )
