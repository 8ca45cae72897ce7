"""Random valid models and regimes, as plain data."""

from typing import Any

from hypothesis import strategies as st

from petsim.errors import legible

WORDS = ("hunger", "mood", "on", "no", "old friend", "Ærø", "null", "a-b_c", "x1", "full")
seconds = st.one_of(st.integers(1, 200), st.integers(1, 10**7))
spans = st.one_of(
    seconds.map(lambda s: f"{s} s"),
    st.integers(1, 99).map(lambda m: f"{m}.5 min"),
    st.tuples(st.integers(1, 9), st.integers(1, 59)).map(lambda t: f"{t[0]} h {t[1]} min"),
    st.integers(1, 9).map(lambda d: f"P{d}DT12H"),
)
or_never = st.one_of(spans, st.just("never"))
counts = st.integers(0, 100)
chances = st.one_of(st.integers(0, 100).map(lambda p: f"{p}%"), st.floats(0, 1))
rates = st.floats(0, 50).map(lambda r: f"{r:.6f} per day")
booleans = st.sampled_from((True, False, "yes", "no", "true", "false"))
switches = st.sampled_from(("on", "off"))
days = st.sampled_from(("", " on Mon-Fri", " on weekends", " on Sunday Tue", " on Sat-Mon"))
comparisons = st.one_of(
    st.tuples(st.sampled_from(("at least", "at most", "exactly")), st.integers(0, 4)).map(
        lambda t: f"{t[0]} {t[1]}"
    ),
    st.integers(1, 4).map(lambda n: f"below {n}"),
    st.integers(0, 4),
)


@st.composite
def laws(draw: st.DrawFn) -> str:
    low, more = draw(seconds), draw(seconds)
    return draw(
        st.sampled_from(
            (
                f"{low} s",
                f"fixed {low}.25 s",
                f"uniform {low} s to {low + more} s",
                f"triangular 0 s to {low + more} s around {low}.5 s",
                f"exponential {more} min",
                f"weibull shape {1 + low % 90 / 8} scale {more} s",
                f"lognormal median {low} s sigma 0.75",
            )
        )
    )


@st.composite
def sleep_windows(draw: st.DrawFn) -> str:
    start = draw(st.integers(0, 1439))
    end = draw(st.integers(0, 1440).filter(lambda minute: minute % 1440 != start))
    return f"{start // 60}:{start % 60:02} to {end // 60:02}:{end % 60:02}"


windows = st.tuples(sleep_windows(), days).map("".join)
times_of_day = st.tuples(
    st.integers(0, 1439).map(lambda minute: f"{minute // 60}:{minute % 60:02}"), days
).map("".join)


def parts(draw: st.DrawFn, **optional: st.SearchStrategy[Any]) -> dict[str, Any]:
    """Draw some of the optional keys."""
    fields = {key.replace("_", " "): value for key, value in optional.items()}
    return draw(st.fixed_dictionaries({}, optional=fields))


def of_needs(needs: list[str], values: st.SearchStrategy[Any]) -> st.SearchStrategy[dict[str, Any]]:
    return st.fixed_dictionaries({}, optional=dict.fromkeys(needs, values))


@st.composite
def wastes(draw: st.DrawFn) -> dict[str, Any]:
    required = {"every": draw(laws()), "pile max": draw(st.integers(1, 9))}
    return required | parts(draw, grace=or_never, again_after=or_never)


@st.composite
def illnesses(draw: st.DrawFn) -> dict[str, Any]:
    share = draw(st.integers(1, 99))
    doses = draw(st.sampled_from(({"1": "100%"}, {"3": f"{share}%", "1": f"{100 - share}%"})))
    illness = {"base": draw(rates), "per excess": draw(rates), "heavy above": draw(counts)}
    if draw(st.booleans()):
        illness["doses"] = doses
    return illness | parts(draw, per_waste=rates, grace=or_never, fatal_after=or_never)


@st.composite
def misbehaviours(draw: st.DrawFn) -> dict[str, Any]:
    return {"every": draw(laws()), "window": draw(laws())}


def rated(draw: st.DrawFn, needs: list[str], mortal: list[str]) -> dict[str, Any]:
    return parts(
        draw,
        weight_min=counts,
        drops=of_needs(needs, laws()),
        grace=of_needs(needs, or_never),
        again_after=of_needs(needs, or_never),
        fatal_after=of_needs(mortal, or_never),
        waste=wastes(),
        illness=illnesses(),
        sleeps=st.lists(sleep_windows(), max_size=2),
        lights_grace=or_never,
        misbehaviour=misbehaviours(),
    )


def conditions(draw: st.DrawFn, needs: list[str]) -> dict[str, Any]:
    by_cause = st.fixed_dictionaries(
        {"waste": comparisons}, optional=dict.fromkeys([*needs, "all", "illness"], comparisons)
    )
    found = parts(draw, discipline=comparisons, weight=comparisons, misses_in_life=by_cause)
    return found | {"misses in form": draw(st.one_of(comparisons, by_cause))}


@st.composite
def model_data(draw: st.DrawFn) -> dict[str, Any]:
    """A model with one to three needs, and a chain of forms with a branch before its end."""
    names = draw(st.lists(st.sampled_from(WORDS), min_size=1, max_size=3, unique=True))
    mortal = [name for name in names if draw(st.booleans())]
    needs = {}
    for name in names:
        full = draw(st.integers(4, 9))
        needs[name] = {"full": full} | parts(draw, starts=st.integers(0, full))
        if name in mortal:
            needs[name]["death"] = f"death of {name}"
    stages = {"first": {"dormant": True}, "second": rated(draw, names, mortal)}
    forms: dict[str, Any] = {
        "egg": {"stage": "first", "lasts": draw(laws()), "grows into": "middle"},
        "middle": rated(draw, names, mortal) | {"stage": "second", "lasts": draw(laws())},
        "one": {"stage": "second", "lasts": draw(laws())} | rated(draw, names, mortal),
        "other": {"stage": "second", "lasts": draw(laws())},
    }
    forms["middle"]["grows into"] = [{"one": conditions(draw, names)}, {"other": "otherwise"}]
    for block in ("waste", "illness", "misbehaviour", "sleeps", "drops"):
        if block in stages["second"] and draw(st.booleans()):
            forms["other"][block] = "none"
    action = st.fixed_dictionaries(
        {},
        optional={
            "raises": of_needs(names, st.integers(1, 4)),
            "weight": st.integers(-5, 5).map(lambda n: f"{n:+}"),
            "cleans": booleans,
            "doses": booleans,
            "lights": switches,
            "reprimands": booleans,
            "works": chances,
            "refused when": st.lists(st.sampled_from(("asleep", "misbehaving", "full"))),
        },
    )
    data = {
        "petsim": "model 1",
        "name": draw(st.text(min_size=1, max_size=30).map(lambda t: legible("N" + t))),
    }
    data |= parts(
        draw,
        about=st.text(max_size=60),
        begins=st.sampled_from(("10:00", "Friday 9:30", "sun 00:00:05")),
        weight=st.fixed_dictionaries({}, optional={"starts": counts}),
        discipline=st.fixed_dictionaries(
            {}, optional={"starts": counts, "step": counts, "lapse costs": counts}
        ),
        fatal_misses=st.one_of(st.integers(1, 99), st.just("never")),
    )
    rest = {
        "outcome stage": "second",
        "aim": "one",
        "needs": needs,
        "stages": stages,
        "forms": forms,
    }
    actions = draw(
        st.dictionaries(st.sampled_from(("on", "feed", "lights_off")), action, max_size=3)
    )
    return data | rest | {"care": actions}


def check_windows(every: st.SearchStrategy[str]) -> st.SearchStrategy[list[dict[str, Any]]]:
    interval = {"during": windows, "every": every}
    of_interval = st.fixed_dictionaries(interval, optional={"forgets": chances})
    of_forgetting = st.fixed_dictionaries({"during": windows, "forgets": chances})
    return st.lists(st.one_of(of_interval, of_forgetting), max_size=2)


def intervals() -> st.SearchStrategy[dict[str, Any]]:
    optional = {"first": st.one_of(spans, st.sampled_from(("random", "0 s"))), "forgets": chances}
    by_stage = st.dictionaries(st.sampled_from(("first", "second")), or_never)
    return st.one_of(
        st.fixed_dictionaries(
            {"every": spans}, optional=optional | {which: other, "windows": check_windows(or_never)}
        )
        for which, other in (("by stage", by_stage), ("late", laws()))
    )


def clock_times() -> st.SearchStrategy[dict[str, Any]]:
    return st.fixed_dictionaries(
        {"at": st.lists(times_of_day, min_size=1, max_size=3)},
        optional={
            "late": laws(),
            "forgets": chances,
            "windows": check_windows(st.just("never")),
        },
    )


@st.composite
def regime_data(draw: st.DrawFn) -> dict[str, Any]:
    """A regime that may name the needs hunger and on, and the actions feed and on."""
    needs = ["hunger", "on"]
    misread = st.fixed_dictionaries({"misreads": chances})
    signal = st.fixed_dictionaries({}, optional={"overlooks": chances, "imagines": chances})
    signals: dict[str, Any] = dict.fromkeys(("waste", "ill", "asleep", "lights", "calling"), signal)
    eyes = signals | dict.fromkeys(needs, misread)
    when = {
        "asleep": booleans,
        "ill": booleans,
        "lights": switches,
        "waste": comparisons,
        "weight": comparisons,
        "discipline": comparisons,
        "clock": windows,
        "stage": st.sampled_from(("first", "not first", ["first", "second"])),
        "on": comparisons,
    }
    look = st.fixed_dictionaries(
        {"look": st.lists(st.sampled_from(("on", *when)), min_size=1, unique=True)},
        optional={"when": st.fixed_dictionaries({"calling": booleans})},
    )
    step = st.fixed_dictionaries(
        {
            "when": st.fixed_dictionaries({"calling": booleans}, optional=when),
            "do": st.sampled_from(("feed", "on")),
        },
        optional={"repeat": st.one_of(st.integers(1, 1000), st.just("until met"))},
    )
    hand = st.fixed_dictionaries(
        {},
        optional={
            "takes": st.one_of(spans, st.just("0 s")),
            "presses": counts,
            "slips": chances,
            "into": st.sampled_from(({}, {"clean": "40%"}, {"clean": 0.5, "play": "50%"})),
        },
    )
    data = {"petsim": "regime 1", "name": legible("N" + draw(st.text(max_size=20)))}
    return data | parts(
        draw,
        about=st.text(max_size=60),
        checks=st.one_of(intervals(), clock_times()),
        listens=st.fixed_dictionaries({"hears": chances, "reacts in": laws()}),
        routine=st.lists(
            st.one_of(step, look, st.just({"do": "on"}), st.just({"do": "feed", "repeat": 3})),
            max_size=4,
        ),
        passes=st.integers(1, 1000),
        eyes=st.fixed_dictionaries(
            {"looks": st.sampled_from(({"of": 1, "agree": 1}, {"of": 5, "agree": 2}))},
            optional=eyes
            | {
                "windows": st.lists(
                    st.fixed_dictionaries({"during": windows}, optional=eyes), max_size=2
                ),
                "spells": st.fixed_dictionaries(
                    {"clear": laws(), "lasts": laws()}, optional=eyes | {"during": windows}
                ),
            },
        ),
        hands=st.fixed_dictionaries(
            {}, optional={"opening": st.just({"takes": "3 s"}), "feed": hand, "on": hand}
        ),
        outages=st.fixed_dictionaries({"up": laws(), "down": laws()}),
        quiet_hours=st.lists(windows, max_size=2),
    )
