"""Routines a step away from a routine."""

from __future__ import annotations

from petsim import load_model, load_regime
from petsim.advice.choosing.space import Candidate, Space
from petsim.advice.choosing.steps import Routine

REGIME = """
petsim: regime 1
name: Two steps
checks:
  every: 1 h
  windows: [{during: "23:45 to 07:00 on Mon-Fri", every: never}]
routine:
- {when: {hunger: below 3, stage: infant}, do: feed}
- {when: {clock: "08:00 to 08:30", asleep: no}, do: play}
"""


def of(tmp_path):
    path = tmp_path / "two.yaml"
    path.write_text(REGIME)
    return load_regime(path)


def test_every_small_change_is_there_once(tmp_path):
    words = [other.words for other in Routine.of(of(tmp_path)).neighbours()]
    assert words == [
        ("without step 1 (feed)",),
        ("without step 2 (play)",),
        ("order of steps 2, 1",),
        ("step 1 (feed) at hunger below 2",),
        ("step 1 (feed) at hunger below 4",),
        ("step 2 (play) at clock 07:30 to 08:30",),
        # not 08:00 to 08:00, in which nothing is left
        ("step 2 (play) at clock 08:00 to 09:00",),
        ("checks.windows[0] 23:15 to 07:00 on weekdays",),
        ("checks.windows[0] 23:45 to 06:30 on weekdays",),
        ("checks.windows[0] 00:15 to 07:00 on weekdays",),
        ("checks.windows[0] 23:45 to 07:30 on weekdays",),
    ]


def test_a_routine_as_it_was_changes_nothing(tmp_path):
    routine = Routine.of(of(tmp_path))
    assert (routine.changes, routine.words) == ({}, ())


def test_a_change_can_be_undone(tmp_path):
    routine = Routine.of(of(tmp_path))
    for other in routine.neighbours():
        assert {} in [back.changes for back in other.neighbours()]


def test_a_step_that_was_left_out_can_be_put_back_in_its_place(tmp_path):
    first, *_ = Routine.of(of(tmp_path)).neighbours()
    assert [step["do"] for step in first.changes["routine"]] == ["play"]
    back, *_ = first.neighbours()
    assert back.order == (0, 1)


def test_only_routines_that_a_file_can_have_are_next(tmp_path):
    space = Space(
        (load_model("lamplet-quick"),), of(tmp_path), {}, steps=True, sample=None, points=None
    )
    [start] = space.candidates()
    low = next(c for c in space.next_to(start) if c.words == ("step 1 (feed) at hunger below 2",))
    lower = next(c for c in space.next_to(low) if c.words == ("step 1 (feed) at hunger below 1",))
    # below 0 there is nothing
    assert ("step 1 (feed) at hunger below 0",) not in [c.words for c in space.next_to(lower)]


def test_a_value_of_what_varies_goes_one_up_or_down(tmp_path):
    space = Space(
        *((load_model("lamplet-quick"),), of(tmp_path), {"checks.every": "1 h..4 h/1 h"}),
        steps=True, sample=None, points=None,
    )  # fmt: skip
    routine = Routine.of(of(tmp_path))
    for here, near in (("1 h", {"2 h"}), ("3 h", {"2 h", "4 h"})):
        others = space.next_to(Candidate({"checks.every": here}, routine))
        assert {c.texts["checks.every"] for c in others if not c.words} == near
