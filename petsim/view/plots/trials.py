"""Trials of real pets as pictures: what they show of simulated odds, and how many it takes."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from petsim.errors import ArgumentError
from petsim.study.sample_size import LEVEL, MOST_TRIALS, POWER, TrialDesign
from petsim.study.stats import Interval
from petsim.study.trials import Odds, TrialPlan, Trials
from petsim.view.plots.colours import AIM, AIM_MARKER, IN_VAIN
from petsim.view.plots.layout import Label, finish
from petsim.view.plots.sheet import DASHES, GREY, HEIGHT, axes, short, styled, whiskers
from petsim.view.real_pets import percent_of
from petsim.view.tables import counted

BEYOND = 1.25
"""How much farther than the number of pets it takes a picture of the power goes."""
POINTS = 40
"""Numbers of pets at most at which the power is worked out, as that of two routines takes time."""
UNLIKE_HATCH = "///"
RAREST = 0.001
"""The least chance that is told, and of which a number of pets is drawn, if there are many."""
MANY = 20
"""Pets of which not every number is drawn."""


@styled
def trials(real: Trials, ax: Axes | None = None) -> Axes:
    """How many of so many real pets the odds lead to expect, and how many there were.

    A bar for each number of pets, as high as its chance by the binomial distribution; whiskers, if
    the odds are simulated, are the least and most over their 95 % interval. Those as unlikely as
    the number there was, or more so, are hatched: their chances add up to the p-value.

    Args:
        real: trials held against odds, as `petsim.trials` returns.
        ax: what to draw on; by default a picture of its own.

    Raises:
        ArgumentError: they are held against no odds.
    """
    chances, odds = real.chances, real.odds
    if chances is None or odds is None:
        raise ArgumentError("trials: held against no odds; expected a regime, or odds such as 74%")
    ax = axes(ax, HEIGHT + 0.5)
    likely = [
        reached
        for reached, chance in enumerate(chances)
        if real.pets <= MANY or chance.high >= RAREST or reached == real.reached
    ]
    _draw_bars(ax, real, chances, range(min(likely), max(likely) + 1))
    top = 100 * max(chance.high for chance in chances)
    # above all bars, as beside a higher one it would stand on that
    ax.annotate(
        f"yours: {real.reached}",
        (real.reached, 100 * chances[real.reached].high),
        xytext=(real.reached, 1.1 * top),
        ha="center",
        fontweight="bold",
        arrowprops={"arrowstyle": "-", "color": GREY, "linewidth": 0.8},
    )
    ax.set_ylim(0, 1.2 * top)
    beyond = max(0.9, 0.17 * (max(likely) - min(likely)))
    ax.set_xlim(min(likely) - beyond, max(likely) + beyond)
    ax.xaxis.set_major_locator(MaxNLocator(integer=True))
    ax.grid(visible=False, axis="x")
    ax.set_xlabel(f"how many of {real.pets} real pets get there (number)")
    ax.set_ylabel("chance (% of trials)")
    return finish(ax, _verdict(real, odds), _small(real, odds))


def _draw_bars(ax: Axes, real: Trials, chances: Sequence[Interval], numbers: range) -> None:
    """Draw the chances of some numbers of pets."""
    shown = [chances[reached] for reached in numbers]
    heights = [100 * chance.estimate for chance in shown]
    bars = ax.bar(numbers, heights, color=IN_VAIN, edgecolor="black", linewidth=0.6)
    for reached, bar in zip(numbers, bars, strict=True):
        # equal chances that rounding tells apart count as equal, as in the test
        if chances[reached].estimate <= chances[real.reached].estimate * (1 + 1e-7):
            bar.set_hatch(UNLIKE_HATCH)
        if reached == real.reached:
            bar.set_facecolor(AIM)
        bar.set_gid(f"{reached} get there")
    if any(chance.low < chance.high for chance in shown):
        reach = whiskers(shown, 100)
        ax.errorbar(numbers, heights, reach, fmt="none", ecolor="black", capsize=3)


def _verdict(real: Trials, odds: Odds) -> str:
    """Whether the pets agree with the odds."""
    assert real.p_value is not None
    agree = "agrees" if real.compatible else "does not agree"
    share = percent_of(real.p_value) if real.p_value >= RAREST else f"under {percent_of(RAREST)}"
    often = f"so far off or farther in {share} of such trials"
    return f"{real.reached} of {real.pets} {agree} with {_named(odds)}: {often}"


def _named(odds: Odds) -> str:
    if odds.simulated is None:
        return f"odds of {percent_of(odds.value)}"
    batch = odds.simulated.batches[0]
    return f"{percent_of(odds.value)} under {short(batch.regime, 30)}"


def _small(real: Trials, odds: Odds) -> str:
    hatched = "Hatched: as unlikely as yours or more so; their chances are the p-value."
    if odds.simulated is None:
        return f"Binomial distribution. {hatched}"
    batch, aim = odds.simulated.batches[0], odds.simulated.aim
    return (
        f"Odds of {aim}: {len(batch)} lives, {batch.model.id} under {short(batch.regime, 30)}, "
        f"seed {batch.seed}. Bars: binomial distribution; whiskers: over Wilson's 95 % interval of "
        f"the odds. {hatched}"
    )


@styled
def power(trial_plan: TrialPlan, ax: Axes | None = None) -> Axes:
    """The chance that trials of real pets tell two odds apart, by how many pets there are.

    One line is for one routine, of which one asks which odds it has; the other for two routines
    against each other, by the number of pets of each. The number it takes is marked.

    Args:
        trial_plan: as `petsim.tell_apart` returns.
        ax: what to draw on; by default a picture of its own.
    """
    designs = {"one routine": trial_plan.one, "two, of each": trial_plan.two}
    most = max((MOST_TRIALS if design is None else design.pets) for design in designs.values())
    ends = [design.pets for design in designs.values() if design is not None]
    last = min(MOST_TRIALS, max(10, int(np.ceil(BEYOND * most))))
    numbers = np.unique([*np.linspace(1, last, POINTS).round().astype(int), *ends])
    powers = np.array([trial_plan.powers(int(pets)) for pets in numbers])
    ax = axes(ax, HEIGHT + 0.5)
    ax.axhline(100 * POWER, color=GREY, linewidth=0.8, linestyle=":", gid="power wanted")
    labels = []
    for place, (name, design) in enumerate(designs.items()):
        line = 100 * powers[:, place]
        ax.plot(numbers, line, color="black", linestyle=DASHES[place], gid=name)
        labels.append(_mark(ax, name, design, (last, float(line[-1]))))
    ax.set_xlim(0, last)
    ax.set_ylim(0, 108)
    ax.xaxis.set_major_locator(MaxNLocator(integer=True))
    ax.set_xlabel("real pets (number of each routine)")
    ax.set_ylabel("power (% of trials)")
    return finish(ax, _how_many(trial_plan), _small_print_of(trial_plan), labels)


def _mark(ax: Axes, name: str, design: TrialDesign | None, end: tuple[int, float]) -> Label:
    """Mark on its line the number of pets it takes, and return the line's label."""
    if design is None:
        return Label(*end, f"{name}:\nover {MOST_TRIALS}")
    needed = 100 * design.power
    ax.plot(design.pets, needed, AIM_MARKER, color="black", gid=f"it takes, {name}")
    ax.vlines(design.pets, 0, needed, color=GREY, linewidth=0.8, linestyle=":")
    return Label(*end, f"{name}:\n{counted(design.pets, 'pet')}")


def _how_many(trial_plan: TrialPlan) -> str:
    """How many pets it takes."""
    first, second = _named(trial_plan.first), _named(trial_plan.second)
    if trial_plan.one is None and trial_plan.two is None:
        return f"Telling {first} from {second} takes over {MOST_TRIALS} real pets"
    one, two = (
        f"over {MOST_TRIALS}" if design is None else str(design.pets)
        for design in (trial_plan.one, trial_plan.two)
    )
    return (
        f"Telling {first} from {second} takes {one} real pets of one routine, {two} of each of two"
    )


def _small_print_of(trial_plan: TrialPlan) -> str:
    sources = [odds.simulated for odds in (trial_plan.first, trial_plan.second)]
    lives = [
        f"{len(each)} lives, {each.model.id} under {short(each.batches[0].regime, 30)}, seed "
        f"{each.batches[0].seed}. "
        for each in sources
        if each is not None
    ]
    return (
        f"{''.join(lives)}Solid: exact binomial design; dashed: Fisher's exact test. Chance passes "
        f"for a difference in at most {percent_of(1 - LEVEL)} of trials. Dotted: the power wanted, "
        f"{percent_of(POWER)}."
    )
