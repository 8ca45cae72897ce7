"""What is said of real pets."""

import pytest

from petsim import tell_apart, trials
from petsim.view import real_pets


@pytest.mark.parametrize(
    ("real", "said"),
    [
        # Source of the ends: Clopper and Pearson's, as tested in tests/study
        ((3, 5), "3 of 5 real pets: the odds are 60 % (14.7 to 94.7), the exact 95 % interval."),
        (
            (0, 30),
            "0 of 30 real pets: the odds are at most 9.5 %, the exact one-sided 95 % bound.",
        ),
        ((4, 4), "4 of 4 real pets: the odds are at least 47 %, the exact one-sided 95 % bound."),
    ],
)
def test_trials_alone(real, said):
    assert real_pets.trials(trials(*real), 200) == said


@pytest.mark.parametrize(
    ("real", "said"),
    [
        (
            (3, 5, 0.74),
            "That agrees with odds of 74 %: chance brings a result as far off or farther in 61 % "
            "of such trials. The result does not prove these odds: it agrees with others too. "
            "(Exact binomial test, two-sided.)",
        ),
        (
            (0, 30, 0.05),
            "That agrees with odds of 5 %: chance brings a result as far off or farther in 40 % of "
            "such trials. The result does not prove these odds: it agrees with others too. To show "
            "that the odds are below 5 % takes 59 pets, none of which gets there. (Exact binomial "
            "test, two-sided.)",
        ),
        (
            (0, 4, 0.74),
            "That does not agree with odds of 74 %: chance brings a result as far off or farther "
            "in 0.46 % of such trials. Then the model, its eyes and hands, or the routine as it "
            "was really carried out are likely not as assumed. (Exact binomial test, two-sided.)",
        ),
    ],
)
def test_trials_against_odds(real, said):
    assert real_pets.trials(trials(*real), 400).split("\n\n")[1] == said


def test_trials_against_a_regime_name_its_lives():
    real = trials(1, 4, "ten-minute", model="lamplet-quick", lives=300)
    said = real_pets.trials(real, 400)
    assert "300 lives of lamplet-quick that became beacon under ten-minute" in said
    assert f"{100 * real.odds.value:.1f} %" in said


def test_a_plan():
    assert (
        real_pets.plan(tell_apart(0.74, 0.95, days=6, rigs=2))
        == """\
Real pets it takes to tell odds of 74 % from odds of 95 %
                                               pets  weeks in all  power
  one routine: which of the two are its odds?  22     9.4          91 %
  two routines against each other, pets each   52    45            81 %

One routine: 20 or more of 22 speak for 95 %, any other number for 74 % (exact
binomial design).

Two routines: told apart by Fisher's exact test, two-sided.

A life is taken to last 6 days, one after another on 2 rigs. Chance passes for a
difference in at most 5 % of such trials; the power, at least 80 %, is the
chance of seeing one that is there."""
    )


def test_a_plan_the_other_way_round_counts_the_few():
    said = real_pets.plan(tell_apart(0.95, 0.74))
    assert "One routine: 13 or fewer of 16 speak for 74 %, any other number for 95 %" in said
    assert "on one rig" in said


def test_a_plan_that_takes_too_many():
    said = real_pets.plan(tell_apart(0.5, 0.51))
    assert said.count("over 200  years") == 2
    assert "One routine:" not in said
    assert "it would take about 39000 pets of each." in " ".join(said.split())
