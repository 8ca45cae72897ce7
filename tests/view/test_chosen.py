"""What was chosen, in words and as a picture."""

from __future__ import annotations

import matplotlib as mpl

mpl.use("Agg")

import pytest

from petsim import choose
from petsim.view import chosen, plots
from tests.view.looked_at import assert_fits_a_phone, question, small_print

MODEL = "lamplet-quick"
VARY = {
    "checks.every": "10 min, 12 min, 14 min, 30 min",
    "routine[4].when.hunger": "below 2, below 6",
}


@pytest.fixture(scope="module")
def choice():
    return choose(MODEL, "ten-minute", VARY, at_least=0.6, lives=400)


@pytest.fixture(scope="module")
def none_chosen():
    return choose(MODEL, "ten-minute", {"checks.every": "10 min, 30 min"}, at_least=0.9, lives=200)


@pytest.fixture(scope="module")
def by_steps():
    return choose(MODEL, "ten-minute", at_least=0.7, steps=True, lives=200)


def drawn(ax, gid):
    """The points of one standing."""
    return [
        (float(x), float(y))
        for container in ax.containers
        if container.lines[0].get_gid() == gid
        for x, y in zip(*container.lines[0].get_data(), strict=True)
    ]


def test_the_picture_has_a_point_for_each_candidate(choice):
    ax = choice.plot()
    assert question(ax) == "Which costs least with at least 60 % beacon?"
    standings = [each.standing.value for each in choice.candidates]
    for word in ("falls short", "costs more"):
        assert len(drawn(ax, word)) == standings.count(word) > 0
    [(x, y)] = drawn(ax, "chosen")
    assert (x, y / 100) == pytest.approx((choice.chosen.cost.estimate, choice.chosen.odds.estimate))
    [asked] = [line for line in ax.lines if line.get_gid() == "asked"]
    assert [*asked.get_ydata()] == [60, 60]
    assert (ax.get_xlabel(), ax.get_ylabel()) == (
        "presses a day (mean)",
        "odds of beacon\n(% of lives)",
    )
    assert "Diamond: chosen, by 400 lives of its own." in small_print(ax)
    assert "Crosses: surely fall short. Squares: surely cost more." in small_print(ax)
    assert_fits_a_phone(ax)


def test_the_picture_says_that_none_was_chosen(none_chosen):
    ax = plots.chosen(none_chosen)
    assert len(drawn(ax, "best")) == 1
    assert drawn(ax, "chosen") == drawn(ax, "costs more") == []
    assert "Open diamond: the best; none was chosen" in small_print(ax)
    assert "Squares" not in small_print(ax)
    assert_fits_a_phone(ax)


def test_the_picture_of_many_steps_can_be_read(by_steps):
    assert_fits_a_phone(by_steps.plot())


def test_each_candidate_has_a_row_the_chosen_one_first(choice):
    answer = chosen.answer(choice)
    [table] = answer.tables
    assert table.head == ("every", "hunger", "odds", "cost", "difference", "lives")
    assert len(table.rows) == 8
    first, *others = table.rows
    assert first[:2] == tuple(choice.candidates[choice.chosen.number].candidate.texts.values())
    assert first[4] == ""
    # those that fall short come last, and are told by their odds
    assert all(row[4][0] in "+-" for row in others)
    assert others[-1][0] == "30 min"
    assert answer.gist.startswith(
        f"Cheapest with at least 60 % beacon: every {first[0]}, hunger {first[1]}: "
    )


def test_what_failed_on_fresh_lives_is_told():
    # the share that the cheapest has on the fresh lives, of which the bound is below
    vary = {"checks.every": "10 min, 11 min, 12 min, 13 min, 14 min"}
    found = choose(MODEL, "ten-minute", vary, at_least=0.7105, lives=1000)
    failed = [tried for tried in found.tries if not tried.holds]
    said = " ".join(chosen.answer(found).notes)
    for tried in failed[:-1] if found.chosen is None else failed:
        assert f"{chosen.name(found, tried.number)}, odds " in said.partition("Tried before")[2]


def test_what_steps_led_to_is_told_as_found(by_steps):
    answer = chosen.answer(by_steps)
    assert answer.gist.startswith("Cheapest found with at least 70 % beacon: ")
    assert answer.tables[0].head[0] == "steps"
    first, *others = (row[0] for row in answer.tables[0].rows)
    assert first == "as chosen"
    assert len({first, *others}) == 1 + len(others)
    assert any("the cheapest found need not be the cheapest there is" in n for n in answer.notes)


def test_what_is_the_same_in_every_life_is_told_apart_from_what_costs_as_little():
    # blind, both look at nothing that the other changes
    vary = {"passes": "1", "eyes.calling.overlooks": "0%, 50%", "checks.every": "10 min, 20 min"}
    found = choose(MODEL, "ten-minute", vary, lives=200)
    assert len(found.alike) == 1
    assert any(note.startswith("The same in every life: ") for note in chosen.answer(found).notes)


def test_a_worth_is_told_as_one():
    aim = {"beacon": 1, "lantern": 0.5}
    found = choose(MODEL, "ten-minute", VARY, aim=aim, at_least=0.6, lives=200)
    said = chosen.answer(found)
    assert said.question == "Which costs least with an expected worth of at least 60 %?"
    assert "expected worth" in said.gist
    odds = found.chosen.evaluation.odds().estimate
    assert found.chosen.odds.estimate == pytest.approx(odds)
    assert found.plot().get_ylabel() == "expected worth\n(% of full worth)"
