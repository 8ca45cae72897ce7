"""What is shown to be worth its work, by hand and against every pair's paired interval."""

from __future__ import annotations

import numpy as np
import pytest

from petsim.spec.variation import is_choice
from petsim.study.aims import aim_at
from petsim.study.frontier import Candidate, Frontier, Verdict
from petsim.study.stats import newcombe_paired

WORTH, OPEN, BEATEN = Verdict.WORTH, Verdict.OPEN, Verdict.BEATEN
AIM = aim_at("beacon")


def reaching(first: int, last: int, lives: int = 200) -> dict[int, np.ndarray]:
    """Which lives reached the aim: those from the first to before the last."""
    numbers = np.arange(lives)
    return {0: (numbers >= first) & (numbers < last)}


def worth_of(reached: dict[int, np.ndarray]) -> dict[int, np.ndarray]:
    return {first: lives.astype(float) for first, lives in reached.items()}


def verdicts(*candidates: tuple[float, dict]) -> tuple[list[Verdict], list[int], list[int]]:
    frontier = Frontier([Candidate(work, worth_of(reached)) for work, reached in candidates], AIM)
    return frontier.verdicts, frontier.line, frontier.best


def test_more_odds_for_more_work_are_on_the_line() -> None:
    found = verdicts((9, reaching(0, 180)), (1, reaching(0, 20)), (4, reaching(0, 90)))
    assert found == ([WORTH] * 3, [1, 2, 0], [0])


def test_what_takes_as_much_and_reaches_less_is_beaten() -> None:
    assert verdicts((4, reaching(0, 20)), (4, reaching(0, 90)))[0] == [BEATEN, WORTH]
    assert verdicts((5, reaching(0, 20)), (4, reaching(0, 90)))[0] == [BEATEN, WORTH]


def test_a_difference_that_is_not_shown_decides_nothing() -> None:
    # one life more of 200, on the same luck: 0.5 points, from -1.4 to 2.8 at 95 %
    found = verdicts((1, reaching(0, 90)), (2, reaching(0, 91)), (2, reaching(0, 90)))
    assert found == ([WORTH, OPEN, OPEN], [0], [0, 1, 2])


def test_pairing_shows_what_separate_intervals_would_not() -> None:
    # 90 and 100 of 200 lives overlap widely, but the second reached whatever the first did
    assert verdicts((1, reaching(0, 90)), (2, reaching(0, 100)))[0] == [WORTH, WORTH]
    assert verdicts((1, reaching(0, 90)), (2, reaching(100, 200)))[0] == [WORTH, OPEN]


def test_only_lives_that_both_have_are_compared() -> None:
    more = {0: np.ones(50, dtype=bool), 50: np.zeros(50, dtype=bool)}
    less = {0: np.zeros(50, dtype=bool)}
    assert verdicts((1, less), (2, more))[0] == [WORTH, WORTH]
    assert verdicts((1, {100: np.zeros(50, dtype=bool)}), (2, more))[0] == [WORTH, OPEN]


def test_while_a_sweep_gets_more_lives_those_that_both_have_are_compared() -> None:
    more, less = reaching(0, 90, lives=200), reaching(0, 20, lives=100)
    assert verdicts((1, less), (2, more))[0] == [WORTH, WORTH]
    assert verdicts((1, reaching(0, 90, lives=100)), (2, more))[0] == [WORTH, OPEN]


def test_verdicts_are_what_paired_intervals_of_all_pairs_show() -> None:
    random = np.random.default_rng(4)
    luck = random.random(300)
    works = random.integers(1, 9, 14)
    # more work buys more, up to a point
    odds = np.minimum(0.8, 0.15 * works) + 0.1 * random.random(14)
    reached = [(luck + 0.2 * random.random(300) < share) for share in odds]
    found = Frontier(
        [Candidate(w, worth_of({0: r})) for w, r in zip(works, reached, strict=True)], AIM
    )

    def better(one: int, other: int) -> bool:
        ours, theirs = reached[one], reached[other]
        table = (ours & theirs, ours & ~theirs, ~ours & theirs, ~ours & ~theirs)
        return newcombe_paired(*(int(part.sum()) for part in table)).low > 0

    for place, verdict in enumerate(found.verdicts):
        rivals = [p for p in range(14) if p != place]
        beaten = any(better(p, place) for p in rivals if works[p] <= works[place])
        worth = all(better(place, p) for p in rivals if works[p] < works[place])
        assert verdict is (BEATEN if beaten else WORTH if worth else OPEN)
    likeliest = int(np.argmax([each.mean() for each in reached]))
    assert set(found.best) == {p for p in range(14) if not better(likeliest, p)}
    assert len(set(found.verdicts)) == 3


@pytest.mark.parametrize(
    ("path", "chosen"),
    [
        ("regime", True),
        ("checks.every", True),
        ("checks.windows[0].every", True),
        ("checks.by stage.infant", True),
        ("routine[3].repeat", True),
        ("passes", True),
        ("eyes.looks.of", True),
        ("quiet hours[0]", True),
        ("checks.at", True),
        ("checks.at[0]", True),
        ("checks.jitter", False),
        ("checks.late", False),
        ("checks.forgets", False),
        ("checks.windows[0].forgets", False),
        ("eyes.spells.lasts", False),
        ("hands.feed.into.treat", False),
        ("eyes.lights.overlooks", False),
        ("eyes.windows[0].waste.imagines", False),
        ("eyes.hunger.misreads", False),
        ("hands.feed.slips", False),
        ("listens.hears", False),
        ("outages.up", False),
        ("stages.infant.illness.base", False),
        ("needs.hunger.full", False),
    ],
)
def test_what_a_maker_decides_is_a_choice(path: str, chosen: bool) -> None:
    assert is_choice(path) == chosen
