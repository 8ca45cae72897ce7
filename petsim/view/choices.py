"""What can be chosen of a result by a word: its pictures, and the entries of a diary."""

from __future__ import annotations

from petsim.life.kinds import EventKind

ENTRIES = {
    "misses": {EventKind.MISS, EventKind.DEATH},
    "growth": {EventKind.BIRTH, EventKind.TAKEN_OVER, EventKind.GROWTH, EventKind.DEATH},
    "care": {EventKind.CHECK, EventKind.CHECK_SKIPPED, EventKind.CHECK_FORGOTTEN},
    "needs": {EventKind.DROP, EventKind.WASTE, EventKind.DEATH},
    "illness": {EventKind.ILL, EventKind.WELL, EventKind.DEATH},
    "discipline": {EventKind.MISBEHAVES, EventKind.LAPSE},
    "sleep": {EventKind.ASLEEP, EventKind.AWAKE},
    "power": {EventKind.OUTAGE_BEGINS, EventKind.OUTAGE_ENDS},
    "light": {EventKind.SPELL_BEGINS, EventKind.SPELL_ENDS},
}
"""The entries of a diary that can be kept to, by what they are about."""

PICTURES = {
    "batch": ("odds", "funnel", "whys", "forms", "hours", "growth", "convergence"),
    "comparison": (
        "odds",
        "funnel",
        "misses",
        "whys",
        "differences",
        "cost",
        "forms",
        "hours",
        "growth",
        "convergence",
    ),
    "sweep": ("along", "heat-map", "differences", "cost", "scatter", "unknowns"),
    "life": ("timeline", "hours"),
    "model": ("growth",),
    "fit": ("fitted", "laws", "predicted"),
    "explanation": ("costs",),
    "lifeexplained": ("chain",),
    "expected": ("bands",),
    "tolerances": ("room",),
    "trials": ("trials",),
    "trialplan": ("power",),
    "choice": ("chosen",),
}
"""The pictures of each kind of result, the usual one first; `plots.named` draws them."""
