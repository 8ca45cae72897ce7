"""Schemas of why odds fall, and of why one life went wrong: what `petsim explain` prints."""

from __future__ import annotations

from petsim.study.reasons import ORDER
from petsim.view.data.limits import known
from petsim.view.data.parts import (
    NUMBER,
    Schema,
    either,
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


def explained() -> Schema:
    """Return the schema of why odds fall, or of why one life went wrong."""
    about = "Why odds fall or, with --life, --worst or --typical, why one life went wrong"
    return either(about, _explanation(), _life_explained())


def _explanation() -> Schema:
    share = "0..1"
    difference = "-1..1, points as a share of 1"
    interval = {"estimate": known(share), "low": known(share), "high": known(share)}
    apart = {end: known(difference) for end in ("estimate", "low", "high")}
    part = record(
        "An imperfection of the regime; all null where an interrupt left no time for it",
        what=text("What it is called"),
        path=text("Where the regime has it"),
        is_there=flag("Whether the regime has it, and does anything by it; else it costs 0"),
        off=record("Odds of the aim with it alone switched off", **interval),
        on=record("Odds with it alone left on, all others switched off", **interval),
        gain=record("Odds with it alone switched off less the odds, on common luck", **apart),
        share=record("Its fair share of the fall; all shares sum to it", **apart),
        share_by_model=list_of("The same under each model", known(difference)),
    )
    model = record(
        "A model",
        model=text("Its name"),
        weight=number("How much it is believed; all sum to 1", share),
        odds=number("Odds of the aim", share),
        ideal=number("Odds with the routine done flawlessly", share),
    )
    return record(
        "Why the odds fall",
        petsim=version(),
        aim=text("What is hoped for, as --aim takes it"),
        regime=text("The regime"),
        models=list_of("The models, each a guess at the pet", model),
        odds=record("Odds of the aim, 95 % interval", **ends(share)),
        ideal=record("Odds with the routine done flawlessly every minute", **ends(share)),
        fall=record("These less the odds, on common luck", **ends(difference)),
        parts=list_of("What each imperfection costs, dearest first", part),
        eyes=record("Odds without any error of the eyes in clear light, less the odds", **apart),
        routine=record(
            "The routine itself: an example of what a caretaker who sees all adds",
            what=text("What it is called"),
            example=record("Odds under a caretaker who sees all", **interval),
            beyond=record("These less those of the routine done flawlessly", **apart),
        ),
        lives=record(
            "How many lives were lived",
            regime=whole("Of the regime and of its routine done flawlessly", least=1),
            alone=whole("With each imperfection alone off, and alone on", least=1),
            ordered=whole("In which imperfections were switched on one after another"),
        ),
        precision=number("Half-width of the shares that was wanted", share),
        seed=seed(),
        until=text("What each life was followed to: outcome, death, or a number of days"),
        interrupted=flag("Whether less was lived than asked for"),
    )


def _life_explained() -> Schema:
    """What `petsim explain` prints of one life."""
    t = whole("Time since the life began", "s")
    asked = {
        "quantity": text("What it goes by: misses_in_form, misses_in_life, discipline or weight"),
        "cause": or_null(text("Cause of the misses, or all"), "if it is of no misses"),
        "asked": text("The bound, such as 'at most 4'"),
        "number": whole("The number that was held against it", NUMBER),
    }
    failed = record(
        "The growth by which the aim went out of reach",
        t=t,
        form=text("The form that was outgrown"),
        became=text("The form that it took"),
        missed=or_null(text("The form that would have kept the aim"), "if no rule led there"),
        conditions=list_of("The conditions that decided", record("A condition", **asked)),
    )
    without_it = record(
        "The life without one mishap",
        what=text("Source of the mishap, such as outage, spell, forgets or 'slips feed'"),
        number=whole("Which of that source", NUMBER, least=1),
        t=t,
        seconds=whole("How long it lasted, or how late the check was", "s"),
        outcome=text("What it would have become"),
        condition=or_null(
            whole("What the first condition that failed would have gone by", NUMBER),
            "if it would not have come to that",
        ),
    )
    changed = record(
        "The life with one quantity changed",
        what=text("quantity", "quantity"),
        path=text("Path of the quantity in the regime, as --vary takes it"),
        choice=flag("Whether whoever makes the rig or the rota decides it"),
        before=text("Its value, as files have it"),
        after=text("The value that leads to the aim"),
        change=number(
            "By how much it is changed; of a time of the clock, by how much of an hour",
            "share of the value",
        ),
        seconds=or_null(
            {"description": "The same (s)", "type": "integer"}, "if it is no single time"
        ),
    )
    return record(
        "Why one life went wrong",
        petsim=version(),
        model=text("Name of the model"),
        regime=text("Name of the regime, as given"),
        seed=seed(),
        life=whole("Number of the life", NUMBER),
        chosen=or_null(
            record(
                "As what it was chosen",
                what=text("The worst or the most typical life", "worst", "typical"),
                lives=whole("Among how many lives", least=1),
            ),
            "if it was given",
        ),
        outcome=text("What became of it"),
        aim=text("The form that was aimed for"),
        failed=or_null(failed, "if the aim was reached, or the pet died before"),
        chain=list_of("What it failed by, in order", _link()),
        would_have_saved=list_of(
            "What alone leads to the aim: mishaps left out, the shortest first, then quantities "
            "changed, the smallest change first",
            either("By what it is", without_it, changed),
        ),
        together=list_of(
            "If there is nothing of that, what the rig or rota would have to be free of altogether",
            text("An imperfection"),
        ),
        nearer=or_null(without_it, "if a mishap alone cost it the aim, or none comes nearer"),
        margins=list_of(
            "Of a life that reached the aim, the conditions that it kept on its way",
            record("A condition", form=text("The form that was outgrown"), **asked),
        ),
        tried=record(
            "How many lives were lived again",
            mishaps=whole("Without one mishap"),
            changes=whole("With one quantity changed, or one imperfection switched off"),
            largest=whole("How often a quantity was made as small or as large as was tried"),
            largest_led=whole("How often that reached the aim"),
        ),
    )


def _link() -> Schema:
    t, signal = whole("Time since the life began", "s"), text("The signal")
    value: Schema = {
        "description": "Whether it is so, or the level or pile (count)",
        "type": ["integer", "boolean"],
    }
    return record(
        "A care miss, or a misbehaviour that nobody reprimanded",
        t=whole("When it was too late, since the life began", "s"),
        cause=text("The need, waste, illness, lights or misbehaviour"),
        form=text("The pet's form"),
        due=whole("Since when something was to be done", "s"),
        checks=list_of(
            "The checks that came in time",
            record("A check", t=t, done=text("Carried out, or why not")),
        ),
        seen=list_of(
            "What they saw that it depends on",
            record("A reading", t=t, signal=signal, truth=value, seen=value),
        ),
        pressed=list_of(
            "What they did about it",
            record("An action", t=t, action=text("Its name"), fate=text("What came of it")),
        ),
        why=text("What stopped the first check that could have put it right", *ORDER),
    )
