"""The odds of growth: misses in a form are binomial, and a rule of growth compares them."""

import math

import pytest
from scipy import stats

from petsim import batch
from tests.theory.worlds import FEED_WHEN_EMPTY, agrees, every, pet, regime, share_agrees

SEED = 20_250_302
LIVES = 1_500

# Source: closed form, the binomial distribution; printed values computed apart from this project,
# the first also found by an independent simulation (0.5699, standard error 0.0010).
ODDS = [
    # mean, interval, grace, intervals, full, P(misses <= c) by c
    (3700, 2700, 1500, 40, 1, {8: 0.182238, 11: 0.569165, 14: 0.884826}),
    (5400, 1800, 1100, 47, 1, {2: 0.063749, 5: 0.484829, 8: 0.889335}),
    (9000, 900, 480, 95, 1, {1: 0.065768, 3: 0.365979, 6: 0.856768}),
    (2400, 7200, 900, 12, 4, {1: 0.125397, 3: 0.587990, 5: 0.924614}),
    (1800, 1200, 500, 25, 1, {6: None, 8: None, 11: None}),
    (1000, 3600, 1300, 18, 3, {5: None, 7: None, 9: None}),
]


@pytest.mark.parametrize(("m", "interval", "grace", "n", "full", "odds"), ODDS)
def test_growth_by_care_misses_is_binomial(tmp_path, m, interval, grace, n, full, odds):
    p_miss = stats.gamma.cdf(interval - grace, full, scale=m)
    binomial = stats.binom(n, p_miss)
    for most, printed in odds.items():
        if printed is not None:
            assert binomial.cdf(most) == pytest.approx(printed, abs=1e-6)

    rules = [f"{{up to {most}: {{misses in form: at most {most}}}}}" for most in odds]
    forms = [*(f"up to {most}" for most in odds), "rock"]
    growth = f"[{', '.join(rules)}, {{rock: otherwise}}]"
    model = pet(
        tmp_path,
        f"drops: {{hunger: exponential {m} s}}",
        f"grace: {{hunger: {grace} s}}",
        needs=[f"hunger: {{full: {full}}}"],
        care=[f"feed: {{raises: {{hunger: {full}}}}}"],
        grain=f"{{stage: young, lasts: {n * interval + grace // 2} s, grows into: {growth}}}",
        rocks=[f"{form}: {{stage: grown, lasts: 1 day}}" for form in forms],
    )
    step = FEED_WHEN_EMPTY if full == 1 else f"{{when: {{hunger: below {full}}}, do: feed}}"
    caretaker = regime(tmp_path, every(interval), routine=[step])
    lived = batch(model, caretaker, lives=LIVES, seed=SEED, workers=1)

    shares = lived.odds()["lives"]
    reached = 0
    for most in odds:
        reached += shares[f"up to {most}"]
        share_agrees(reached, LIVES, binomial.cdf(most))
    misses = lived.lives["misses_in.grain"]
    agrees(misses.mean(), binomial.mean(), binomial.std() / math.sqrt(LIVES))
    assert (lived.lives["entered_s.rock"][misses > max(odds)] > 0).all()
