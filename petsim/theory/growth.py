"""The odds of growth: misses in a form are binomial, and a rule of growth compares them."""

from __future__ import annotations

import math
from collections.abc import Iterator

from scipy import stats

from petsim.theory.lab import Lab
from petsim.theory.verdicts import Verdict, check, digits, mean, share
from petsim.theory.worlds import FEED_WHEN_EMPTY, every, pet, regime

ODDS: list[tuple[int, int, int, int, int, dict[int, float | None]]] = [
    # mean, interval, grace, intervals, full, P(misses <= c) by c
    (3700, 2700, 1500, 40, 1, {8: 0.182238, 11: 0.569165, 14: 0.884826}),
    (5400, 1800, 1100, 47, 1, {2: 0.063749, 5: 0.484829, 8: 0.889335}),
    (9000, 900, 480, 95, 1, {1: 0.065768, 3: 0.365979, 6: 0.856768}),
    (2400, 7200, 900, 12, 4, {1: 0.125397, 3: 0.587990, 5: 0.924614}),
    (1800, 1200, 500, 25, 1, {6: None, 8: None, 11: None}),
    (1000, 3600, 1300, 18, 3, {5: None, 7: None, 9: None}),
]


@check(
    "binomial distribution (scipy.stats) of misses whose chance is a closed form of inspection "
    "theory; digits computed apart, one also by an independent simulation"
)
def odds_of_growing_up_well(lab: Lab) -> Iterator[Verdict]:
    """The main job: which form a pet takes, by how many misses it had, of so many intervals."""
    for m, interval, grace, n, full, odds in ODDS:
        case = f"{n} checks every {interval} s, drops every {m} s, {grace} s allowed, {full} levels"
        binomial = stats.binom(n, stats.gamma.cdf(interval - grace, full, scale=m))
        rules = [f"{{up to {most}: {{misses in form: at most {most}}}}}" for most in odds]
        forms = [*(f"up to {most}" for most in odds), "rock"]
        growth = f"[{', '.join(rules)}, {{rock: otherwise}}]"
        model = pet(
            f"drops: {{hunger: exponential {m} s}}",
            f"grace: {{hunger: {grace} s}}",
            needs=[f"hunger: {{full: {full}}}"],
            care=[f"feed: {{raises: {{hunger: {full}}}}}"],
            grain=f"{{stage: young, lasts: {n * interval + grace // 2} s, grows into: {growth}}}",
            rocks=[f"{form}: {{stage: grown, lasts: 1 day}}" for form in forms],
        )
        step = FEED_WHEN_EMPTY if full == 1 else f"{{when: {{hunger: below {full}}}, do: feed}}"
        lived = lab.batch(model, regime(every(interval), routine=[step]), lives=1_500)
        reached = 0
        for most, printed in odds.items():
            said, reached = (
                f"{case}: P(at most {most} misses)",
                reached + lived.counts[f"up to {most}"],
            )
            if printed is not None:
                yield digits(f"{said}, exact", binomial.cdf(most), printed, 1e-6)
            yield share(said, reached, len(lived), binomial.cdf(most))
        misses = lived.values["misses_in.grain"]
        error = binomial.std() / math.sqrt(len(lived))
        yield mean(f"{case}: misses", float(misses.mean()), binomial.mean(), error)
