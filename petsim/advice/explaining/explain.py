"""Why the odds fall: what each imperfection of a regime costs, beside its routine done flawlessly.

All is lived on common luck. Each imperfection is switched off alone and left on alone; and as they
mask each other, and two together may cost more or less than one by one, each also has a fair share
of the whole fall (`shares`).
"""

from __future__ import annotations

import logging
import math
from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from petsim.advice.explaining.all_seeing import all_seeing
from petsim.advice.explaining.explanation import NOTHING, UNKNOWN, Explanation, Part, UnderModel
from petsim.advice.explaining.imperfections import Imperfection, imperfections, without
from petsim.advice.explaining.shares import Parts, intervals_of_shares, shares_of_block
from petsim.errors import ArgumentError
from petsim.life.caretaker import Caretaker
from petsim.life.simulate import CaretakerSource, ModelSource
from petsim.spec import defaults
from petsim.spec.arguments import count_of, is_number
from petsim.study.aims import AimSource
from petsim.study.evaluate import Evaluation, Evaluator
from petsim.study.stats import Interval
from petsim.study.weighted import WeightedInterval

PRECISION = 0.01
"""The half-width to which shares are worked out."""
LIVES = {"compiled": 10_000, "reference": 400}
"""Lives of the regime and of its routine done flawlessly, by engine."""
FIFTH = 5
"""The part of these lives that has each imperfection alone, and those of a caretaker who sees all:
differences on common luck need fewer lives than odds."""
BLOCKS = 40
"""Blocks that the lives are divided into, each with orders of its own."""
LEAST_OF_BLOCK = 25
"""Lives of a block at least, as each of its regimes has to be made ready; of few lives there are
fewer blocks."""
LEAST_LIVES = 100
LEAST_BLOCKS = 20
"""Blocks after which an interval is believed to be as narrow as it seems."""
ROUND = 5
"""Blocks between two looks at how narrow the intervals are."""
ENOUGH_BLOCKS = 3
"""Blocks without which no interval can be told."""
SPELLS = "eyes.spells"


def explain(
    model: ModelSource | Sequence[ModelSource],
    regime: CaretakerSource,
    *,
    weights: Sequence[float] | None = None,
    aim: AimSource | None = None,
    seed: int = 0,
    until: str | None = None,
    days: float | None = None,
    engine: str = "auto",
    lives: int | None = None,
    precision: float = PRECISION,
    workers: int | None = None,
    check_limit: float = defaults.CHECK_LIMIT,
    progress: bool = False,
) -> Explanation:
    """Return why the odds fall from those of the routine carried out flawlessly every minute.

    Args:
        model: a model or a pet as it is now, as for `batch`, or a list of several.
        regime: a regime or a policy, as for `batch`.
        weights: how much each model is believed; by default all alike.
        aim: what is hoped for, as for `Evaluator`; by default as the first model has it.
        seed, until, days, engine, workers, check_limit: as for `batch`.
        lives: of the regime and of its routine done flawlessly; by default 10,000, or 400 with the
            reference engine. A fifth of them has each imperfection alone.
        precision: the half-width, as a share, at which shares are known well enough; they are
            worked out on as many lives at most.
        progress: whether a terminal shows how many lives are lived, and the time left.

    Interrupted, it says so and returns what is known, once the odds are.

    Raises:
        SpecError, PolicyError, ArgumentError: as for `Evaluator`; lives is below 100; precision is
            no half-width.
    """
    if not is_number(precision) or not 0 < precision < 0.5:
        expected = "expected a half-width between 0 and 0.5, such as 0.01"
        raise ArgumentError(f"precision: {precision!r}; {expected}")
    evaluator = Evaluator(
        model, regime, weights=weights, seed=seed, until=until, days=days, aim=aim, engine=engine,
        workers=workers, check_limit=check_limit,
    )  # fmt: skip
    name = evaluator.evaluate(lives=1).batches[0].engine
    lives = LIVES[name] if lives is None else count_of("lives", lives)
    if lives < LEAST_LIVES:
        raise ArgumentError(f"lives: {lives}; expected at least {LEAST_LIVES}")
    known = _Known(evaluator, lives, precision)
    try:
        known.explore(progress)
    except KeyboardInterrupt:
        logging.getLogger("petsim").warning("petsim: interrupted; this is what is known so far")
        return known.explanation(interrupted=True)
    return known.explanation()


class _Known:
    """What is known of the imperfections of a regime, while their lives are lived."""

    def __init__(self, evaluator: Evaluator, lives: int, precision: float) -> None:
        self._evaluator, self._lives, self._precision = evaluator, lives, precision
        caretaker = evaluator.caretaker
        self._all = imperfections(caretaker)
        self._there = [each for each in self._all if each.is_there(caretaker.regime)]
        self._flawed = evaluator.evaluate(lives=lives)
        self._flawless = evaluator.evaluate(lives=lives, regime=self._with(frozenset()))
        # what each life loses under each model, of shape (models, lives)
        self._falls = self._flawless.values() - self._flawed.values()
        self._compared: dict[str, Evaluation] = {}
        all_on = frozenset(range(len(self._there)))
        # what lives are worth with sets of imperfections on, of shape (models, lives)
        self._lived = {frozenset(): self._flawless.values(), all_on: self._flawed.values()}
        self._blocks: list[NDArray[np.float64]] = []

    def explore(self, progress: bool) -> None:
        """Live each imperfection alone off and alone on, and then orders of all of them."""
        from tqdm import tqdm

        asked, fifth = self._asked(), self._lives // FIFTH
        shown = None if progress else True  # none in a pipe
        with tqdm(unit=" lives", leave=False, disable=shown) as bar:
            orders = LEAST_BLOCKS * self._lives_of_block if self._there else 0
            bar.total = len(asked) * fifth + orders
            for name, caretaker in asked.items():
                self._compared[name] = self._evaluator.evaluate(lives=fifth, regime=caretaker)
                bar.update(fifth)
            self._lived |= self._alone()
            while self._there and not self._is_enough():
                self._live_block()
                bar.update(self._lives_of_block)
                bar.total = max(bar.total, bar.n)

    def _asked(self) -> dict[str, Caretaker]:
        """The caretakers who are compared with the regime, or with its routine done flawlessly."""
        caretaker, all_on = self._evaluator.caretaker, frozenset(range(len(self._there)))
        asked = {}
        for place, each in enumerate(self._there):
            asked[f"off {each.path}"] = self._with(all_on - {place})
            asked[f"on {each.path}"] = self._with(frozenset({place}))
        if self._clear_eyes:
            asked["eyes"] = without(caretaker, self._clear_eyes)
        hands = caretaker.regime.hands
        return asked | {"example": all_seeing(self._evaluator.models[0], hands)}

    def _alone(self) -> dict[Parts, NDArray[np.float64]]:
        """What lives are worth with each imperfection alone off, and alone on."""
        all_on, alone = frozenset(range(len(self._there))), {}
        for place, each in enumerate(self._there):
            alone[all_on - {place}] = self._compared[f"off {each.path}"].values()
            alone[frozenset({place})] = self._compared[f"on {each.path}"].values()
        return alone

    def _with(self, on: Parts) -> Caretaker:
        """The caretaker with those imperfections alone that are on."""
        off = [each for place, each in enumerate(self._there) if place not in on]
        return without(self._evaluator.caretaker, off)

    @property
    def _clear_eyes(self) -> list[Imperfection]:
        """The errors of the eyes but those of bad light."""
        of_eyes = [each for each in self._there if each.path.startswith("eyes.")]
        return [each for each in of_eyes if each.path != SPELLS]

    # Orders

    @property
    def _lives_of_block(self) -> int:
        return max(LEAST_OF_BLOCK, self._lives // BLOCKS)

    def _live_block(self) -> None:
        block, size = len(self._blocks), self._lives_of_block
        numbers = range(block * size, (block + 1) * size)
        random = np.random.default_rng((self._evaluator.seed, block))
        shares = shares_of_block(self._worths, len(self._there), numbers, random)
        self._blocks.append(shares)

    def _worths(self, sets: Sequence[Parts], numbers: range) -> NDArray[np.float64]:
        """What lives are worth with sets of imperfections on: shape (sets, lives, models).

        Lives that were lived already are not lived again.
        """
        here = slice(numbers.start, numbers.stop)
        known = {
            on: self._lived[on][:, here]
            for on in sets
            if on in self._lived and numbers.stop <= self._lived[on].shape[1]
        }
        fresh = [on for on in sets if on not in known]
        if fresh:
            worths = self._evaluator.worths([self._with(on) for on in fresh], numbers)
            known |= zip(fresh, worths, strict=True)
        return np.array([known[on].T for on in sets])

    def _is_enough(self) -> bool:
        """Whether shares are as narrow as wanted, twice in a row, or there are no more lives.

        To stop at the first time would pick out the blocks that happen to spread little.
        """
        blocks = len(self._blocks)
        if (blocks + 1) * self._lives_of_block > self._lives:
            return True
        looks = (blocks - ROUND, blocks)
        return (
            blocks >= LEAST_BLOCKS
            and blocks % ROUND == 0
            and all(self._half_width(look) <= self._precision for look in looks)
        )

    def _half_width(self, blocks: int) -> float:
        return max((share.high - share.low) / 2 for share in self._shares(blocks))

    def _shares(self, blocks: int) -> list[Interval]:
        """The share of each imperfection that there is, by the first blocks."""
        weights = np.array(self._evaluator.weights)
        shares = np.array(self._blocks[:blocks]) @ weights
        return intervals_of_shares(shares, weights @ self._falls)

    def _shares_by_model(self) -> list[tuple[float, ...]]:
        """The same under each model, without intervals."""
        by_model = [
            intervals_of_shares(np.array(self._blocks)[:, :, model], falls)
            for model, falls in enumerate(self._falls)
        ]
        return [tuple(share.estimate for share in shares) for shares in zip(*by_model, strict=True)]

    # What comes of it

    def explanation(self, *, interrupted: bool = False) -> Explanation:
        """Put together what is known."""
        evaluator, odds, ideal = self._evaluator, self._flawed.odds(), self._flawless.odds()
        beyond = self._difference("example", self._flawless)
        parts = sorted(self._parts(), key=_dearest_first)
        by_model = zip(self._flawed.shares(), self._flawless.shares(), strict=True)
        return Explanation(
            aim=evaluator.aim,
            caretaker=evaluator.caretaker,
            odds=_plain(odds),
            ideal=_plain(ideal),
            fall=_plain(self._flawless.difference(self._flawed)),
            parts=tuple(parts),
            eyes=self._difference("eyes", self._flawed) if self._clear_eyes else NOTHING,
            example=_sum(_plain(ideal), beyond),
            beyond=beyond,
            models=tuple(
                UnderModel(model, weight, odds.estimate, ideal.estimate)
                for model, weight, (odds, ideal) in zip(
                    evaluator.models, evaluator.weights, by_model, strict=True
                )
            ),
            lives={
                "regime": self._lives,
                "alone": self._lives // FIFTH,
                "ordered": len(self._blocks) * self._lives_of_block,
            },
            precision=self._precision,
            seed=evaluator.seed,
            span=evaluator.span,
            interrupted=interrupted,
        )

    def _parts(self) -> Iterator[Part]:
        odds, ideal = _plain(self._flawed.odds()), _plain(self._flawless.odds())
        known = len(self._blocks) >= ENOUGH_BLOCKS
        shares = self._shares(len(self._blocks)) if known else [UNKNOWN] * len(self._there)
        no_models = (math.nan,) * len(self._evaluator.models)
        by_model = self._shares_by_model() if known else [no_models] * len(self._there)
        own = dict(zip(self._there, zip(shares, by_model, strict=True), strict=True))
        none = (0.0,) * len(self._evaluator.models)
        for each in self._all:
            if each not in own:
                yield Part(each.what, each.path, False, odds, ideal, NOTHING, NOTHING, none)
                continue
            gain = self._difference(f"off {each.path}", self._flawed)
            loss = self._difference(f"on {each.path}", self._flawless)
            off, on = _sum(odds, gain), _sum(ideal, loss)
            yield Part(each.what, each.path, True, off, on, gain, *own[each])

    def _difference(self, name: str, base: Evaluation) -> Interval:
        """The odds of those who are compared less those of others, on common luck."""
        if name not in self._compared:
            return UNKNOWN
        return _plain(self._compared[name].difference(base))


def _dearest_first(part: Part) -> tuple[bool, float]:
    """Order parts by what they cost, those that are not there last."""
    cost = part.share.estimate
    return not part.is_there, 0.0 if math.isnan(cost) else -cost


def _plain(interval: WeightedInterval) -> Interval:
    return Interval(interval.estimate, interval.low, interval.high)


def _sum(odds: Interval, difference: Interval) -> Interval:
    """The odds after a difference, which was worked out on some of their lives.

    Odds of these lives alone would be off by their own luck, and would not go with the others. The
    ends are put together as those of independent estimates: Zou and Donner (2008), "Construction of
    confidence limits about effect measures", Statistics in Medicine 27:1693-1702 (from memory).
    """
    down = math.hypot(odds.estimate - odds.low, difference.estimate - difference.low)
    up = math.hypot(odds.high - odds.estimate, difference.high - difference.estimate)
    estimate = odds.estimate + difference.estimate
    if math.isnan(estimate):
        return UNKNOWN
    ends = (estimate, estimate - down, estimate + up)
    return Interval(*(min(1.0, max(0.0, end)) for end in ends))
