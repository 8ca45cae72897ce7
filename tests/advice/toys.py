"""Toy pets whose odds under each imperfection are known, and so what each of them costs."""

from itertools import permutations
from math import prod

MISREADS = {"oil": 0.6, "wick": 0.2, "glass": 0.1, "hood": 0.04, "stand": 0.02}
"""How often the level of each need of the lamp is misread, an invented one."""
GRACE, INTERVAL = 10, 10
"""Minutes in which a need must be filled, and from one check to the next."""


def lamp(needs=MISREADS):
    """A pet of which each need empties once, an hour after birth, at the second of a check.

    Ten minutes later, at the next check, it is too late. The pet becomes bright if nothing was
    missed.
    """
    return {
        "petsim": "model 1",
        "name": "Lamp",
        "outcome stage": "grown",
        "aim": "bright",
        "needs": {need: {"full": 1} for need in needs},
        "care": {f"fill_{need}": {"raises": {need: 1}} for need in needs},
        "stages": {
            "young": {
                "drops": dict.fromkeys(needs, "1 h"),
                "grace": dict.fromkeys(needs, f"{GRACE} min"),
            },
            "grown": {},
        },
        "forms": {
            "small": {
                "stage": "young",
                "lasts": "115 min",
                "grows into": [{"bright": {"misses in form": "at most 0"}}, {"dim": "otherwise"}],
            },
            "bright": {"stage": "grown", "lasts": "1 day"},
            "dim": {"stage": "grown", "lasts": "1 day"},
        },
    }


def keeper(needs=MISREADS):
    """A regime that fills what it reads as empty, and misreads at times."""
    return {
        "petsim": "regime 1",
        "name": "Keeper",
        "checks": {"every": f"{INTERVAL} min", "first": "0 s"},
        "routine": [{"when": {need: "below 1"}, "do": f"fill_{need}"} for need in needs],
        "eyes": {need: {"misreads": f"{100 * p:g}%"} for need, p in needs.items()},
    }


def odds(on, needs=MISREADS):
    """The odds of bright with some imperfections on, by their paths.

    An empty need is read as empty but for half of its misreadings, as there is no level below; each
    minute is a try of its own where checks are flawless.
    """
    tries = 1 if "checks.every" in on else GRACE
    return prod(1 - (p / 2) ** tries for need, p in needs.items() if f"eyes.{need}" in on)


def shares(needs=MISREADS):
    """What each imperfection costs, over all orders, by definition."""
    paths = [*(f"eyes.{need}" for need in needs), "checks.every"]
    costs = dict.fromkeys(paths, 0.0)
    orders = [*permutations(paths)]
    known = {}
    for order in orders:
        on = frozenset()
        for path in order:
            before, on = on, on | {path}
            for each in (before, on):
                known.setdefault(each, odds(each, needs))
            costs[path] += (known[before] - known[on]) / len(orders)
    return costs
