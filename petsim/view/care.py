"""A regime in words: when somebody looks in, what they do then, and how eyes and hands err."""

from __future__ import annotations

from collections.abc import Iterator

from markupsafe import Markup

from petsim.spec.eyes import Eyes, EyesWindow, Spells
from petsim.spec.quantities import Names, duration_text
from petsim.spec.regime import MARGIN, Checks, Hand, Hands, Regime, Step, When
from petsim.view import html
from petsim.view.laws import chance, law

EYES = ("signal", "overlooks what is there", "imagines what is not", "reads a level one off")
HANDS = ("action", "takes", "presses", "chance to slip", "what lands instead")
_SIGNALS = ("waste", "ill", "asleep", "lights", "calling")


def regime(care: Regime) -> Markup:
    """Return a regime as people read it: its checks, its routine in steps, its eyes and hands."""
    return html.joined(
        html.answer(f"{care.name}: {care.about}" if care.about else care.name),
        html.listing(when_it_looks(care)),
        html.paragraph(_routine_is(care)),
        html.listing(map(step, care.routine), numbered=True),
        html.table("Chances that its eyes err", EYES, [*_eyes(care.eyes)]),
        html.table("What its hands take", HANDS, [*_hands(care.hands)]),
        html.listing(_besides(care)),
    )


def when_it_looks(care: Regime) -> Iterator[str]:
    """Yield when checks come, in sentences."""
    checks = care.checks
    for during, every in checks.interval_windows:
        yield f"from {during}: {_every(every)}"
    for stage, interval in checks.by_stage.items():
        yield f"as {stage}: {_every(interval)}"
    otherwise = "otherwise " if checks.by_stage or checks.interval_windows else ""
    if checks.at:
        yield f"{otherwise}a check at {', '.join(map(str, checks.at))}"
    else:
        yield f"{otherwise}{_every(checks.every)}"
        if checks.every is not None or otherwise:
            yield _first(checks.first)
    yield from _late(checks)
    yield from _forgotten(checks)
    if care.listens is not None:
        yield (
            f"it hears {chance(care.listens.hears)} of the pet's calls, and comes after "
            f"{law(care.listens.reacts_in)}"
        )


def _every(interval: int | None) -> str:
    if interval is None:
        return "no checks at set times"
    return f"a check every {duration_text(interval)}"


def _first(first: int | str) -> str:
    if isinstance(first, str):
        return "the first check comes at a random time, before one interval is over"
    if first == 0:
        return "the intervals are counted from birth"
    return f"the intervals are counted from {duration_text(first)} after birth"


def _late(checks: Checks) -> Iterator[str]:
    if checks.jitter is not None:
        yield f"a check comes up to {duration_text(checks.jitter)} late"
    if checks.late is not None:
        yield f"a check comes late, by {law(checks.late)}; if the next is due first, it is given up"


def _forgotten(checks: Checks) -> Iterator[str]:
    for during, forgets in checks.forgetful_windows:
        yield f"from {during}: {chance(forgets)} of the checks are forgotten"
    if checks.forgets or checks.forgetful_windows:
        otherwise = "otherwise " if checks.forgetful_windows else ""
        yield f"{otherwise}{chance(checks.forgets)} of the checks are forgotten"


def _routine_is(care: Regime) -> str:
    if not care.routine:
        return "A check does nothing."
    if care.passes == 1:
        return "A check goes through these steps:"
    return (
        "A check goes through these steps, and again as long as something was done, "
        f"{care.passes} times at most:"
    )


def step(part: Step) -> str:
    """Return a step of a routine as an instruction."""
    if part.look:
        condition = f"if {' and '.join(conditions(part.when))}: " if part.when else ""
        return f"{condition}look at {', '.join(part.look)}, and do nothing"
    if part.when is None:
        times = "" if part.repeat == 1 else f", {part.repeat} times"
        return f"{part.do}{times}, without looking"
    again = "" if part.repeat == 1 else f", and again while that is so, {part.repeat} times at most"
    return f"if {' and '.join(conditions(part.when))}: {part.do}{again}"


def conditions(when: When) -> Iterator[str]:
    """Yield the conditions of a step, which are of what is seen, in words."""
    if when.ill is not None:
        yield f"it looks {'ill' if when.ill else 'well'}"
    if when.asleep is not None:
        yield f"it looks {'asleep' if when.asleep else 'awake'}"
    if when.lights is not None:
        yield f"the lights look {when.lights}"
    if when.calling is not None:
        yield "it calls" if when.calling else "it does not call"
    if when.waste is not None:
        yield f"the pile of waste is {when.waste}"
    for need, bound in when.levels.items():
        yield f"{need} is {bound}"
    if when.weight is not None:
        yield f"its weight is {when.weight}"
    if when.discipline is not None:
        yield f"its discipline is {when.discipline}"
    for what, names in (("stage", when.stage), ("form", when.form)):
        if names is not None:
            yield f"its {what} is {_one_of(names)}"
    if when.clock is not None:
        yield f"the time is {when.clock}"


def _one_of(names: Names) -> str:
    return f"{'not ' if names.negated else ''}{' or '.join(names.names)}"


def _eyes(eyes: Eyes | EyesWindow | Spells, label: str = "") -> Iterator[tuple[str, ...]]:
    """The rows of what is misjudged at times, and of other rates in clock windows and spells."""
    for signal in _SIGNALS:
        errors = getattr(eyes, signal)
        cells = [_rate(errors.overlooks, label), _rate(errors.imagines, label)]
        if any(cells):
            yield (f"{signal}{label}", *cells, "")
    for need, eye in eyes.levels.items():
        if eye.misreads or label:
            yield (f"{need}{label}", "", "", chance(eye.misreads))
    if isinstance(eyes, Eyes):
        for window in eyes.windows:
            yield from _eyes(window, f", {window.during}")
        if eyes.spells is not None:
            yield from _eyes(eyes.spells, ", in bad light")


def _rate(probability: float | None, label: str) -> str:
    """A rate; in a window a rate of 0 is said, as it is one of its own."""
    if probability is None or (probability == 0 and not label):
        return ""
    return chance(probability)


def _hands(hands: Hands) -> Iterator[tuple[str, ...]]:
    opening = hands.opening
    if opening.takes or opening.presses:
        yield ("opening a check", duration_text(opening.takes), str(opening.presses), "", "")
    for action, hand in hands.actions.items():
        costs = (duration_text(hand.takes), str(hand.presses))
        yield (action, *costs, chance(hand.slips), _instead(hand))


def _instead(hand: Hand) -> str:
    """What lands if an action slips, and how often that is, empty for nothing."""
    others = [f"{action} {chance(share)}" for action, share in hand.into.items() if share]
    rest = ["else nothing"] if sum(hand.into.values()) < 1 - MARGIN else []
    return ", ".join([*others, *rest]) if others else ""


def _besides(care: Regime) -> Iterator[str]:
    """What there is to say of eyes, hands, power and quiet hours that no table has."""
    if not [*_eyes(care.eyes)]:
        yield "its eyes never err"
    if care.eyes.looks.of > 1:
        looks = care.eyes.looks
        yield (
            f"it looks {looks.of} times for each observation: {looks.agree} must show a signal for "
            "it to be believed, and of levels it takes the middle one"
        )
    yield from _spells(care.eyes)
    unnamed = {each.do for each in care.routine if each.do} - care.hands.actions.keys()
    if unnamed:
        others = "any other action" if care.hands.actions else "an action"
        yield f"{others} takes no time and one press, and never slips"
    if care.outages is None:
        yield "the power never fails"
    else:
        up, down = law(care.outages.up), law(care.outages.down)
        yield f"the power lasts for {up}, and is then out for {down}"
    for window in care.quiet_hours:
        yield f"presses are counted apart in quiet hours, {window}"


def _spells(eyes: Eyes) -> Iterator[str]:
    """When the light is bad, and what that is to several looks."""
    spells = eyes.spells
    if spells is None:
        return
    within = f", which matters from {spells.during}" if spells.during else ""
    yield f"the light is good for {law(spells.clear)}, and then bad for {law(spells.lasts)}{within}"
    if eyes.looks.of > 1:
        yield "in bad light all looks of an observation err together, with the chances given"
