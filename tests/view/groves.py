"""A small pet with five outcomes and two deaths, which comes of age in a day, for pictures."""

from __future__ import annotations

from tests.life.worlds import care, fields, needs, regime

GROVE = fields(
    petsim="model 1",
    name="Grove",
    begins="Monday 00:00",
    outcome_stage="grown",
    aim="cedar",
    needs=needs(),
    care=care(),
    discipline={"step": 30},
    stages={
        "seed bed": {"dormant": "yes"},
        "young": fields(
            drops={"hunger": "uniform 20 min to 60 min", "mood": "uniform 30 min to 90 min"},
            grace={"hunger": "30 min", "mood": "25 min"},
            waste=fields(every="3 h", pile_max=3, grace="30 min"),
            misbehaviour=fields(every="5 h", window="1 h"),
        ),
        "grown": {},
    },
    forms={
        "pip": {"stage": "seed bed", "lasts": "5 min", "grows into": "sapling"},
        "sapling": {
            "stage": "young",
            "lasts": "1 day",
            "grows into": [
                {"cedar": fields(misses_in_form="at most 1", discipline="at least 30")},
                {"larch": fields(misses_in_form="at most 4")},
                {"hazel": fields(misses_in_form="at most 8")},
                {"bramble": fields(misses_in_form="at most 12")},
                {"nettle": "otherwise"},
            ],
        },
        **{
            form: {"stage": "grown", "lasts": "1 day"}
            for form in ("cedar", "larch", "hazel", "bramble", "nettle")
        },
    },
)
KEEPER = regime(
    {"when": {"hunger": "below 3"}, "do": "feed"},
    {"when": {"mood": "below 3"}, "do": "cheer"},
    {"when": {"waste": "at least 1"}, "do": "clean"},
    {"when": {"calling": "yes"}, "do": "reprimand"},
    every="20 min",
    first="20 min",
    hands={"feed": {"slips": "40%"}},
)
