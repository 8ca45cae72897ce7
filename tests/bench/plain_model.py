"""The lamplet and its ten-minute care as one plain SimPy program, to measure petsim against.

What somebody would write for this pet and this regime alone: processes and timeouts, the numbers
in place, one generator of random numbers a life. Nothing of petsim is used, so that its odds are
a second opinion too. Events of the same second happen in the order SimPy queued them. The pet and
every number of it are invented.
"""

from collections import Counter
from collections.abc import Callable, Generator
from dataclasses import dataclass
from random import Random

import simpy

MINUTE = 60
HOUR = 60 * MINUTE
DAY = 24 * HOUR
BORN_AT = 9 * HOUR
FULL = 6
NEED_GRACE = 20 * MINUTE
LIGHTS_GRACE = 25 * MINUTE
MISBEHAVES_FOR = 24 * MINUTE
FATAL_MISSES = 60
TRIES = 20

Draw = Callable[[Random], float]
Wait = Generator[simpy.Event, object, None]


@dataclass(frozen=True)
class Stage:
    """The rates of a stage: times in seconds, illness per day."""

    weight_min: int
    hunger_drops: Draw
    mood_drops: Draw
    again_after: int
    starves_after: int
    waste_every: Draw
    waste_grace: int
    pile_max: int
    ill: tuple[float, float, float]
    heavy: int
    doses: tuple[float, ...]
    ill_grace: int
    ill_fatal: int
    sleeps: tuple[tuple[float, float], ...] = ()
    misbehaves: Draw | None = None


def exponential(minutes: float) -> Draw:
    return lambda rng: rng.expovariate(1 / (minutes * MINUTE))


def uniform(low: float, high: float) -> Draw:
    return lambda rng: rng.uniform(low * MINUTE, high * MINUTE)


def triangular(low: float, mode: float, high: float) -> Draw:
    return lambda rng: rng.triangular(low * MINUTE, high * MINUTE, mode * MINUTE)


def weibull(shape: float, hours: float) -> Draw:
    return lambda rng: rng.weibullvariate(hours * HOUR, shape)


def hours(low: float, high: float) -> Draw:
    return uniform(low * 60, high * 60)


def days(low: float, mode: float, high: float) -> Draw:
    return triangular(low * 1440, mode * 1440, high * 1440)


INFANT = Stage(
    weight_min=12,
    hunger_drops=exponential(7),
    mood_drops=exponential(8),
    again_after=2 * HOUR,
    starves_after=16 * HOUR,
    waste_every=uniform(25, 55),
    waste_grace=45 * MINUTE,
    pile_max=6,
    ill=(0.1, 0.3, 0.04),
    heavy=60,
    doses=(0.7, 0.3),
    ill_grace=75 * MINUTE,
    ill_fatal=16 * HOUR,
)
JUVENILE = Stage(
    weight_min=22,
    hunger_drops=triangular(12, 20, 34),
    mood_drops=exponential(20),
    again_after=3 * HOUR,
    starves_after=20 * HOUR,
    waste_every=uniform(90, 210),
    waste_grace=45 * MINUTE,
    pile_max=6,
    ill=(0.2, 0.35, 0.04),
    heavy=84,
    doses=(0.6, 0.4),
    ill_grace=75 * MINUTE,
    ill_fatal=16 * HOUR,
    sleeps=((21, 7),),
    misbehaves=weibull(1.5, 3),
)
ADOLESCENT = Stage(
    weight_min=32,
    hunger_drops=exponential(12),
    mood_drops=exponential(13),
    again_after=3 * HOUR,
    starves_after=24 * HOUR,
    waste_every=hours(2, 4),
    waste_grace=45 * MINUTE,
    pile_max=6,
    ill=(0.2, 0.35, 0.04),
    heavy=130,
    doses=(0.5, 0.5),
    ill_grace=75 * MINUTE,
    ill_fatal=16 * HOUR,
    sleeps=((22.75, 7.5),),
    misbehaves=weibull(1.5, 4),
)
ADULT = Stage(
    weight_min=45,
    hunger_drops=exponential(40),
    mood_drops=exponential(45),
    again_after=4 * HOUR,
    starves_after=30 * HOUR,
    waste_every=hours(3, 5),
    waste_grace=60 * MINUTE,
    pile_max=7,
    ill=(0.15, 0.3, 0.04),
    heavy=190,
    doses=(0.5, 0.4, 0.1),
    ill_grace=90 * MINUTE,
    ill_fatal=18 * HOUR,
    sleeps=((22.5, 7),),
)
ELDER = Stage(
    weight_min=38,
    hunger_drops=exponential(35),
    mood_drops=exponential(35),
    again_after=4 * HOUR,
    starves_after=24 * HOUR,
    waste_every=hours(2, 4),
    waste_grace=60 * MINUTE,
    pile_max=7,
    ill=(0.6, 0.4, 0.04),
    heavy=210,
    doses=(0.4, 0.4, 0.2),
    ill_grace=90 * MINUTE,
    ill_fatal=16 * HOUR,
    sleeps=((21, 8), (13, 14)),
)
EGG_LASTS = 5 * MINUTE
FORMS: dict[str, tuple[Stage, Draw]] = {
    "glint": (INFANT, uniform(80, 100)),
    "flicker": (JUVENILE, hours(38, 42)),
    "glow": (ADOLESCENT, hours(100, 104)),
    "shimmer": (ADOLESCENT, hours(100, 104)),
    "gutter": (ADOLESCENT, hours(100, 104)),
    "beacon": (ADULT, days(5, 6, 7)),
    "lantern": (ADULT, days(5, 6, 7)),
    "candle": (ADULT, days(4, 5, 6)),
    "ember": (ADULT, days(3, 4, 5)),
    "smoulder": (ADULT, days(2, 3, 4)),
    "afterglow": (ELDER, days(1, 2, 3)),
    "ash": (ELDER, triangular(12 * 60, 24 * 60, 36 * 60)),
}
# form: the forms it may grow into, with misses at most (in the form by cause or in all, or in life)
# and discipline at least
GROWS_INTO: dict[str, tuple[tuple[str, dict[str, int], int], ...]] = {
    "glint": (("flicker", {}, 0),),
    "flicker": (("glow", {"all": 3}, 15), ("shimmer", {"all": 7}, 0), ("gutter", {}, 0)),
    "glow": (
        ("beacon", {"all": 4}, 80),
        ("lantern", {"lights": 3}, 40),
        ("candle", {"all": 12}, 0),
        ("ember", {}, 0),
    ),
    "shimmer": (
        ("lantern", {"all": 5}, 60),
        ("candle", {"hunger": 6, "mood": 6}, 0),
        ("ember", {}, 0),
    ),
    "gutter": (("candle", {"life": 16}, 0), ("ember", {"all": 16}, 0), ("smoulder", {}, 0)),
    "beacon": (("afterglow", {}, 0),),
    "lantern": (("afterglow", {}, 0),),
    "candle": (("afterglow", {}, 0),),
    "ember": (("ash", {}, 0),),
    "smoulder": (("ash", {}, 0),),
}


def whole(seconds: float) -> int:
    return max(1, round(seconds))


class Lamplet:
    """One pet and its caretaker, who looks in every `every` seconds."""

    def __init__(self, seed: int, every: int = 10 * MINUTE, until: str = "death") -> None:
        self.env = simpy.Environment()
        self.rng = Random(seed)
        self.until = until
        self.over = self.env.event()
        self.outcome = ""
        self.died = ""
        self.counts: Counter[str] = Counter()

        self.form = "spark"
        self.levels = {"hunger": 3, "mood": 3}
        self.emptied = {"hunger": 0, "mood": 0}
        self.weight = 12
        self.adult_weight: int | None = None
        self.discipline = 0
        self.misses: Counter[str] = Counter()

        self.asleep = False
        self.lights = True
        self.nights = 0
        self.fell_asleep = 0
        self.slept = 0
        self.waking = self.env.event()

        self.pile = 0
        self.piles = 0
        self.misbehaving = False
        self.mischief = 0

        self.doses_needed = 0
        self.illnesses = 0
        self.rate = 0.0
        self.rate_since = 0
        self.hazard_left = self.rng.expovariate(1)
        self.forecast = 0

        self.env.process(self.grow())
        self.env.process(self.check(every))

    def live(self) -> "Lamplet":
        self.env.run(until=self.over)
        return self

    # Growth and death

    def grow(self) -> Wait:
        yield self.env.timeout(EGG_LASTS)
        form: str | None = "glint"
        while form:
            lasts = self.enter(form)
            yield self.env.timeout(whole(lasts))
            form = self.successor()
        self.end("old age")

    def enter(self, form: str) -> float:
        self.form = form
        self.stage, lasts = FORMS[form]
        self.misses = Counter(life=self.misses["life"])
        if self.stage is ADULT:
            self.outcome = form
            self.adult_weight = self.weight
            if self.until == "outcome":
                self.over.succeed()
        self.weight = max(self.weight, self.stage.weight_min)
        self.reckon_illness()
        self.env.process(self.drops("hunger", self.stage.hunger_drops))
        self.env.process(self.drops("mood", self.stage.mood_drops))
        self.env.process(self.waste())
        self.plan_mischief()
        self.env.process(self.sleep())
        return lasts(self.rng)

    def successor(self) -> str | None:
        for form, misses_at_most, discipline_at_least in GROWS_INTO.get(self.form, ()):
            few = all(self.misses[which] <= most for which, most in misses_at_most.items())
            if few and self.discipline >= discipline_at_least:
                return form
        return None

    def miss(self, cause: str) -> None:
        self.counts["misses." + cause] += 1
        self.misses.update([cause, "all", "life"])
        if self.misses["life"] >= FATAL_MISSES:
            self.end("neglect")

    def end(self, cause: str) -> None:
        if not self.over.triggered:
            self.died = cause
            self.outcome = self.outcome or cause
            self.over.succeed()

    # Sleep, and time awake

    def sleep(self) -> Wait:
        form, windows = self.form, self.stage.sleeps
        while self.form == form:
            clock = (BORN_AT + self.env.now) % DAY
            left = 0
            for start, end in windows:
                if (clock - start * HOUR) % DAY < (end - start) * HOUR % DAY:
                    left = whole((end * HOUR - clock) % DAY)
            if left and not self.asleep:
                self.fall_asleep()
            elif self.asleep and not left:
                self.wake_up()
            if not windows:
                return
            if not left:
                left = min(whole((start * HOUR - clock) % DAY) for start, _ in windows)
            yield self.env.timeout(left)

    def fall_asleep(self) -> None:
        self.asleep = True
        self.fell_asleep = self.env.now
        self.nights += 1
        self.env.process(self.lights_left_on(self.nights))
        if self.misbehaving:
            self.plan_mischief()

    def wake_up(self) -> None:
        self.asleep = False
        self.lights = True
        self.slept += self.env.now - self.fell_asleep
        self.waking.succeed()
        self.waking = self.env.event()

    def lights_left_on(self, night: int) -> Wait:
        yield self.env.timeout(LIGHTS_GRACE)
        if self.asleep and self.lights and self.nights == night:
            self.miss("lights")

    def time_awake(self) -> int:
        return (self.fell_asleep if self.asleep else self.env.now) - self.slept

    def awake(self, seconds: int) -> Wait:
        """Wait for so many seconds of time awake."""
        due = self.time_awake() + seconds
        while (left := due - self.time_awake()) > 0 or self.asleep:
            yield self.waking if self.asleep else self.env.timeout(left)

    # Needs

    def drops(self, need: str, draw: Draw) -> Wait:
        form = self.form
        while True:
            yield from self.awake(whole(draw(self.rng)))
            if self.form != form:
                return
            if self.levels[need] > 0:
                self.levels[need] -= 1
                if self.levels[need] == 0:
                    self.emptied[need] += 1
                    self.env.process(self.call(need, self.emptied[need]))
                    if need == "hunger":
                        self.env.process(self.starve(self.emptied[need]))

    def still_empty(self, need: str, time: int) -> bool:
        return self.levels[need] == 0 and self.emptied[need] == time

    def call(self, need: str, time: int) -> Wait:
        yield from self.awake(NEED_GRACE)
        while self.still_empty(need, time):
            self.miss(need)
            yield from self.awake(self.stage.again_after)

    def starve(self, time: int) -> Wait:
        yield from self.awake(self.stage.starves_after)
        if self.still_empty("hunger", time):
            self.end("starved")

    # Waste

    def waste(self) -> Wait:
        form = self.form
        while True:
            yield from self.awake(whole(self.stage.waste_every(self.rng)))
            if self.form != form:
                return
            if self.pile < self.stage.pile_max:
                self.pile += 1
                self.reckon_illness()
                if self.pile == 1:
                    self.piles += 1
                    self.env.process(self.left_lying(self.piles))

    def left_lying(self, pile: int) -> Wait:
        yield from self.awake(self.stage.waste_grace)
        if self.pile and self.piles == pile:
            self.miss("waste")

    # Illness

    def reckon_illness(self) -> None:
        """Use up the hazard met so far and forecast the illness at the rate that holds now."""
        base, per_waste, per_excess = self.stage.ill
        excess = max(0, self.weight - self.stage.heavy)
        rate = (base + per_waste * self.pile + per_excess * excess) / DAY
        if self.doses_needed:
            rate = 0.0
        if rate == self.rate:
            return
        self.hazard_left -= self.rate * (self.env.now - self.rate_since)
        self.rate = rate
        self.rate_since = self.env.now
        self.forecast += 1
        if rate:
            self.env.process(self.fall_ill(self.hazard_left / rate, self.forecast))

    def fall_ill(self, after: float, forecast: int) -> Wait:
        yield self.env.timeout(whole(after))
        if self.forecast == forecast:
            chances = self.stage.doses
            self.doses_needed = self.rng.choices(range(1, len(chances) + 1), chances)[0]
            self.illnesses += 1
            self.reckon_illness()
            self.env.process(self.stay_ill(self.illnesses))

    def stay_ill(self, illness: int) -> Wait:
        grace, fatal = self.stage.ill_grace, self.stage.ill_fatal
        yield self.env.timeout(grace)
        if self.doses_needed and self.illnesses == illness:
            self.miss("illness")
            yield self.env.timeout(fatal - grace)
            if self.doses_needed and self.illnesses == illness:
                self.end("untreated illness")

    # Misbehaviour

    def plan_mischief(self) -> None:
        self.misbehaving = False
        self.mischief += 1
        if self.stage.misbehaves:
            self.env.process(self.misbehave(self.stage.misbehaves, self.mischief))

    def misbehave(self, draw: Draw, mischief: int) -> Wait:
        yield from self.awake(whole(draw(self.rng)))
        if self.mischief != mischief:
            return
        self.misbehaving = True
        yield from self.awake(MISBEHAVES_FOR)
        if self.mischief == mischief:
            self.counts["lapses"] += 1
            self.discipline = max(0, self.discipline - 2)
            self.plan_mischief()

    # The caretaker

    def check(self, every: int) -> Wait:
        yield self.env.timeout(self.rng.randrange(every))
        while True:
            if self.form != "spark":
                self.look_after()
            yield self.env.timeout(every)

    def look_after(self) -> None:
        self.reprimand()
        if self.asleep and self.lights:
            self.lights = False
            self.counts["lights_off"] += 1
        if self.doses_needed:
            self.cure()
        if self.pile:
            self.counts["clean"] += 1
            self.pile = 0
            self.reckon_illness()
        for _ in range(TRIES):
            if self.asleep or self.levels["hunger"] == FULL:
                break
            self.feed()
        for _ in range(TRIES):
            if self.asleep or self.levels["mood"] == FULL:
                break
            self.play()

    def reprimand(self) -> None:
        if self.misbehaving:
            self.counts["reprimand"] += 1
            self.discipline = min(100, self.discipline + 4)
            self.plan_mischief()

    def cure(self) -> None:
        self.counts["dose"] += self.doses_needed
        self.doses_needed = 0
        self.hazard_left = self.rng.expovariate(1)
        self.reckon_illness()

    def feed(self) -> None:
        self.counts["feed"] += 1
        self.levels["hunger"] = min(FULL, self.levels["hunger"] + 2)
        self.weight += 3
        self.reckon_illness()

    def play(self) -> None:
        if self.rng.random() >= 0.7:
            self.counts["lost"] += 1
            return
        self.counts["play"] += 1
        self.levels["mood"] = min(FULL, self.levels["mood"] + 2)
        self.weight = max(self.stage.weight_min, self.weight - 4)
        self.reckon_illness()


def live(seed: int, every: int = 10 * MINUTE, until: str = "death") -> Lamplet:
    """A whole life, or one to its adult form (`until="outcome"`)."""
    return Lamplet(seed, every, until).live()
