"""The data that `--json` prints, as JSON Schema: every field, what it means and its unit.

What depends on a model is taken from the lists that the data themselves are made from: the measures
of a comparison, and the columns of a life. The tests hold what each command prints against it.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import partial
from typing import Any, get_args

from petsim.advice.choosing.racing import Standing
from petsim.advice.limits.quantities import Kind, Unit
from petsim.advice.limits.tolerance import Holds
from petsim.evidence.estimate import Of, Verdict
from petsim.life.counters import Of as Counted
from petsim.life.kinds import EventKind
from petsim.life.record import LABELS, columns
from petsim.spec import defaults
from petsim.spec.choices import ENGINES, LOOKED_AT, REACHED_BY, SAMPLE_OF, SAMPLES
from petsim.spec.library import load_model
from petsim.spec.schema import DIALECT
from petsim.study.measures import Estimator, Measure, measures
from petsim.study.reasons import ORDER

Schema = dict[str, Any]

SHARE, NUMBER = "0..1", "number"
"""The units of a share and of what has none, such as a seed."""


def data_schema(command: str) -> Schema:
    """Return the JSON Schema (draft 2020-12) of what a command prints with `--json`.

    Args:
        command: the name of one that has the option.
    """
    title = f"What petsim {command} prints with --json"
    return {"$schema": DIALECT, "title": title, **PRINTED[command]()}


# What schemas are made of


def _record(about: str, *optional: str, **fields: Schema) -> Schema:
    """An object of these fields and no others, all there but those that are optional."""
    return {
        "description": about,
        "type": "object",
        "properties": fields,
        "required": [name for name in fields if name not in optional],
        "additionalProperties": False,
    }


def _by_name(about: str, value: Schema) -> Schema:
    """An object whose keys are names of the user's files."""
    return {"description": about, "type": "object", "additionalProperties": value}


def _list(about: str, item: Schema) -> Schema:
    return {"description": about, "type": "array", "items": item}


def _text(about: str, *words: str) -> Schema:
    """A text, of these words if any are given."""
    return {"description": about, "type": "string"} | ({"enum": [*words]} if words else {})


def _flag(about: str) -> Schema:
    return {"description": about, "type": "boolean"}


def _whole(about: str, unit: str = "count", least: int = 0) -> Schema:
    return {"description": f"{about} ({unit})", "type": "integer", "minimum": least}


def _number(about: str, unit: str) -> Schema:
    ends = {"minimum": 0, "maximum": 1} if unit == SHARE else {}
    return {"description": f"{about} ({unit})", "type": "number", **ends}


def _row(about: str, *items: Schema) -> Schema:
    """A list of a certain length, whose items differ."""
    length = {"minItems": len(items), "items": False}
    return {"description": about, "type": "array", "prefixItems": [*items], **length}


def _either(about: str, *choices: Schema) -> Schema:
    return {"description": about, "anyOf": [*choices]}


def _or_null(schema: Schema, why: str) -> Schema:
    rest = {key: value for key, value in schema.items() if key != "description"}
    return _either(f"{schema['description']}; null {why}", rest, {"type": "null"})


def _ends(unit: str) -> dict[str, Schema]:
    """The fields of an estimate with its interval."""
    return {
        "estimate": _number("Estimate", unit),
        "low": _number("Lower end of its 95 % interval", unit),
        "high": _number("Upper end of its 95 % interval", unit),
    }


def _version() -> Schema:
    return _text("Version of petsim")


def _seed() -> Schema:
    return _whole("Seed of the luck", NUMBER)


# Comparisons


def _comparison() -> Schema:
    precision = _record(
        "The precision that was wanted",
        wanted=_number("Half-width wanted of the widest interval", SHARE),
        half_width=_number("Half-width that it has", SHARE),
        reached=_flag("Whether no more lives were lived as these are enough"),
    )
    return _record(
        "Regimes side by side on the same luck",
        "miss_reasons",
        petsim=_version(),
        model=_text("Name of the model"),
        seed=_seed(),
        lives=_whole("Lives under each regime", least=1),
        until=_text("What each life was followed to: outcome, death, or a number of days"),
        precision=_or_null(precision, "if none was wanted"),
        aim=_text("What is hoped for, as --aim takes it, whose odds or worth are compared"),
        regimes=_list("The regimes, in the order given", _regime()),
        differences=_list("Each later regime against the first", _difference()),
        miss_reasons=_list("Why care misses happened, with --why", _miss_reasons()),
    )


def _miss_reasons() -> Schema:
    ends = {
        name: _or_null(end, "if only one life was lived") if name != "estimate" else end
        for name, end in _ends("count").items()
    }
    by_reason = _record(
        "By main reason, means that add up to all misses",
        **{reason: _record(f"Misses a life: {reason}", **ends) for reason in ORDER},
    )
    return _record(
        "The main reasons of the care misses of the first lives under a regime",
        regime=_text("Name of the regime, as given"),
        lives=_whole("Lives that were simulated again for it", least=1),
        misses_per_life=by_reason,
        misses_per_life_by_cause=_by_name("The same by what was missed", by_reason),
    )


def _regime() -> Schema:
    met = _record("Share of lives with it", **_ends(SHARE))
    takes = _record(
        "A condition, and the lives that met it",
        form=_text("The form before the aim"),
        what=_text("What its rule of growth asks; empty for having come to this form"),
        met=_or_null(met, "if no life outgrew the form"),
    )
    optional, figures = _figures(_figure)
    _, intervals = _figures(_interval)
    return _record(
        "The figures of a regime",
        *optional,
        "expected_worth",
        expected_worth=_record(
            "Odds of one of several forms, or the expected worth, if these are aimed for",
            **_ends(SHARE),
        ),
        name=_text("Name of the regime, as given"),
        engine=_text("The engine that simulated its lives", *ENGINES[1:]),
        **figures,
        aim_takes=_list(
            "What the aim takes: of all lives, then of those that outgrew a form", takes
        ),
        intervals=_record("The intervals of the means", **intervals),
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
        fields.setdefault(first, _by_name(f"{measure.table}, by name", schema) if names else schema)
        always |= set() if measure.rare else {first}
    return [name for name in fields if name not in always], fields


def _figure(what: str, measure: Measure) -> Schema:
    """The schema of a measure beside others of its regime."""
    if measure.estimator is Estimator.SHARE:
        return _record(what, **_ends(measure.unit))
    about = f"{what}, {measure.estimator.value}"
    if measure.estimator is Estimator.COUNT:
        return _whole(about)
    return _number(about, measure.unit)


def _interval(what: str, measure: Measure) -> Schema | None:
    """The schema of the interval of a mean."""
    if measure.estimator is not Estimator.MEAN:
        return None
    estimate, low, high = _ends(measure.unit).values()
    why = "if only one life was lived"
    return _record(what, estimate=estimate, low=_or_null(low, why), high=_or_null(high, why))


def _difference() -> Schema:
    gain = _number(
        "Times as many lives that show it as well if each regime has luck of its own", "factor"
    )
    return _record(
        "How much likelier the aim, or how much higher the worth, is than under the first regime",
        of=_text("Name of the regime"),
        against=_text("Name of the first"),
        aim=_text("What is hoped for, whose odds or worth differ"),
        **_ends("difference of shares, -1..1"),
        p_value=_number("McNemar's exact test of shares, paired t test of worths", SHARE),
        pairing_gain=_or_null(gain, "if all lives, or none, tell the two apart"),
    )


# Single lives


def _life() -> Schema:
    event = _record(
        "An entry of the log",
        t=_whole("Time since the life began", "s"),
        event=_text("What happened", *EventKind),
        what=_text("The form, need, cause or action that it is about; empty if there is none"),
        value=_or_null(
            _whole("Level, pile, doses, discipline or care misses after it", NUMBER),
            "if nothing is counted",
        ),
    )
    return _record(
        "One life",
        petsim=_version(),
        model=_text("Name of the model"),
        regime=_text("Name of the regime, as given"),
        seed=_seed(),
        life=_whole("Number of the life", NUMBER),
        summary=_summary(),
        events=_list("All that happened, in order", event),
    )


def _life_explained() -> Schema:
    """What `petsim explain` prints of one life."""
    t = _whole("Time since the life began", "s")
    asked = {
        "quantity": _text("What it goes by: misses_in_form, misses_in_life, discipline or weight"),
        "cause": _or_null(_text("Cause of the misses, or all"), "if it is of no misses"),
        "asked": _text("The bound, such as 'at most 4'"),
        "number": _whole("The number that was held against it", NUMBER),
    }
    failed = _record(
        "The growth by which the aim went out of reach",
        t=t,
        form=_text("The form that was outgrown"),
        became=_text("The form that it took"),
        missed=_or_null(_text("The form that would have kept the aim"), "if no rule led there"),
        conditions=_list("The conditions that decided", _record("A condition", **asked)),
    )
    without_it = _record(
        "The life without one mishap",
        what=_text("Source of the mishap, such as outage, spell, forgets or 'slips feed'"),
        number=_whole("Which of that source", NUMBER, least=1),
        t=t,
        seconds=_whole("How long it lasted, or how late the check was", "s"),
        outcome=_text("What it would have become"),
        condition=_or_null(
            _whole("What the first condition that failed would have gone by", NUMBER),
            "if it would not have come to that",
        ),
    )
    changed = _record(
        "The life with one quantity changed",
        what=_text("quantity", "quantity"),
        path=_text("Path of the quantity in the regime, as --vary takes it"),
        choice=_flag("Whether whoever makes the rig or the rota decides it"),
        before=_text("Its value, as files have it"),
        after=_text("The value that leads to the aim"),
        change=_number(
            "By how much it is changed; of a time of the clock, by how much of an hour",
            "share of the value",
        ),
        seconds=_or_null(
            {"description": "The same (s)", "type": "integer"}, "if it is no single time"
        ),
    )
    return _record(
        "Why one life went wrong",
        petsim=_version(),
        model=_text("Name of the model"),
        regime=_text("Name of the regime, as given"),
        seed=_seed(),
        life=_whole("Number of the life", NUMBER),
        chosen=_or_null(
            _record(
                "As what it was chosen",
                what=_text("The worst or the most typical life", "worst", "typical"),
                lives=_whole("Among how many lives", least=1),
            ),
            "if it was given",
        ),
        outcome=_text("What became of it"),
        aim=_text("The form that was aimed for"),
        failed=_or_null(failed, "if the aim was reached, or the pet died before"),
        chain=_list("What it failed by, in order", _link()),
        would_have_saved=_list(
            "What alone leads to the aim: mishaps left out, the shortest first, then quantities "
            "changed, the smallest change first",
            _either("By what it is", without_it, changed),
        ),
        together=_list(
            "If there is nothing of that, what the rig or rota would have to be free of altogether",
            _text("An imperfection"),
        ),
        nearer=_or_null(without_it, "if a mishap alone cost it the aim, or none comes nearer"),
        margins=_list(
            "Of a life that reached the aim, the conditions that it kept on its way",
            _record("A condition", form=_text("The form that was outgrown"), **asked),
        ),
        tried=_record(
            "How many lives were lived again",
            mishaps=_whole("Without one mishap"),
            changes=_whole("With one quantity changed, or one imperfection switched off"),
            largest=_whole("How often a quantity was made as small or as large as was tried"),
            largest_led=_whole("How often that reached the aim"),
        ),
    )


def _link() -> Schema:
    t, signal = _whole("Time since the life began", "s"), _text("The signal")
    value: Schema = {
        "description": "Whether it is so, or the level or pile (count)",
        "type": ["integer", "boolean"],
    }
    return _record(
        "A care miss, or a misbehaviour that nobody reprimanded",
        t=_whole("When it was too late, since the life began", "s"),
        cause=_text("The need, waste, illness, lights or misbehaviour"),
        form=_text("The pet's form"),
        due=_whole("Since when something was to be done", "s"),
        checks=_list(
            "The checks that came in time",
            _record("A check", t=t, done=_text("Carried out, or why not")),
        ),
        seen=_list(
            "What they saw that it depends on",
            _record("A reading", t=t, signal=signal, truth=value, seen=value),
        ),
        pressed=_list(
            "What they did about it",
            _record("An action", t=t, action=_text("Its name"), fate=_text("What came of it")),
        ),
        why=_text("What stopped the first check that could have put it right", *ORDER),
    )


def _summary() -> Schema:
    """The columns of a life: those of any model, and by their beginnings those that vary."""
    fixed: dict[str, Schema] = {}
    varied: dict[str, Schema] = {}
    for column in columns(load_model(defaults.MODEL)):
        if column.name in LABELS:
            fixed[column.name] = _text(column.meaning)
            continue
        start, dot, _ = column.name.partition(".")
        example = f"For example, {column.name}: " if dot else ""
        schema = _whole(f"{example}{column.meaning}", column.unit or NUMBER, least=-1 if dot else 0)
        if dot:
            varied.setdefault(f"^{re.escape(start)}\\.", schema)
        else:
            fixed[column.name] = schema
    about = "The life in numbers, as in the table of lives"
    return _record(about, **fixed) | {"patternProperties": varied}


# Sweeps


def _sweep(*optional: str, **more: Schema) -> Schema:
    file = (_text("Its name"), _text("Its text"))
    policy = _or_null(_text("What its Python policy was made from"), "if it has none")
    regime = _row("A regime", _text("Its name, as given"), _row("Its file", *file), policy)
    points = _row(
        "How points are chosen, and how many",
        _text("The method", *SAMPLES, *SAMPLE_OF.values()),
        _whole("Points", least=1),
    )
    values = _list("Each value", _text("As files have it"))
    cell = _record(
        "A cell",
        cell=_whole("Number of the cell", NUMBER),
        regime=_text("Name of its regime"),
        parameters=_by_name("What varies, by its path", _text("Its value, as files have it")),
        lives=_whole("Lives so far"),
        odds=_or_null(
            _record("Odds of the aim, or the expected worth", **_ends(SHARE)),
            "if nothing was lived",
        ),
        failed=_or_null(_text("Why it failed"), "if it did not"),
    )
    return _record(
        "A sweep, which is unfinished if cells without failure have fewer lives than wanted",
        *optional,
        file=_text("Path of its file"),
        petsim=_version(),
        model=_row("The model", *file),
        regimes=_list("The regimes", regime),
        vary=_by_name("What varies, by its path", _either("Its values", values, _text("A range"))),
        sample=_or_null(points, "if all combinations are simulated"),
        lives=_whole("Lives wanted in each cell", least=1),
        seed=_seed(),
        until=_or_null(_text("What each life is followed to"), "if to its outcome or for days"),
        days=_or_null(_number("Time that each life is followed", "days"), "if to its end"),
        aim=_text("What is hoped for, as --aim takes it, whose odds or worth are found"),
        keep=_flag("Whether the row of every life is kept"),
        chunk=_whole("Lives that are simulated and written together", least=1),
        cells=_list("The cells, in order", cell),
        **more,
    )


def _sensitivity() -> Schema:
    change = "difference of shares, -1..1"
    moved = _record(
        "By Morris's method, what going through its whole range does to the odds",
        effect=_number("On average", change),
        size=_number("On average, whichever way it goes", "difference of shares, 0..1"),
        low=_number("Lower end of the 95 % interval of size", change),
        high=_number("Upper end of the 95 % interval of size", change),
        spread=_number("How much it depends on the other unknowns, standard deviation", change),
    )
    share = _record(
        "By Sobol indices, its share of the variance of the odds",
        **_share_of_variance("alone", "Due to it alone"),
        **_share_of_variance("in_all", "Due to it with all others"),
    )
    by_path = _by_name(
        "What each unknown does, by its path; missing until all cells are lived",
        _either("By the method of the sample", moved, share),
    )
    return _sweep("sensitivity", sensitivity=by_path)


def _share_of_variance(name: str, about: str) -> dict[str, Schema]:
    """The fields of an index with its interval."""
    ends = {
        name: about,
        f"{name}_low": f"{about}, lower end of its 95 % interval",
        f"{name}_high": f"{about}, upper end of its 95 % interval",
    }
    unknown = "if the odds are the same in all cells"
    return {
        key: _or_null(_number(what, "share of the variance"), unknown) for key, what in ends.items()
    }


# What to expect


def _expect() -> Schema:
    about = (
        "What the counters should show: by day, on a day by hour (--day), or in a log (--against)"
    )
    return _either(about, _expected(), _expected_day(), _held_log())


def _counter(**more: Schema) -> Schema:
    return _record(
        "Something that is counted",
        of=_text("What is counted: looks that read 0 of a need are zero", *get_args(Counted)),
        name=_text("The action or the need; empty of checks and presses"),
        **more,
    )


def _expected() -> Schema:
    own = "in which as many lives have it"
    day = _record(
        "A day of the pet's clock",
        day=_whole("Its number, 1 for the first", NUMBER, least=1),
        from_s=_whole("Second of the day at which it begins, 0 but for the first", "s"),
        alive=_number("Share of lives that live through it, of which all else is", SHARE),
        counters=_list(
            "What is counted",
            _counter(
                median=_number("Median", "count"),
                low=_whole("Least within the band"),
                high=_whole("Greatest within the band"),
            ),
        ),
    )
    regime = _record(
        "The bands under a regime, which hold together",
        regime=_text("Name of the regime, as given"),
        together=_record("Fresh lives all of whose counts are within their bands", **_ends(SHARE)),
        alone=_record(f"The same, if each count has a band of its own {own}", **_ends(SHARE)),
        days=_list("The days", day),
    )
    return _record(
        "By day",
        petsim=_version(),
        model=_text("Name of the model or pet"),
        seed=_seed(),
        lives=_whole("Lives from which the bands are made", least=1),
        confidence=_number("Chance of a quiet life to stay within all bands", SHARE),
        regimes=_list("The regimes, in the order given", regime),
    )


def _expected_day() -> Schema:
    mean = "mean over the lives that live through the hour"
    hour = _record(
        "An hour of the day",
        hour=_whole("The hour", "0..23"),
        suppressed=_record(
            "Checks that are not carried out",
            outage=_number(f"As the power is out, {mean}", "count"),
            busy=_number(f"As another goes on, or the next has overtaken it, {mean}", "count"),
            forgotten=_number(f"As nobody thinks of it, {mean}", "count"),
            window=_number("That would be due in a clock window without checks", "count"),
        ),
        counters=_list("What is counted", _counter(mean=_number(f"Count, {mean}", "count"))),
    )
    growth = _record(
        "A growth on that day",
        before=_text("The form before it"),
        after=_text("The form after it"),
        share=_number("Share of the lives that begin the day", SHARE),
        median_s=_number("When it comes, median", "s of the day"),
        low_s=_number("When it comes, lower end of 95 % of them", "s of the day"),
        high_s=_number("When it comes, upper end of 95 % of them", "s of the day"),
    )
    form = _record(
        "A form that a pet may have on that day",
        form=_text("The form"),
        share=_number("Share of the lives that begin the day", SHARE),
        next=_list("What the camera must tell apart next", _text("A form it can grow into")),
    )
    return _record(
        "A day by hour (--day)",
        petsim=_version(),
        model=_text("Name of the model or pet"),
        regime=_text("Name of the regime, as given"),
        seed=_seed(),
        lives=_whole("Lives simulated", least=1),
        day=_whole("Number of the day, 1 for the first", NUMBER, least=1),
        weekday=_whole("Its weekday, Monday is 0", NUMBER),
        alive=_number("Share of lives that begin the day", SHARE),
        hours=_list("The hours that are lived", hour),
        growths=_list("Growths of the day, by time", growth),
        forms=_list("Forms of the day", form),
    )


def _held_log() -> Schema:
    outside = _record(
        "A count outside its band",
        day=_whole("Number of the day, 1 for the first", NUMBER, least=1),
        counter=_counter(),
        logged=_whole("What the log has"),
        median=_number("Median of quiet lives", "count"),
        low=_whole("Least within the band"),
        high=_whole("Greatest within the band"),
    )
    day = _whole("Number of a day, 1 for the first", NUMBER, least=1)
    return _record(
        "A log held against the bands (--against)",
        petsim=_version(),
        log=_text("The log"),
        model=_text("Name of the model or pet"),
        regime=_text("Name of the regime, as given"),
        confidence=_number("Chance of a quiet life to have no count outside", SHARE),
        days=_list("Days that were held", day),
        left_out=_list("Days that were not, as lines of the log are lost", day),
        unseen=_list("What the log does not tell", _counter()),
        outside=_list("The counts outside, by day", outside),
    )


# Real pets


def _odds(about: str) -> Schema:
    odds = _number("Odds", SHARE)
    simulated = _record(
        "Simulated odds",
        odds=odds,
        low=_number("Lower end of their 95 % interval", SHARE),
        high=_number("Upper end of their 95 % interval", SHARE),
        days=_number("Time to the outcome of a simulated life, mean", "days"),
        model=_text("Name of the model"),
        regime=_text("Name of the regime"),
        aim=_text("What is hoped for, as --aim takes it, whose odds they are"),
        lives=_whole("Simulated lives", least=1),
    )
    return _either(about, _record("Odds as given", odds=odds), simulated)


def _trials() -> Schema:
    unasked = "if no odds are given to hold them against"
    bound = _number("Greatest odds that go with no success, or least that go with successes", SHARE)
    real = _record(
        "What real pets say (K/N)",
        petsim=_version(),
        reached=_whole("Pets that became what was aimed for"),
        pets=_whole("Pets in all", least=1),
        **_ends(SHARE),
        bound=_or_null(bound, "if there were both"),
        against=_or_null(_odds("What they are held against"), unasked),
        p_value=_or_null(_number("Exact binomial test, two-sided", SHARE), unasked),
        compatible=_or_null(_flag("Whether they agree with the odds, at 5 %"), unasked),
    )
    plan = _record(
        "How many real pets tell two odds apart (--tell)",
        petsim=_version(),
        first=_odds("The first odds"),
        second=_odds("The second odds"),
        days=_number("Time that a real life takes", "days"),
        rigs=_whole("Real pets that live at the same time", least=1),
        one_routine=_trial_design("Which of the odds one routine has"),
        two_routines=_trial_design("Whether two routines, one of each odds, differ"),
    )
    return _either("What real pets say, or how many it takes", real, plan)


def _trial_design(about: str) -> Schema:
    cutoff = _whole("Successes at which the second odds are believed")
    design = _record(
        about,
        pets=_whole("Pets, under each routine", least=1),
        power=_number("Chance of seeing what is there", SHARE),
        cutoff=_or_null(cutoff, "of two routines"),
        weeks=_number("Time that all of them take", "weeks"),
    )
    return _or_null(design, "if it takes too many")


# Fits


def _fit() -> Schema:
    return _record(
        "What logs say of a pet and a rig",
        "odds",
        petsim=_version(),
        model=_text("Name of the model that was guessed"),
        regime=_text("Name of the regime that was guessed"),
        logs=_list("The logs", _text("Path of a log, or what else it was")),
        lives=_whole("Lives in the logs", least=1),
        days=_number("Time that they cover", "days"),
        parameters=_list("Each parameter that a log may tell", _parameter()),
        chains=_list("How each hidden chain was fitted", _chain()),
        odds=_doubt(),
    )


def _doubt() -> Schema:
    ends = {end: _number(f"{end.capitalize()} end of 95 %", SHARE) for end in ("low", "high")}
    of_lives = {"estimate": _number("Odds of the aim", SHARE), **ends}
    of_draws = {"estimate": _number("Median of the odds", SHARE), **ends}
    return _record(
        "Odds of the aim with what the logs leave in doubt, where they are asked for",
        aim=_text("What is hoped for, as --aim takes it, whose odds or worth they are"),
        regime=_text("Name of the regime"),
        lives=_whole("Lives of each draw", least=1),
        draws=_whole("Draws of all that is in doubt", least=1),
        chance=_record("At the estimates, with the doubt of chance", **of_lives),
        band=_record("Over the draws of all that is in doubt", **of_draws),
        parts=_list(
            "The same of one group of parameters alone, widest first",
            _record("A group", group=_text("What is in it"), **of_draws),
        ),
    )


def _parameter() -> Schema:
    unit = "a time in s, a rate a day, a chance as a share, a clock time in s of the day"
    told = {name: _or_null(end, "if it is refused") for name, end in _ends(unit).items()}
    return _record(
        "A parameter",
        path=_text("Where it is in its file"),
        file=_text("Its file", "model", "regime"),
        of=_text("What is estimated", *get_args(Of)),
        **told,
        verdict=_text("How well the logs tell it", *get_args(Verdict)),
        record=_text("What to record for more; empty if it is told well, or nothing would do"),
        why=_text("Why it is refused; empty if it is not"),
        guess=_or_null(_number("Its value in the guess", unit), "if it is no number"),
    )


def _chain() -> Schema:
    part = _record(
        "First looks of checks of one kind",
        what=_text("A form, or hours of the day"),
        n=_whole("Looks", least=1),
        seen=_number("Mean that was seen", "level, pile or share"),
        expected=_number("Mean that was expected", "level, pile or share"),
        z=_number("Difference of the sums", "standard deviations"),
    )
    return _record(
        "A hidden chain",
        chain=_text("A need, or waste, illness, misbehaviour or light"),
        looks=_whole("Looks at it"),
        impossible=_whole("Looks that can't be by the model"),
        converged=_flag("Whether the search for the likeliest values came to an end"),
        log_likelihood=_number("Log-likelihood there, without the priors", "nat"),
        p=_or_null(
            _number("Chance of first looks as far from what was expected", SHARE),
            "if that is not tested",
        ),
        parts=_list("What was seen and expected, by form and by hours", part),
    )


# What to decide


def _choice() -> Schema:
    model = _record(
        "A guess at the pet",
        model=_text("Name of the model"),
        weight=_number("How much it is believed; all sum to 1", SHARE),
    )
    number = _whole("Place among the candidates, from 0", NUMBER)
    numbers = partial(_list, item=number)
    share = _or_null(_number("Odds to reach", SHARE), "if the cheapest of all is asked for")
    return _record(
        "The cheapest of many candidates that reaches the odds asked for",
        petsim=_version(),
        models=_list("The guesses at the pet", model),
        regime=_text("Name of the regime, as given"),
        aim=_text("What is hoped for, as --aim takes it"),
        at_least=share,
        on=_text("What has to reach them, of the interval of the odds", *REACHED_BY),
        cheapest=_text("What is to be cheap"),
        seed=_seed(),
        fresh_seed=_whole("Seed of the lives that confirm the choice", NUMBER),
        until=_text("What each life was followed to: outcome, death, or a number of days"),
        lives=_whole("Lives of a candidate at most, and fresh lives of one that is tried", least=1),
        lives_in_all=_whole("Lives that were simulated in all", least=1),
        cells=_or_null(_whole("Combinations of what varies", least=1), "if there is any number"),
        sample=_or_null(
            _text("How it was chosen which to look at", *LOOKED_AT), "if all were looked at"
        ),
        rounds=_whole("Rounds of small changes to the routine"),
        interrupted=_flag("Whether it was ended by Ctrl-C"),
        chosen=_or_null(number, "if none is shown to reach the odds"),
        tries=_list("Those that were tried on fresh lives; the last is chosen or best", _tried()),
        alike=numbers("Those the same in every life as the chosen one, or the best"),
        as_cheap=numbers("Others that may cost as little, and may reach the odds"),
        cheaper=numbers("Those that cost less, and may reach the odds, as is not shown"),
        candidates=_list("All that were looked at", _candidate()),
    )


def _tried() -> Schema:
    by_model = _record("The odds under a model", model=_text("Name of the model"), **_ends(SHARE))
    return _record(
        "A candidate on fresh lives",
        candidate=_whole("Its place among the candidates, from 0", NUMBER),
        odds=_record("Odds over all models, with an interval of the level", **_ends(SHARE)),
        level=_number("Level of that interval", SHARE),
        cost=_record("Mean cost of a life", **_ends("as asked for")),
        holds=_flag("Whether that is enough"),
        by_model=_list("The same under each model, with 95 % intervals", by_model),
    )


def _candidate() -> Schema:
    return _record(
        "A way to look after the pet",
        values=_by_name("The value of each quantity that varies", _text("As a file has it")),
        steps=_list("What is changed in the routine", _text("A change")),
        odds=_record("Odds of the aim over all models, in the search", **_ends(SHARE)),
        cost=_record("Mean cost of a life", **_ends("as asked for")),
        more=_record("What it costs more than the chosen one, or the best", **_ends("same unit")),
        gained=_record("How much better its odds are than there", **_ends("share of lives")),
        lives=_whole("Lives that it was simulated for", least=1),
        standing=_text("Where the search left it", *(each.value for each in Standing)),
    )


# Checks against theory


def _explained() -> Schema:
    about = "Why odds fall or, with --life, --worst or --typical, why one life went wrong"
    return _either(about, _explanation(), _life_explained())


def _explanation() -> Schema:
    share = "0..1"
    difference = "-1..1, points as a share of 1"
    known = {"estimate": _known(share), "low": _known(share), "high": _known(share)}
    apart = {end: _known(difference) for end in ("estimate", "low", "high")}
    part = _record(
        "An imperfection of the regime; all null where an interrupt left no time for it",
        what=_text("What it is called"),
        path=_text("Where the regime has it"),
        is_there=_flag("Whether the regime has it, and does anything by it; else it costs 0"),
        off=_record("Odds of the aim with it alone switched off", **known),
        on=_record("Odds with it alone left on, all others switched off", **known),
        gain=_record("Odds with it alone switched off less the odds, on common luck", **apart),
        share=_record("Its fair share of the fall; all shares sum to it", **apart),
        share_by_model=_list("The same under each model", _known(difference)),
    )
    model = _record(
        "A model",
        model=_text("Its name"),
        weight=_number("How much it is believed; all sum to 1", share),
        odds=_number("Odds of the aim", share),
        ideal=_number("Odds with the routine done flawlessly", share),
    )
    return _record(
        "Why the odds fall",
        petsim=_version(),
        aim=_text("What is hoped for, as --aim takes it"),
        regime=_text("The regime"),
        models=_list("The models, each a guess at the pet", model),
        odds=_record("Odds of the aim, 95 % interval", **_ends(share)),
        ideal=_record("Odds with the routine done flawlessly every minute", **_ends(share)),
        fall=_record("These less the odds, on common luck", **_ends(difference)),
        parts=_list("What each imperfection costs, dearest first", part),
        eyes=_record("Odds without any error of the eyes in clear light, less the odds", **apart),
        routine=_record(
            "The routine itself: an example of what a caretaker who sees all adds",
            what=_text("What it is called"),
            example=_record("Odds under a caretaker who sees all", **known),
            beyond=_record("These less those of the routine done flawlessly", **apart),
        ),
        lives=_record(
            "How many lives were lived",
            regime=_whole("Of the regime and of its routine done flawlessly", least=1),
            alone=_whole("With each imperfection alone off, and alone on", least=1),
            ordered=_whole("In which imperfections were switched on one after another"),
        ),
        precision=_number("Half-width of the shares that was wanted", share),
        seed=_seed(),
        until=_text("What each life was followed to: outcome, death, or a number of days"),
        interrupted=_flag("Whether less was lived than asked for"),
    )


def _tolerances() -> Schema:
    model = _record(
        "A model",
        model=_text("Its name"),
        weight=_number("How much it is believed; all sum to 1", SHARE),
    )
    odds = _record(
        "Odds of the aim today, or expected worth, with luck and the doubt between models",
        **_ends(SHARE),
        sampling=_record("With luck alone", **_ends(SHARE)),
    )
    return _record(
        "How bad each thing may be for the odds to hold",
        petsim=_version(),
        aim=_text("What is hoped for, as --aim takes it"),
        regime=_text("Name of the regime, as given"),
        models=_list("The models, each a guess at the pet", model),
        at_least=_number("Odds that are to hold", SHARE),
        odds=odds,
        together=_or_null(_tolerance(), "if there are no errors today, or it is not known yet"),
        each=_list("Each thing by itself, those with the least room left first", _tolerance()),
        lives=_whole("Lives with one value of one thing, at most", least=1),
        precision=_number("Half the width of an interval that was wanted", "share of the limit"),
        seed=_seed(),
        until=_text("What each life was followed to: outcome, death, or a number of days"),
        asked=_whole("Things that were asked about, together included", least=1),
        interrupted=_flag("Whether some of them were not gone into"),
    )


def _tolerance() -> Schema:
    unit = "in the unit"
    beyond = "if it is beyond best or worst"
    end = _record(
        "Odds at the best if they hold nowhere, at the worst if everywhere", **_ends(SHARE)
    )
    return _record(
        "How bad one thing may be; all values are worse the greater they are",
        what=_text("What it is called"),
        path=_text("Where the regime has it; empty for all errors together"),
        kind=_text("What it is about", *get_args(Kind)),
        unit=_text(
            "Unit of its values: a chance as a share, how often as times a day, a mean time in s, "
            "or a factor of today's values",
            *get_args(Unit),
        ),
        assumed=_text("What is assumed that the regime does not say; empty if nothing is"),
        today=_number("Its value today", unit),
        best=_number("The best that was tried", unit),
        worst=_number("The worst that was tried", unit),
        holds=_text("Where the odds hold, from today on", *get_args(Holds)),
        limit=_or_null(_number("The greatest value up to which they hold", unit), "if none is"),
        low=_or_null(_number("Lower end of its 95 % interval", unit), beyond),
        high=_or_null(_number("Upper end of its 95 % interval", unit), beyond),
        room=_or_null(_number("The limit as a factor of today's", "factor"), "if it has none"),
        share_of_time=_or_null(
            _number("Share of the time that it takes at the limit", SHARE),
            "if it has none, or does not come and go",
        ),
        odds_at_end=_or_null(end, "if there is a limit"),
        odds_under_each_model=_list(
            "Of several models, the odds at the limit under each",
            _record("Odds under a model", **_ends(SHARE)),
        ),
    )


def _known(unit: str) -> Schema:
    return _or_null(_number("In the unit", unit), "if it is not known yet")


def _findings() -> Schema:
    finding = _record(
        "What came of checking a file",
        source=_text("Its name or path, as given"),
        kind=_text(
            "What it is; empty if that can't be told",
            *("", "model", "regime", "pet", "policy", "study", "sweep", "log"),
        ),
        models=_list("Models that it was checked against", _text("Name of a model")),
        problems=_list("What is wrong, none if all is well", _text("A problem, in a line")),
        notes=_list("What is allowed but may not be meant", _text("A note, in a line")),
        log=_or_null(_log(), "if it is no log, or a wrong one"),
    )
    return _record(
        "What came of checking files", petsim=_version(), files=_list("The files", finding)
    )


def _log() -> Schema:
    gap = _record(
        "Lines that are missing",
        line=_whole("Number of the line before which they are", NUMBER),
        lost=_whole("How many are missing"),
    )
    return _record(
        "What is in a log",
        lines=_whole("Lines that count"),
        lives=_list("Its lives", _logged_life()),
        cuts=_list("Lines that were cut off", _whole("Number of the line", NUMBER)),
        gaps=_list("Where lines are missing", gap),
        jumps=_list("Where the wall clock jumped", _jump("it jumped")),
        drifts=_list("Where the pet's clock has moved", _jump("it moved")),
        outside=_whole("Checks, looks and actions between an end and the next birth"),
        blind_spots=_list("What it can't say", _text("A reason, and what stays a guess for it")),
    )


def _jump(what: str) -> Schema:
    return _record(
        "A clock that is otherwise than the line before lets expect",
        line=_whole("Number of the line", NUMBER),
        by_s=_number(f"By how much {what}", "s"),
    )


def _logged_life() -> Schema:
    return _record(
        "A life in a log",
        pet=_text("What the pet is called"),
        regime=_text("The regime that the header names; empty if it names none"),
        begins=_text("The pet's clock at its first second"),
        born=_flag("Whether that is its birth"),
        end=_or_null(_text("How it ended", "died", "left"), "if the log does not say"),
        days=_number("From its first second to the last", "days"),
        checks=_whole("Checks"),
        skipped=_whole("Checks that were skipped, as the last one still went on"),
        looks=_whole("Looks"),
        seen=_by_name("Looks at each signal", _whole("Looks at it")),
        unreadable=_by_name("Looks that could not make out a signal", _whole("Such looks")),
        actions=_by_name("Actions that were begun", _whole("How often")),
        unfinished=_whole("Actions of which it has the first press only"),
        up_s=_number("How long the rig was up", "s"),
        outages_s=_list("Times for which it was not", _number("How long one was", "s")),
    )


def _verdicts() -> Schema:
    got = _or_null(_number("What petsim has", "as named"), "if that is no finite number")
    figure = _record(
        "A figure on an engine",
        check=_text("Name of the check"),
        source=_text("Where its theory is from"),
        engine=_text("The engine", *ENGINES[1:]),
        what=_text("The case and, after the last colon, the figure, with its unit if it has one"),
        expected=_number("What theory says", "as named"),
        got=got,
        tolerance=_number("How far they may be apart", "as named"),
        holds=_flag("Whether they are as near as that"),
    )
    return _list("Every figure of every check", figure)


PRINTED: dict[str, Callable[[], Schema]] = {
    "compare": _comparison,
    "run": _life,
    "sweep": _sweep,
    "sensitivity": _sensitivity,
    "explain": _explained,
    "choose": _choice,
    "tolerance": _tolerances,
    "expect": _expect,
    "trials": _trials,
    "fit": _fit,
    "check": _findings,
    "verify": _verdicts,
}
"""What makes the schema of each command that has `--json`."""
