"""Tiny pets and caretakers as the files a user would write, invented: every number is made up.

The bound of every simulated check in this folder: a share or a mean may be 4.5 standard errors
from its exact value, the standard error being that of n independent units, at a fixed seed.
"""

import math
from textwrap import indent

from petsim import batch, simulate

SIGMAS = 4.5
DAY = 86_400

ONE_NEED = "hunger: {full: 1}"
FEED = "feed: {raises: {hunger: 1}}"
FEED_WHEN_EMPTY = "{when: {hunger: at most 0}, do: feed}"
GROWN_SOON_ENOUGH = "{stage: young, lasts: 1000000 days, grows into: rock}"


def pet(
    folder,
    *rates,
    needs=(ONE_NEED,),
    care=(FEED,),
    grain=GROWN_SOON_ENOUGH,
    rocks=("rock: {stage: grown, lasts: 1 day}",),
    more=(),
    file="pet",
):
    """Write a model: a `grain`, young, with these rates, that grows into a rock."""
    text = [
        "# An invented pet; every name and number is made up.",
        "petsim: model 1",
        "name: Pebble",
        "outcome stage: grown",
        "aim: rock",
        *more,
        *_block("needs", needs),
        *(_block("care", care) if care else []),
        "stages:",
        *_lines(_block("young", rates) if rates else ["young: {}"]),
        "  grown: {}",
        *_block("forms", (f"grain: {grain}", *rocks)),
    ]
    return _write(folder / f"{file}.yaml", text)


def regime(folder, *lines, routine=(FEED_WHEN_EMPTY,), file="regime"):
    """Write a regime of these lines and routine steps."""
    text = [
        "# An invented regime; every name and number is made up.",
        "petsim: regime 1",
        f"name: {file}",
        *lines,
        *(_block("routine", (f"- {step}" for step in routine)) if routine else ["routine: []"]),
    ]
    return _write(folder / f"{file}.yaml", text)


def every(seconds, first="0 s"):
    """The line of a regime that checks at `first` and then every so many seconds."""
    return f"checks: {{every: {seconds} s, first: {first}}}"


def lives_of(model, caretaker, seconds, *, seed, lives=1):
    """The table of lives of so many seconds each."""
    return batch(model, caretaker, lives=lives, seed=seed, days=seconds / DAY, workers=1).lives


def row_of(model, caretaker, seconds, *, seed):
    """The summary of one life of so many seconds."""
    return lives_of(model, caretaker, seconds, seed=seed).iloc[0]


def events_of(model, caretaker, seconds, *, seed, life=0):
    """The event log of one life of so many seconds."""
    return simulate(model, caretaker, seed=seed, life=life, days=seconds / DAY).events


def times(events, kind, what=None):
    """The seconds of the events of a kind, or of those of it about one thing."""
    chosen = events[events["event"] == kind]
    if what is not None:
        chosen = chosen[chosen["what"] == what]
    return chosen["t"].to_numpy()


def agrees(observed, expected, standard_error):
    """Whether a simulated number is as near its exact value as chance allows."""
    assert abs(observed - expected) <= SIGMAS * standard_error, (
        f"{observed:.6g} against {expected:.6g}, "
        f"{abs(observed - expected) / standard_error:.1f} standard errors of {standard_error:.2g}"
    )


def share_agrees(count, n, chance):
    """Whether a count out of n independent trials is as near its chance as chance allows."""
    agrees(count / n, chance, math.sqrt(chance * (1 - chance) / n))


def _block(key, lines):
    return [f"{key}:", *_lines(lines)]


def _lines(lines):
    return [indent(line, "  ") for line in lines]


def _write(path, lines):
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path
