"""Trials of real pets as text: what they say of the odds, and how many it takes."""

from __future__ import annotations

from petsim.study.sample_size import LEVEL, MOST_TRIALS, POWER, TrialDesign, approximate_pets
from petsim.study.trials import Odds, TrialPlan, Trials, tries_without
from petsim.view.numbers import share
from petsim.view.tables import Row, paragraph, table

DESIGNS = ("", "pets", "weeks in all", "power")
"""The head of the table of a plan."""


def trials(real: Trials, width: int = 80) -> str:
    """The odds that real pets show, and whether these agree with other odds."""
    return "\n\n".join(paragraph(text, width) for text in verdicts(real))


def verdicts(real: Trials) -> list[str]:
    """Return what real pets say, a paragraph each: of their odds, and of those held against."""
    texts = [_odds_of_trials(real)]
    if real.odds is not None and real.p_value is not None:
        texts.append(_held_against(real, real.odds, real.p_value))
    return texts


def _odds_of_trials(real: Trials) -> str:
    """The odds that real pets show, with their interval or bound."""
    successes = f"{real.reached} of {real.pets} real pets"
    if real.bound is None:
        odds, low, high = (100 * x for x in real.interval)
        # to a decimal, as odds at an end of the interval are told in whole per cent
        ends = f"{low:.1f} to {high:.1f}"
        return f"{successes}: the odds are {odds:.0f} % ({ends}), the exact 95 % interval."
    end = "most" if real.reached == 0 else "least"
    bound = f"the odds are at {end} {percent_of(real.bound)}"
    return f"{successes}: {bound}, the exact one-sided 95 % bound."


def _held_against(real: Trials, odds: Odds, p_value: float) -> str:
    """Whether the trials agree with other odds, and what that does and doesn't show."""
    often = f"chance brings a result as far off or farther in {percent_of(p_value)} of such trials"
    if real.compatible:
        verdict = (
            f"That agrees with {_odds(odds)}: {often}. The result does not prove these odds: it "
            "agrees with others too."
        )
        if real.reached == 0 and odds.value > 0:
            tries, these = tries_without(odds.value), percent_of(odds.value)
            verdict += (
                f" To show that the odds are below {these} takes {tries} pets, none of which gets "
                "there."
            )
    else:
        verdict = (
            f"That does not agree with {_odds(odds)}: {often}. Then the model, its eyes and hands, "
            "or the routine as it was really carried out are likely not as assumed."
        )
    return f"{verdict} (Exact binomial test, two-sided.)"


def plan(trial_plan: TrialPlan, width: int = 80) -> str:
    """The numbers of real pets that tell two odds apart, and the weeks that their trials take."""
    numbers = table(DESIGNS, designs(trial_plan), "  ")
    title = paragraph(plan_title(trial_plan), width)
    notes = (paragraph(note, width) for note in plan_notes(trial_plan))
    return "\n\n".join((f"{title}\n{numbers}", *notes))


def plan_gist(trial_plan: TrialPlan) -> str:
    """Return how many real pets a plan takes, in a sentence."""
    ways = [
        f"{_design(trial_plan, design, routines)[0]} pets under {under}"
        for design, routines, under in (
            (trial_plan.one, 1, "one routine"),
            (trial_plan.two, 2, "each of two routines"),
        )
    ]
    odds = " from ".join(percent_of(each.value) for each in (trial_plan.first, trial_plan.second))
    return f"To tell odds of {odds} takes {', or '.join(ways)}."


def plan_title(trial_plan: TrialPlan) -> str:
    """Return what the table of a plan is of."""
    first, second = trial_plan.first, trial_plan.second
    return f"Real pets it takes to tell {_odds(first)} from {_odds(second)}"


def designs(trial_plan: TrialPlan) -> list[Row]:
    """Return the trials of one routine and of two, under the head DESIGNS."""
    return [
        ("one routine: which of the two are its odds?", *_design(trial_plan, trial_plan.one, 1)),
        ("two routines against each other, pets each", *_design(trial_plan, trial_plan.two, 2)),
    ]


def plan_notes(trial_plan: TrialPlan) -> list[str]:
    """Return how the trials of a plan are read, and what is taken for granted."""
    rigs = "on one rig" if trial_plan.rigs == 1 else f"on {trial_plan.rigs} rigs"
    notes = (
        _one_routine(trial_plan, trial_plan.one),
        _two_routines(trial_plan),
        f"A life is taken to last {trial_plan.days:.2g} days, one after another {rigs}. Chance "
        f"passes for a difference in at most {percent_of(1 - LEVEL)} of such trials; the power, at "
        f"least {percent_of(POWER)}, is the chance of seeing one that is there.",
    )
    return [note for note in notes if note]


def _one_routine(trial_plan: TrialPlan, design: TrialDesign | None) -> str:
    if design is None:
        return ""
    first, second = trial_plan.first.value, trial_plan.second.value
    more = "or more" if second > first else "or fewer"
    return (
        f"One routine: {design.cutoff} {more} of {design.pets} speak for {percent_of(second)}, "
        f"any other number for {percent_of(first)} (exact binomial design)."
    )


def _two_routines(trial_plan: TrialPlan) -> str:
    test = "Two routines: told apart by Fisher's exact test, two-sided"
    if trial_plan.two is not None:
        return f"{test}."
    about = approximate_pets(trial_plan.first.value, trial_plan.second.value)
    return f"{test}; it would take about {float(f'{about:.2g}'):.0f} pets of each."


def _design(
    trial_plan: TrialPlan, design: TrialDesign | None, routines: int
) -> tuple[str, str, str]:
    if design is None:
        return f"over {MOST_TRIALS}", "years", ""
    weeks = trial_plan.weeks(routines * design.pets)
    return (
        str(design.pets),
        f"{weeks:.0f}" if weeks >= 10 else f"{weeks:.1f}",
        percent_of(design.power),
    )


def _odds(odds: Odds) -> str:
    if odds.simulated is None:
        return f"odds of {percent_of(odds.value)}"
    batch, aim = odds.simulated.batches[0], odds.simulated.aim
    return (
        f"the {share(aim.of(batch))} of {len(batch)} lives of {batch.model.id} that became "
        f"{aim} under {batch.regime}"
    )


def percent_of(x: float) -> str:
    """A share to two digits, more near 100 %."""
    digits = 2 if x < 0.995 else 4
    return f"{100 * x:.{digits}g} %"
