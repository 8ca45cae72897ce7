"""What is shown of models and regimes: their growth worked out anew, their defaults as written."""

import re
from pathlib import Path

import pytest
import yaml

from petsim.spec.library import load, load_pet, model_of, shipped
from petsim.view.show import show

ROOT = Path(__file__).parents[2]
UNITS = {"s": 1, "min": 60, "h": 3600, "day": 86_400, "days": 86_400}
GROWTH = "Growth: when each form begins and ends, counted from birth"
RULES = "Growth: what each form becomes, by the first rule that holds"
AHEAD = "What has to be told apart: the forms that can come next, and all that still can"


def remarks(printed):
    """The tables of growth by their titles, without the signs that make them remarks."""
    lines = [line[2:] for line in printed.splitlines() if line.startswith("#")][1:]
    parts = "\n".join(lines).strip("\n").split("\n\n")
    return dict(part.split("\n", 1) for part in parts)


def cells(table, columns):
    """The rows of a table under its head, each with so many cells."""
    head, *rows = table.splitlines()
    starts = [match.start() for match in re.finditer(r"\S+", head)]
    assert len(starts) == columns
    ends = [*starts[1:], None]
    return [
        tuple(row[start:end].strip() for start, end in zip(starts, ends, strict=True))
        for row in rows
    ]


# The growth of the shipped models, worked out from their files with nothing of petsim's


def length(text):
    """Seconds in a text such as `1 day 15 h`; those of `birth` are none."""
    return sum(float(n) * UNITS[unit] for n, unit in re.findall(r"([\d.]+) (\w+)", text))


def span(text):
    """The earliest and the latest second in what is shown of a time."""
    return tuple(length(end) for end in (text.split(" to ") * 2)[:2])


def lasts(form):
    """How long a form lasts at least and at most; no shipped model leaves that open."""
    wait = form["lasts"].removeprefix("uniform ").removeprefix("triangular ").split(" around ")[0]
    assert re.match(r"\d", wait)
    return span(wait)


def successors(form):
    """The forms that a form can grow into, as its file says."""
    rules = form.get("grows into", [])
    return [rules] if isinstance(rules, str) else [name for rule in rules for name in rule]


def ways(forms, name, way=()):
    """All ways from a form to the end of life."""
    way = (*way, name)
    after = successors(forms[name])
    return [found for following in after for found in ways(forms, following, way)] or [way]


@pytest.fixture(params=shipped("models"))
def model(request):
    """The forms of a shipped model as its file gives them, and the tables shown of it."""
    source = yaml.safe_load(text_of("models", request.param))
    return source["forms"], remarks(show(load(request.param)))


def text_of(shelf, name):
    """The text of a shipped file."""
    return (ROOT / shelf / f"{name}.yaml").read_text(encoding="utf-8")


def test_times_of_growth_are_the_extremes_over_all_ways_to_grow(model):
    forms, tables = model
    begins, ends = {}, {}
    for way in ways(forms, next(iter(forms))):
        earliest = latest = 0
        for name in way:
            begins.setdefault(name, []).extend((earliest, latest))
            shortest, longest = lasts(forms[name])
            earliest, latest = earliest + shortest, latest + longest
            ends.setdefault(name, []).extend((earliest, latest))
    rows = cells(tables[GROWTH], 4)
    assert sorted(row[0] for row in rows) == sorted(forms)
    for name, stage, begin, end in rows:
        assert stage == forms[name]["stage"]
        assert span(begin) == (min(begins[name]), max(begins[name]))
        assert span(end) == (min(ends[name]), max(ends[name]))


def test_forms_ahead_are_those_on_some_way_after_it(model):
    forms, tables = model
    all_ways = ways(forms, next(iter(forms)))
    rows = cells(tables[AHEAD], 3)
    assert len(rows) == len(forms)
    for name, following, ever in rows:
        after = {f for way in all_ways if name in way for f in way[way.index(name) + 1 :]}
        assert following == (", ".join(successors(forms[name])) or "none")
        assert set(ever.split(", ")) == (after or {"none"})


def test_forms_come_after_all_that_grow_into_them(model):
    forms, tables = model
    for number, columns in ((GROWTH, 4), (AHEAD, 3)):
        order = [row[0] for row in cells(tables[number], columns)]
        for name, form in forms.items():
            assert all(order.index(name) < order.index(after) for after in successors(form))


def test_rules_of_growth_are_told_in_their_order(model):
    forms, tables = model
    told, of = {}, ""
    for name, becomes, condition in cells(tables[RULES], 3):
        of = name or of
        told.setdefault(of, []).append((becomes, condition))
    assert set(told) == set(forms)
    for name, form in forms.items():
        rules = form.get("grows into", "nothing, dies of old age")
        expected = [(rules, "")] if isinstance(rules, str) else map(rule, rules)
        assert told[name] == list(expected)


def rule(given):
    """A rule of a file as it is told."""
    [(form, conditions)] = given.items()
    if conditions == "otherwise":
        return form, "otherwise"
    return form, ", ".join(words for one in conditions.items() for words in condition(*one))


def condition(key, limits):
    """A condition of a rule in words, one for each cause that it names."""
    if not isinstance(limits, dict):
        return [f"{key} {limits}"]
    of = {cause: "" if cause == "all" else f" of {cause}" for cause in limits}
    return [f"misses{of[cause]} {key.removeprefix('misses ')} {limits[cause]}" for cause in limits]


# Some of them by hand


def test_growth_of_the_plain_clock_by_hand():
    # waits of 5 min, 55 min, 1 day, 18 h and 6 h, one after the other
    assert remarks(show(load("plain-clock"))) == {
        GROWTH: """\
  form    stage     begins      ends
  seed    egg       birth       5 min
  tick    infant    5 min       1 h
  tock    juvenile  1 h         1 day 1 h
  steady  adult     1 day 1 h   1 day 19 h
  adrift  adult     1 day 1 h   1 day 19 h
  hush    elder     1 day 19 h  2 days 1 h""",
        RULES: """\
  form    becomes                   if
  seed    tick
  tick    tock
  tock    steady                    misses in form at most 2, discipline at least 24
          adrift                    otherwise
  steady  hush
  adrift  hush
  hush    nothing, dies of old age""",
        AHEAD: """\
  form    next            ever
  seed    tick            tick, tock, steady, adrift, hush
  tick    tock            tock, steady, adrift, hush
  tock    steady, adrift  steady, adrift, hush
  steady  hush            hush
  adrift  hush            hush
  hush    none            none""",
    }


@pytest.mark.parametrize(
    ("form", "begins", "ends"),
    [
        # 5 min; 25 to 35 min; 170 to 190 min; 6 to 6.5 h; as an adult 5 h (an ember at the
        # shortest) to 10 h (a beacon at the longest); 3 to 5 h
        ("glint", "5 min", "30 min to 40 min"),
        ("flicker", "30 min to 40 min", "3 h 20 min to 3 h 50 min"),
        ("glow", "3 h 20 min to 3 h 50 min", "9 h 20 min to 10 h 20 min"),
        ("beacon", "9 h 20 min to 10 h 20 min", "17 h 20 min to 20 h 20 min"),
        ("ember", "9 h 20 min to 10 h 20 min", "14 h 20 min to 17 h 20 min"),
        ("afterglow", "14 h 20 min to 20 h 20 min", "17 h 20 min to 1 day 1 h 20 min"),
    ],
)
def test_growth_of_the_quick_lamplet_by_hand(form, begins, ends):
    rows = {row[0]: row[2:] for row in cells(remarks(show(load("lamplet-quick")))[GROWTH], 4)}
    assert rows[form] == (begins, ends)


# Whole files, with the defaults that models/README.md and regimes/README.md name

SMALL_MODEL = """\
petsim: model 1
name: Twig
outcome stage: only
aim: stem
needs: {hunger: {full: 3}, mood: {full: 3}}
care: {feed: {raises: {hunger: 1}}}
stages:
  none yet: {dormant: yes}
  only:
    drops: {hunger: 1 h}
    waste: {every: 2 h, pile max: 3}
    illness: {base: 1 per day}
    misbehaviour: {every: 3 h, window: 10 min}
forms:
  seed: {stage: none yet, lasts: 90 s, grows into: bud}
  bud:
    stage: only
    lasts: exponential 1 h
    grows into:
    - stem: {misses in life: {all: at most 3, hunger: 0}, weight: above 2}
    - bare: otherwise
  stem: {stage: only, lasts: 2 h}
  bare: {stage: only, lasts: 2 h}
"""

SMALL_MODEL_SHOWN = """\
# The model twig, defaults filled in; a key that is not here is none or no.
petsim: model 1
name: Twig
begins: Monday 09:00
outcome stage: only
aim: stem
needs:
  hunger: {full: 3, starts: 3}
  mood: {full: 3, starts: 3}
weight: {starts: 0}
discipline: {starts: 0, step: 0, lapse costs: 0}
fatal misses: never
care:
  feed:
    raises: {hunger: 1}
    weight: 0
    works: 100%
stages:
  none yet: {dormant: yes, weight min: 0}
  only:
    weight min: 0
    drops: {hunger: fixed 1 h}
    grace: {hunger: never, mood: never}
    again after: {hunger: never, mood: never}
    fatal after: {hunger: never, mood: never}
    waste: {every: fixed 2 h, pile max: 3, grace: never, again after: never}
    illness:
      base: 1 per day
      per waste: 0 per day
      per excess: 0 per day
      doses: {1: 100%}
      grace: never
      fatal after: never
    lights grace: never
    misbehaviour: {every: fixed 3 h, window: fixed 10 min}
forms:
  seed: {stage: none yet, lasts: fixed 90 s, grows into: bud}
  bud:
    stage: only
    lasts: exponential 1 h
    grows into:
    - stem:
        misses in life: {all: at most 3, hunger: exactly 0}
        weight: above 2
    - {bare: otherwise}
  stem: {stage: only, lasts: fixed 2 h}
  bare: {stage: only, lasts: fixed 2 h}

# Growth: when each form begins and ends, counted from birth
#   form  stage     begins                  ends
#   seed  none yet  birth                   1 min 30 s
#   bud   only      1 min 30 s              1 min 31 s to any time
#   stem  only      1 min 31 s to any time  2 h 1 min 31 s to any time
#   bare  only      1 min 31 s to any time  2 h 1 min 31 s to any time
#
# Growth: what each form becomes, by the first rule that holds
#   form  becomes                   if
#   seed  bud
#   bud   stem                      misses in life at most 3, misses of hunger in life exactly 0, \
weight above 2
#         bare                      otherwise
#   stem  nothing, dies of old age
#   bare  nothing, dies of old age
#
# What has to be told apart: the forms that can come next, and all that still can
#   form  next        ever
#   seed  bud         bud, stem, bare
#   bud   stem, bare  stem, bare
#   stem  none        none
#   bare  none        none
"""

SMALL_REGIME = """\
petsim: regime 1
name: Sparse
checks: {every: 1 h}
listens: {hears: 50%, reacts in: 5 min}
routine:
- {do: feed, when: {hunger: below 3}}
- {do: clean, when: {waste: 1}, repeat: until met}
- {do: feed}
eyes: {waste: {overlooks: 5%}}
hands: {clean: {takes: 4 s}}
"""

SMALL_REGIME_SHOWN = """\
# The regime sparse, defaults filled in; a key that is not here is none or no.
petsim: regime 1
name: Sparse
checks: {every: 1 h, first: random, forgets: 0%}
listens: {hears: 50%, reacts in: fixed 5 min}
routine:
- when: {hunger: below 3}
  do: feed
  repeat: 1
- when: {waste: exactly 1}
  do: clean
  repeat: 20
- {do: feed, repeat: 1}
passes: 1
eyes:
  waste: {overlooks: 5%, imagines: 0%}
  ill: {overlooks: 0%, imagines: 0%}
  asleep: {overlooks: 0%, imagines: 0%}
  lights: {overlooks: 0%, imagines: 0%}
  calling: {overlooks: 0%, imagines: 0%}
  looks: {of: 1, agree: 1}
  hunger: {misreads: 0%}
hands:
  opening: {takes: 0 s, presses: 0}
  clean: {takes: 4 s, presses: 1, slips: 0%}
  feed: {takes: 0 s, presses: 1, slips: 0%}
"""

LEAST_REGIME_SHOWN = """\
# The regime idle, defaults filled in; a key that is not here is none or no.
petsim: regime 1
name: Idle
checks: {every: never, first: random, forgets: 0%}
passes: 1
eyes:
  waste: {overlooks: 0%, imagines: 0%}
  ill: {overlooks: 0%, imagines: 0%}
  asleep: {overlooks: 0%, imagines: 0%}
  lights: {overlooks: 0%, imagines: 0%}
  calling: {overlooks: 0%, imagines: 0%}
  looks: {of: 1, agree: 1}
hands:
  opening: {takes: 0 s, presses: 0}
"""


CLOCKWORK = """\
petsim: regime 1
name: Clockwork
checks:
  at: [7:15, 12:30 on Mon-Fri]
  windows: [{during: 18:00 to 22:00, forgets: 0.25}]
routine:
- look: [calling, mood]
eyes: {spells: {clear: exponential 4 h, lasts: 20 min, ill: {overlooks: 1}}}
hands: {feed: {slips: 3%, into: {treat: 0.4}}}
"""

CLOCKWORK_SHOWN = """\
# The regime clockwork, defaults filled in; a key that is not here is none or no.
petsim: regime 1
name: Clockwork
checks:
  at: ['07:15', '12:30 on weekdays']
  forgets: 0%
  windows:
  - {during: '18:00 to 22:00', forgets: 25%}
routine:
- look: [calling, mood]
passes: 1
eyes:
  waste: {overlooks: 0%, imagines: 0%}
  ill: {overlooks: 0%, imagines: 0%}
  asleep: {overlooks: 0%, imagines: 0%}
  lights: {overlooks: 0%, imagines: 0%}
  calling: {overlooks: 0%, imagines: 0%}
  looks: {of: 1, agree: 1}
  spells:
    clear: exponential 4 h
    lasts: fixed 20 min
    ill: {overlooks: 100%}
  mood: {misreads: 0%}
hands:
  opening: {takes: 0 s, presses: 0}
  feed:
    takes: 0 s
    presses: 1
    slips: 3%
    into: {treat: 40%}
"""


@pytest.mark.parametrize(
    ("name", "text", "shown"),
    [
        ("clockwork", CLOCKWORK, CLOCKWORK_SHOWN),
        ("twig", SMALL_MODEL, SMALL_MODEL_SHOWN),
        ("sparse", SMALL_REGIME, SMALL_REGIME_SHOWN),
        ("idle", "petsim: regime 1\nname: Idle\n", LEAST_REGIME_SHOWN),
    ],
)
def test_defaults_are_filled_in(name, text, shown, tmp_path):
    path = tmp_path / f"{name}.yaml"
    path.write_text(text, encoding="utf-8")
    assert show(load(path)) + "\n" == shown


@pytest.mark.parametrize("name", [*shipped("models"), *shipped("regimes")])
def test_what_is_shown_loads_as_a_file_that_is_shown_alike(name, tmp_path):
    shown = show(load(name))
    path = tmp_path / f"{name}.yaml"
    path.write_text(shown, encoding="utf-8")
    assert show(load(path)) == shown


@pytest.mark.parametrize("name", [*shipped("models"), *shipped("regimes")])
def test_all_that_a_shipped_file_says_is_shown(name):
    shelf = "models" if name in shipped("models") else "regimes"
    said, shown = (yaml.safe_load(text) for text in (text_of(shelf, name), show(load(name))))
    assert missing(said, shown) == []


def missing(said, shown, path=""):
    """The keys that were said and are not shown."""
    if isinstance(said, list) and isinstance(shown, list):
        pairs = [(f"{path}[{i}]", *pair) for i, pair in enumerate(zip(said, shown, strict=True))]
    elif isinstance(said, dict) and isinstance(shown, dict):
        pairs = [(f"{path}.{key}", said[key], shown.get(key, ...)) for key in said]
    else:
        return []
    lost = [place for place, _, there in pairs if there is ...]
    return lost + [key for place, one, other in pairs for key in missing(one, other, place)]


# Pets as they are now

PETS = sorted((ROOT / "tests" / "cases" / "valid").glob("*.pet.yaml"))


@pytest.mark.parametrize("path", PETS, ids=lambda path: path.name)
def test_what_is_shown_of_a_pet_is_a_file_of_the_same_pet(path, tmp_path):
    pet, shown = load_pet(path), tmp_path / "mote.model.yaml"
    shown.write_bytes((path.parent / "mote.model.yaml").read_bytes())
    (tmp_path / "now.yaml").write_text(show(pet), encoding="utf-8")
    assert load_pet(tmp_path / "now.yaml") == pet


@pytest.mark.parametrize("path", PETS, ids=lambda path: path.name)
def test_all_that_is_assumed_of_a_pet_is_shown_in_columns(path):
    pet = load_pet(path)
    _, _, assumed = show(pet).partition("# Left out of the file, and so assumed:\n")
    rows = [re.split(r"  +", line.removeprefix("#   ")) for line in assumed.splitlines()]
    assert rows == [[*row] for row in pet.assumed(model_of(pet))]


def test_a_pet_is_printed_and_shown_in_a_notebook_as_in_a_terminal():
    pet = load_pet(PETS[0])
    assert str(pet) == show(pet)
    assert f"<pre>{show(pet)}</pre>".replace("'", "&#39;") == pet._repr_html_()
