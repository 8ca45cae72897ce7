"""A pet whose odds are known as a function of what its caretaker does badly, and such caretakers.

It is invented. Its hunger falls empty after 1000 s, and again after 2000 s, of which the grace of
800 s is over when it has grown. So all hangs on what is done from 1000 s to before 1800 s.
"""

from __future__ import annotations

from pathlib import Path

from petsim.theory.worlds import pet, regime

EMPTY, GRACE = 1000, 800
DEADLINE = EMPTY + GRACE
LONG = 100_000
FEED = "{when: {hunger: 0}, do: feed}"
FEED_ON_CALL = "{when: {calling: yes}, do: feed}"
PET = pet(
    f"drops: {{hunger: {EMPTY} s}}",
    f"grace: {{hunger: {GRACE} s}}",
    grain="{stage: young, lasts: 2600 s, grows into: "
    "[{rock: {misses in form: at most 0}}, {dust: otherwise}]}",
    rocks=["rock: {stage: grown, lasts: 1 day}", "dust: {stage: grown, lasts: 1 day}"],
)


def once(*lines: str, at: int = 1500, routine: tuple[str, ...] = (FEED,), checks: str = "") -> str:
    """A caretaker who looks in once in the time that counts, unless `checks` says more."""
    return regime(f"checks: {{every: {LONG} s, first: {at} s{checks}}}", *lines, routine=routine)


def files(folder: Path, caretaker: str) -> tuple[str, str]:
    """The paths of the pet and of a caretaker, written there."""
    model, care = folder / "pebble.yaml", folder / "keeper.yaml"
    model.write_text(PET, encoding="utf-8")
    care.write_text(caretaker, encoding="utf-8")
    return str(model), str(care)
