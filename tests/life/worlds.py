"""Small pets and caretakers for tests of single rules, invented: every name and number is made up.

Their clock starts at Monday 00:00, so a second of the first day is also its clock time, and
nothing happens to them but what a test asks for.
"""

import math
from itertools import pairwise

from petsim.life.simulate import simulate
from petsim.life.streams import uniform
from tests.agreement.differences import agreed

LONG = "365 days"


def fields(**named):
    """Fields of a file: underscores become spaces."""
    return {name.replace("_", " "): value for name, value in named.items()}


def pet(young=None, adult=None, *, egg=None, lasts=LONG, adult_lasts=LONG, **model):
    """A pet that is a `sprig` (stage young) for a time, then a `tree` (stage adult).

    `egg` is how long it is a dormant `seed` before. Stages are given by `fields`, and `model`
    holds further fields of the model.
    """
    stages = {"young": young or {}, "adult": adult or {}}
    forms = {
        "sprig": {"stage": "young", "lasts": lasts, "grows into": "tree"},
        "tree": {"stage": "adult", "lasts": adult_lasts},
    }
    if egg:
        stages = {"egg": {"dormant": "yes"}} | stages
        forms = {"seed": {"stage": "egg", "lasts": egg, "grows into": "sprig"}} | forms
    base = {
        "petsim": "model 1",
        "name": "A pet",
        "begins": "Monday 00:00",
        "outcome stage": "adult",
        "aim": "tree",
        "needs": needs(),
        "care": care(),
        "stages": stages,
        "forms": forms,
    }
    return base | fields(**model)


def needs(hunger=5, mood=5, hunger_starts=None, mood_starts=None):
    """Two needs, hunger fatal: the level each is full at, and starts at unless that is full."""
    hunger_starts = hunger if hunger_starts is None else hunger_starts
    mood_starts = mood if mood_starts is None else mood_starts
    return {
        "hunger": {"full": hunger, "starts": hunger_starts, "death": "starved"},
        "mood": {"full": mood, "starts": mood_starts},
    }


def care(**more):
    """One action for each effect, never refused but when dormant, and more."""
    return {
        "feed": {"raises": {"hunger": 1}},
        "cheer": {"raises": {"mood": 1}},
        "clean": {"cleans": "yes"},
        "dose": {"doses": "yes"},
        "lights_off": {"lights": "off"},
        "lights_on": {"lights": "on"},
        "reprimand": {"reprimands": "yes"},
    } | more


def regime(*routine, every=None, first="0 s", **more):
    """A regime of these steps; checks every so many seconds from second 0 on, or never."""
    base = {"petsim": "regime 1", "name": "A regime", "routine": list(routine)}
    if every is not None:
        base["checks"] = {"every": seconds(every), "first": first}
    return base | fields(**more)


def acting(*moments, **more):
    """A regime that checks every second and does each action in its own: `(t, action)`.

    Or `(t, action, condition)`: only if what is seen then is so.
    """
    steps = (
        {"when": {"clock": span(t, t + 1)} | dict(*condition), "do": do}
        for t, do, *condition in moments
    )
    return regime(*steps, every=1, **more)


def sees(condition, t, *moments):
    """A regime that, beside other moments, cheers in second t if the condition is seen then."""
    return acting(*moments, (t, "cheer", condition))


def saw(life):
    """Whether the one who `sees` did."""
    return any(event.what == "cheer" for event in life.entries)


def seconds(t):
    """A duration in file text; text passes through."""
    return t if isinstance(t, str) else f"{t} s"


def clock(t):
    """A second of the first day in file text."""
    return f"{t // 3600:02}:{t % 3600 // 60:02}:{t % 60:02}"


def span(start, end):
    """A clock window from one second of the first day to another, in file text."""
    return f"{clock(start)} to {clock(end)}"


def live(model, caretaker=None, until=None, **options):
    """A life of so many seconds, or until its "outcome" or "death".

    Under a regime it is lived on both engines, which must agree on it.
    """
    lived = simulate if isinstance(caretaker, type) else agreed
    return lived(model, caretaker or regime(), **ending(until), **options)


def alone(model, caretaker=None, until=None, **options):
    """The same on the reference engine alone."""
    return simulate(model, caretaker or regime(), **ending(until), **options)


def ending(until):
    """The options of a life of so many seconds, or until its "outcome" or "death"."""
    return {"days": until / 86_400} if isinstance(until, int) else {"until": until}


def story(life, *kinds, at=None):
    """The event log in lines such as `10 drop hunger`: of these kinds, or all but checks."""
    chosen = [
        event
        for event in life.entries
        if (event.event in kinds if kinds else event.event != "check")
        and (at is None or event.t == at)
    ]
    return [" ".join(filter(None, (str(e.t), e.event, e.what))) for e in chosen]


def times(life, kind, what=None):
    """The seconds of the events of a kind, or of those of it about one thing."""
    return [e.t for e in life.entries if e.event == kind and what in (None, e.what)]


def values(life, kind):
    """The values of the events of a kind."""
    return [e.value for e in life.entries if e.event == kind]


def drawn(life, source):
    """How many numbers were drawn from a source of chance."""
    return life.draws.get(source, 0)


def unit_exponential(source, k, seed=0, life=0):
    """Draw k of a source as a unit-exponential number."""
    return -math.log1p(-uniform(seed, source, life, k))


def base_for(second, k=0, seed=0, life=0):
    """The illness rate per day at which a pet well since second 0 falls ill in that second.

    k numbers the illness: its threshold is draw k of its source.
    """
    return unit_exponential("illness", k, seed, life) * 86_400 / (second - 0.5)


def per_day(rate):
    """A rate in file text."""
    return f"{rate!r} per day"


def ill_at(second, **more):
    """An illness block under which a pet well since second 0 falls ill in that second."""
    return fields(base=per_day(base_for(second)), **more)


def errors(source, chances, seed=0, life=0):
    """Which trials err, and how many thresholds they drew: the contract's used-up threshold."""
    units, left, k, flags = 2.0**40, None, 0, []
    for p in chances:
        if p == 0:
            flags.append(False)
            continue
        if left is None:
            left, k = math.floor(unit_exponential(source, k, seed, life) * units), k + 1
        errs = p == 1
        if not errs:
            left -= math.floor(-math.log1p(-p) * units + 0.5)
            errs = left < 0
        if errs:
            left, k = math.floor(unit_exponential(source, k, seed, life) * units), k + 1
        flags.append(errs)
    return flags, k


def seed_where(condition):
    """The first seed for which the condition on its luck holds."""
    return next(seed for seed in range(10_000) if condition(seed))


def gaps(moments):
    """The waits between moments that follow each other."""
    return [after - before for before, after in pairwise(moments)]
