"""Comparisons as text: every figure worked out anew from the table of lives by other libraries.

Shares are checked against statsmodels' Wilson intervals, means against SciPy's t intervals.
"""

import re
from dataclasses import replace
from decimal import Decimal

import numpy as np
import pandas as pd
import pytest
from scipy.stats import binomtest, t
from statsmodels.stats.proportion import proportion_confint

from petsim import compare, load_model, load_regime
from petsim.life.caretaker import Caretaker
from petsim.life.record import words
from petsim.life.simulate import Span
from petsim.study.aims import read_aim
from petsim.study.batch import Batch
from petsim.study.compare import Comparison
from petsim.study.precision import Precision
from petsim.study.reasons import ORDER, MissReasons
from petsim.view.comparison import comparison, gist
from petsim.view.comparison import sections as tables
from tests.study.test_compare import newcombe

MODEL = load_model("lamplet-quick")
REGIME = load_regime("hourly")
REGIMES = [
    *("ten-minute", "hourly", "hands-off", "thirty-minute", "staged", "school-day", "camera-rig"),
]


# Whole comparisons


def decimals(uncertainty):
    """Decimals down to the second digit of an uncertainty."""
    return max(0, 1 - Decimal(uncertainty).adjusted())


def share_of(flags):
    """The share of lives for which something holds, as it is to be printed."""
    count, n = int(sum(flags)), len(flags)
    low, high = (100 * end for end in proportion_confint(count, n, method="wilson"))
    if count == 0:
        return f"0 % (at most {high:.{decimals(high)}f})"
    if count == n:
        return f"100 % (at least {low:.{decimals(100 - low)}f})"
    digits = decimals((high - low) / 2)
    return f"{100 * count / n:.{digits}f} % ({low:.{digits}f} to {high:.{digits}f})"


def mean_of(values):
    """The mean of a number a life, as it is to be printed."""
    values = np.asarray(values, dtype=float)
    if len(values) == 1:
        return f"{values[0]:.4g} (one life)"
    if np.ptp(values) == 0:
        return f"{values[0]:.4g} in every life"
    half = t.ppf(0.975, len(values) - 1) * np.std(values, ddof=1) / np.sqrt(len(values))
    digits = decimals(half)
    return f"{np.mean(values):.{digits}f} ± {half:.{digits}f}"


ODDS = "Odds of each outcome, share of lives"
MISSES = "Care misses a life"
DEATHS = "Deaths, share of lives"
WORK = "Work"


def odds(lives, everywhere):
    forms = [name for name, form in MODEL.forms.items() if form.stage == "adult"]
    others = [o for o in (*MODEL.deaths, "undecided") if (everywhere["outcome"] == o).any()]
    labels = {o: "beacon (the aim)" if o == "beacon" else o for o in (*forms, *others)}
    return {label: share_of(lives["outcome"] == outcome) for outcome, label in labels.items()}


def spent_in(lives, stage):
    """For each life, whether some of it was followed in a stage."""
    forms = [name for name, form in MODEL.forms.items() if form.stage == stage]
    return sum(
        (lives[f"entered_s.{form}"] >= 0) & (lives[f"entered_s.{form}"] < lives["end_s"])
        for form in forms
    )


def misses(lives, everywhere):
    cells = {"in all": mean_of(lives["misses"])}
    cells |= {f"cause {cause}": mean_of(lives[f"misses.{cause}"]) for cause in MODEL.causes}
    for stage in ("infant", "juvenile", "adolescent", "adult", "elder"):
        columns = [f"misses_in.{f}" for f, form in MODEL.forms.items() if form.stage == stage]
        if spent_in(everywhere, stage).any():
            there = spent_in(lives, stage).any()
            total = lives[columns].sum(axis="columns")
            cells[f"as {stage}"] = mean_of(total) if there else "no life got there"
    return cells


def deaths(lives, everywhere, to_outcome):
    cells = {"before the outcome": share_of([o in MODEL.deaths for o in lives["outcome"]])}
    if not to_outcome:
        cells["in all"] = share_of([cause in MODEL.deaths for cause in lives["died"]])
    happened = [cause for cause in MODEL.deaths if (everywhere["died"] == cause).any()]
    return cells | {f"cause {cause}": share_of(lives["died"] == cause) for cause in happened}


def work(lives, everywhere):
    days = lives["end_s"] / 86_400
    rare = {
        "checks forgotten a day": ("checks_forgotten", lives["checks_forgotten"] / days),
        "share of time in spells of bad light": ("spells_s", lives["spells_s"] / lives["end_s"]),
    }
    seen = {label: mean_of(x) for label, (column, x) in rare.items() if everywhere[column].any()}
    return {
        "presses a day": mean_of(lives["presses"] / days),
        "presses a day in quiet hours": mean_of(lives["quiet_presses"] / days),
        "checks a day": mean_of(lives["checks"] / days),
        "checks skipped a day": mean_of(lives["checks_skipped"] / days),
        **seen,
        "days followed": mean_of(days),
    }


def expected(result):
    """What each section says of each regime, row by row."""
    everywhere = pd.concat([batch.lives for batch in result.batches])
    found = {}
    for batch in result.batches:
        lives = batch.lives
        found[ODDS, batch.regime] = odds(lives, everywhere)
        found[MISSES, batch.regime] = misses(lives, everywhere)
        found[DEATHS, batch.regime] = deaths(lives, everywhere, batch.span.to_outcome)
        found[WORK, batch.regime] = work(lives, everywhere)
    return found


def sections(printed):
    """The tables of a comparison in their order: title, regimes and lines."""
    for part in printed.split("\n\n"):
        lines = part.split("\n")
        for place in range(1, len(lines)):
            title = " ".join(lines[:place])  # which may be broken
            if title in (ODDS, MISSES, DEATHS, WORK):
                yield title, re.split(" {2,}", lines[place].strip()), lines[place:]


BAR = r"#{1,10}|\."


def read(printed):
    """What is printed in each section of each regime, row by row, but for bars."""
    found = {}
    for title, regimes, lines in sections(printed):
        for line in lines[1:]:
            label, *cells = re.split(" {2,}", line.strip())
            cells = [cell for cell in cells if not re.fullmatch(BAR, cell)]
            for regime, cell in zip(regimes, cells, strict=True):
                found.setdefault((title, regime), {})[label] = cell
    return found


@pytest.fixture(scope="module")
def seven():
    return compare(MODEL, REGIMES, lives=12, seed=1)


def part_of(result, count):
    """The comparison of the first few regimes."""
    return Comparison(result.model, result.aim, result.batches[:count])


@pytest.fixture(
    scope="module",
    params=[
        {"regimes": REGIMES[:3], "lives": 12},
        {"regimes": ["hands-off", "ten-minute"], "lives": 12, "until": "death"},
        {"regimes": ["hands-off"], "lives": 12, "days": 2},
        {"regimes": ["hourly", "ten-minute"], "lives": 12, "days": 0.3},
        {"regimes": ["hands-off", "hourly"], "lives": 1},
    ],
    ids=["to outcome", "to death", "to death in days", "undecided", "one life"],
)
def result(request):
    return compare(MODEL, **request.param, seed=1)


@pytest.mark.parametrize("width", [40, 80, 200])
def test_figures_are_those_of_the_lives(width, result):
    assert read(comparison(result, width)) == expected(result)


def test_rows_are_in_one_order_in_all_sections(result):
    said, wanted = read(comparison(result, 80)), expected(result)
    assert [list(rows) for rows in said.values()] == [
        list(wanted[title, regime]) for title, regime in said
    ]


def test_fixtures_show_every_kind_of_cell(seven):
    to_death = compare(MODEL, ["hands-off", "ten-minute"], lives=12, seed=1, until="death")
    cells = comparison(seven) + comparison(to_death)
    for kind in ("at most", "at least", " to ", "±", "in every life", "no life got there"):
        assert kind in cells


@pytest.mark.parametrize("width", [40, 80, 200])
@pytest.mark.parametrize("count", [1, 2, 3])
def test_regimes_stand_side_by_side_as_far_as_there_is_room(width, count, seven):
    made = part_of(seven, count)
    alone = {
        (title, regimes[0]): max(map(len, lines))
        for title, regimes, lines in sections(comparison(made, 8))
    }
    labels = {title: 2 + max(map(len, rows)) for (title, _), rows in expected(made).items()}
    wanted = []
    for title in (ODDS, MISSES, DEATHS, WORK):
        room = 0
        for regime in REGIMES[:count]:
            needed = alone[title, regime] - labels[title]
            if needed > room:
                wanted.append((title, []))
                room = width - labels[title]
            wanted[-1][1].append(regime)
            room -= needed
    found = list(sections(comparison(made, width)))
    assert [(title, regimes) for title, regimes, _ in found] == wanted
    for _, regimes, lines in found:
        assert len(regimes) == 1 or max(map(len, lines)) <= width


def test_parts_of_a_section_are_one_in_a_wide_terminal_and_many_in_a_narrow_one(seven):
    two = part_of(seven, 2)
    assert len(list(sections(comparison(two, 200)))) == 4
    assert len(list(sections(comparison(two, 40)))) == 8


# Bars


@pytest.fixture(scope="module")
def drawn():
    """A comparison of three regimes with 40 lives of known outcomes each."""
    lived = compare(MODEL, REGIMES[:3], lives=40, seed=1)
    outcomes = [
        ["beacon"] * 20 + ["lantern"] * 19 + ["ember"],
        ["beacon"] * 40,
        ["beacon"] * 2 + ["lantern"] * 38,
    ]
    numbers = small(*outcomes).batches
    return replace(
        lived,
        batches=tuple(
            replace(batch, values=batch.values | known.values)
            for batch, known in zip(lived.batches, numbers, strict=True)
        ),
    )


def odds_in(result, width):
    """The parts of the odds, as printed."""
    return ["\n".join(lines) for title, _, lines in sections(comparison(result, width))
            if title == ODDS]  # fmt: skip


WITH_BARS = """\
                    ten-minute                   hourly
  beacon (the aim)  50 % (35 to 65)       #####  100 % (at least 91.2)  ##########
  lantern           48 % (33 to 63)       #####    0 % (at most 8.8)
  ember              2.5 % (0.4 to 12.9)  .        0 % (at most 8.8)"""


def test_odds_are_drawn_as_bars_beside_the_shares(drawn):
    assert odds_in(part_of(drawn, 2), 200) == [WITH_BARS]


def test_bars_are_drawn_where_they_just_fit_and_all_left_out_where_they_do_not(drawn):
    two, width = part_of(drawn, 2), max(map(len, WITH_BARS.split("\n")))
    assert odds_in(two, width) == [WITH_BARS]
    without = [re.sub(r" +(#+|\.)(?= |$)", "", line) for line in WITH_BARS.split("\n")]
    [printed] = odds_in(two, width - 1)
    assert [line.split() for line in printed.split("\n")] == [line.split() for line in without]


def test_bars_never_break_a_table(drawn):
    # two side by side and one below, without room for the bars of the two
    for count, parts in ((2, 1), (3, 2)):
        printed = odds_in(part_of(drawn, count), 72)
        assert len(printed) == parts
        assert not any("#" in part for part in printed)


@pytest.mark.parametrize("width", [50, 60, 80, 120])
def test_more_regimes_than_fit_are_rows(width, seven):
    wanted, cells, labels = expected(seven), {}, {}
    for part in comparison(seven, width).split("\n\n"):
        title, *lines = part.split("\n")
        if title not in (ODDS, MISSES, DEATHS, WORK):
            continue
        assert max(map(len, lines)) <= width
        *heads, _, _, _, _, _, _, _ = lines
        labels.setdefault(title, []).extend(" ".join(heads).split())
        for line in lines[len(heads) :]:
            regime, *row = re.split(" {2,}", line.strip())
            cells.setdefault((title, regime), []).extend(row)
    assert cells == {key: list(rows.values()) for key, rows in wanted.items()}
    for (title, _), rows in wanted.items():
        assert sorted(labels[title]) == sorted(" ".join(rows).split())


@pytest.mark.parametrize("width", range(40, 200, 5))
def test_bars_leave_regimes_where_they_stand_without(width, seven, monkeypatch):
    found = [regimes for _, regimes, _ in sections(comparison(seven, width))]
    monkeypatch.setattr("petsim.view.comparison.bar", lambda share: "")
    assert found == [regimes for _, regimes, _ in sections(comparison(seven, width))]


@pytest.mark.parametrize("width", [100, 150, 400])
def test_bars_of_a_regime_begin_in_one_place(width, seven):
    for title, regimes, lines in sections(comparison(seven, width)):
        found = [
            match.start() for line in lines[1:] for match in re.finditer(r"(?<=  )[#.]+", line)
        ]
        assert len(set(found)) <= len(regimes)
        assert title == ODDS or not found


def test_only_what_is_printed_has_bars(drawn):
    assert not re.search("#", str(tables(drawn)))


# Differences


def test_differences_are_told_in_percentage_points_of_each_later_regime(seven):
    first, *others = ([o == "beacon" for o in b.lives["outcome"]] for b in seven.batches)
    rows = []
    for regime, flags in zip(REGIMES[1:], others, strict=True):
        estimate, low, high = (100 * x for x in newcombe(flags, first))
        digits = decimals((high - low) / 2)
        # Source: scipy.stats.binomtest; numpy's variances of the two and of their difference
        ours, theirs = np.array(flags), np.array(first)
        b, c = (ours & ~theirs).sum(), (theirs & ~ours).sum()
        spread = (ours * 1 - theirs).var()
        alike = "no life differs" if b + c == 0 else "every life differs"
        gain = (ours.var() + theirs.var()) / spread if spread else None
        p = binomtest(b, b + c).pvalue if b + c else 1
        rows.append((
            regime,
            f"{estimate:+.{digits}f} ({low:+.{digits}f} to {high:+.{digits}f})",
            f"{p:.2f}" if p >= 0.1 else f"{p:.2g}",
            alike if gain is None else f"{gain:.1f} times the lives",
        ))  # fmt: skip
    title = "Odds of beacon, difference from ten-minute on the same lives"
    [printed] = [p for p in comparison(seven).split("\n\n") if p.startswith(title)]
    head, *lines = printed.split("\n")[1:]
    assert re.split(" {2,}", head.strip()) == ["percentage points", "p-value", "pairing gains"]
    assert [tuple(re.split(" {2,}", line.strip())) for line in lines] == rows


def test_one_regime_differs_from_none(seven):
    assert "difference" not in comparison(part_of(seven, 1))


# What is said before and after the tables

METHODS = "All intervals are of 95 %: Wilson's for shares, Student's for means"


def small(*regimes, span=None, aim="beacon"):
    """A comparison of regimes named a, b, ... of which no more is known than their outcomes."""
    known = words(MODEL)["outcome"]
    batches = (
        Batch(MODEL, Caretaker(name, REGIME), 7, span or Span(), "reference",
              {"outcome": np.array([known.index(outcome) for outcome in outcomes])})
        for name, outcomes in zip("abcdef", regimes, strict=False)
    )  # fmt: skip
    return Comparison(MODEL, read_aim(MODEL, aim), tuple(batches))


def reached(count, n=20, late=False):
    """Outcomes of n lives, so many of them beacons: the first, or else the last."""
    outcomes = ["beacon"] * count + ["ember"] * (n - count)
    return outcomes[::-1] if late else outcomes


@pytest.mark.parametrize(
    ("regimes", "options", "head"),
    [
        (["hourly"], {"lives": 2}, "2 lives, seed 7, followed to their outcome"),
        (["hourly"], {"lives": 1}, "1 life, seed 7, followed to its outcome"),
        (
            ["hands-off"],
            {"lives": 2, "until": "death"},
            "2 lives, seed 7, followed to their death",
        ),
        (
            ["hands-off"],
            {"lives": 2, "days": 1},
            "2 lives, seed 7, followed to the end of 1 day",
        ),
        (
            ["hands-off", "hourly"],
            {"lives": 2, "days": 0.5},
            "2 lives under each regime, seed 7, followed to the end of 0.5 days",
        ),
    ],
)
def test_head_says_what_was_done(regimes, options, head):
    printed = comparison(compare(MODEL, regimes, seed=7, **options), 200)
    assert printed.split("\n\n")[1] == f"lamplet-quick: {head}, on the compiled engine."
    assert printed.split("\n\n")[-1].startswith(METHODS)


def with_precision(result, **known):
    """The same comparison, as if a precision had been asked for."""
    precision = Precision(**known)
    return replace(result, batches=tuple(replace(b, precision=precision) for b in result.batches))


def test_head_says_how_many_lives_a_precision_took(seven):
    result = with_precision(seven, wanted=0.005, half_width=0.0048, reached=True)
    printed = comparison(result, 200).split("\n\n")[1]
    said = "12 lives under each regime, as many as it took for ± 0.5 percentage points, seed 1,"
    assert printed.startswith(f"lamplet-quick: {said}")
    assert "NOT AS PRECISE" not in comparison(result, 200)


@pytest.mark.parametrize(("count", "of"), [(7, "the widest difference"), (1, "the odds of beacon")])
def test_a_precision_that_was_not_reached_is_told_with_what_it_would_take(count, of, seven):
    missed = {"wanted": 0.002, "half_width": 0.0123, "reached": False}
    printed = comparison(with_precision(part_of(seven, count), **missed), 200)
    # right below the answer, as it is its doubt; 12 lives times 6.15 squared
    assert printed.split("\n\n")[1] == (
        f"NOT AS PRECISE AS WANTED: 12 lives, the most allowed, leave {of} open by ± 1.2 "
        "percentage points; ± 0.2 percentage points would take about 450 (--lives allows more)."
    )


@pytest.mark.parametrize("width", [40, 80, 200])
def test_methods_come_last_as_wide_as_there_is_room(width, seven):
    last = comparison(seven, width).split("\n\n")[-1]
    assert max(map(len, last.split("\n"))) <= width
    assert " ".join(last.split("\n")) == (
        f"{METHODS}, Newcombe's for differences (p-values: McNemar's exact test)."
    )


@pytest.mark.parametrize(
    ("outcomes", "span", "said"),
    [
        (reached(18), None, "Of 20 lives under a, {} became beacon."),
        (reached(0), None, "Of 20 lives under a, {} became beacon."),
        (reached(20), None, "Of 20 lives under a, {} became beacon."),
        (reached(1, 1), None, "Of 1 life under a, {} became beacon."),
        (reached(3), Span("death"), "Of 20 lives under a, {} became beacon."),
        (reached(3), Span(days=2), "Of 20 lives under a, {} became beacon by the end of 2 days."),
    ],
)
def test_gist_on_one_regime(outcomes, span, said):
    share = share_of([outcome == "beacon" for outcome in outcomes])
    assert gist(small(outcomes, span=span)) == said.format(share)


def odds_of(regime):
    """The odds of a beacon, as briefly as they are to be printed."""
    return share_of([outcome == "beacon" for outcome in regime]).split(" (")[0]


def by(regime, first):
    """The odds of a beacon, and by how much they differ, whichever way."""
    flags = ([outcome == "beacon" for outcome in outcomes] for outcomes in (regime, first))
    _, *ends = newcombe(*flags)
    low, high = sorted(100 * abs(end) for end in ends)
    digits = decimals((high - low) / 2)
    return f"({odds_of(regime)}, by {low:.{digits}f} to {high:.{digits}f} percentage points)"


A, MORE, LESS, ALIKE = reached(10), reached(18), reached(1), reached(11)


@pytest.mark.parametrize(
    ("others", "said"),
    [
        ([MORE], f"beacon was likelier under b {by(MORE, A)}"),
        ([LESS], f"beacon was less likely under b {by(LESS, A)}"),
        ([A], f"no difference shown under b ({odds_of(A)})"),
        (
            [ALIKE, reached(10, late=True)],
            f"no difference shown under b ({odds_of(ALIKE)}), c ({odds_of(A)})",
        ),
        (
            [MORE, LESS],
            f"beacon was likelier under b {by(MORE, A)}; "
            f"beacon was less likely under c {by(LESS, A)}",
        ),
        # of more than three no differences, which there is a table of
        (
            [MORE, LESS, ALIKE, MORE],
            f"beacon was likelier under b ({odds_of(MORE)}), e ({odds_of(MORE)}); "
            f"beacon was less likely under c ({odds_of(LESS)}); "
            f"no difference shown under d ({odds_of(ALIKE)})",
        ),
    ],
)
def test_gist_on_differences(others, said):
    first = share_of([outcome == "beacon" for outcome in A])
    assert gist(small(A, *others)) == f"Of 20 lives under a, {first} became beacon; {said}."


def test_gist_where_no_regime_reaches_the_aim():
    assert gist(small(reached(0), reached(0))) == (
        f"Of 20 lives under a, {share_of([False] * 20)} became beacon; no difference shown under b "
        "(at most 16 %)."
    )


def test_gist_is_on_the_aim_that_was_asked_for():
    assert gist(small(A, aim="ember")).endswith(" became ember.")


def test_the_answer_comes_first(result):
    first = comparison(result).split("\n\n")[0]
    assert " ".join(first.split("\n")) == gist(result)
    assert max(map(len, first.split("\n"))) <= 80


def test_many_regimes_are_ranked_and_their_odds_drawn(seven):
    title, *lines = comparison(seven).split("\n\n")[2].split("\n")
    assert title == "Odds of beacon, likeliest first"
    beacons = {b.regime: [o == "beacon" for o in b.lives["outcome"]] for b in seven.batches}
    ranked = sorted(REGIMES, key=lambda regime: -sum(beacons[regime]))
    assert [re.split(" {2,}", line.strip()) for line in lines] == [
        [
            regime,
            share_of(beacons[regime]),
            *["#" * round(10 * np.mean(beacons[regime]))][: sum(beacons[regime])],
        ]
        for regime in ranked
    ]
    assert "likeliest first" not in comparison(part_of(seven, 3))


def test_why_says_the_reasons_of_the_misses_of_the_first_lives(monkeypatch):
    def reasons(batch, lives):
        counts = np.zeros((3, 1, len(ORDER)), dtype=np.int64)
        counts[:, 0, ORDER.index("power out")] = {"hourly": [1, 2, 6], "staged": 0}[batch.regime]
        counts[0, 0, ORDER.index("slipped")] = 2
        return MissReasons("a", batch.regime, 0, ("waste",), counts)

    monkeypatch.setattr(Batch, "miss_reasons", reasons)
    result = compare(MODEL, ["hourly", "staged"], lives=4, days=0.1)
    title = "Why care misses happened, misses a life, in the first 3 lives"
    assert title not in comparison(result)
    text = comparison(result, 100, why=True)
    rows = dict(re.findall(r"^  (in all|power out|slipped|\w[\w ]+?)  +(.*)$",
                           text.partition(title)[2], re.M))  # fmt: skip
    slipped, power = mean_of([2, 0, 0]), mean_of([1, 2, 6])
    assert re.split(r"\s{2,}", rows["in all"]) == [mean_of([3, 2, 6]), slipped]
    assert re.split(r"\s{2,}", rows["power out"]) == [power, "0 in every life"]
    assert re.split(r"\s{2,}", rows["slipped"]) == [slipped, slipped]
    assert "busy" not in text
    assert "what stopped the first check that could have put it right" in text
