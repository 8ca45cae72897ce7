"""Lives of a pet without chance worked out by hand, second by second, from the rules of a life.

Nothing in these lives is left to chance: every wait is fixed, every chance is 0 or 1, and checks
begin at a fixed second. Each log was written down before any engine was asked. A remark behind `#`
names the rule that a line follows from; a line without one only counts on from the line before.

A line of a log is its second (several, if the same happens in each) and what happens in it, in
order; `* 5` is five times in a row. Clock time is 09:00 plus the second of the life.
"""

import re
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
import yaml

from petsim.life.record import Life
from tests.agreement.differences import agreed

WITHOUT_CHANCE = Path(__file__).with_name("without-chance.yaml")

ROW = re.compile(r"((?:\d+ +)+)(.+)")
EVENT = re.compile(
    r"(birth|growth|asleep|awake|drop|waste|ill|well|misbehaves|lapse|miss|death|outage begins"
    r"|outage ends|check skipped|check|slipped|refused|wasted|lost|unfair|done)"
    r"(?: ([a-z_ ]+))?(?: (\d+))?(?: \* (\d+))?"
)
Event = tuple[int, str, str, int | None]


def log(text: str) -> list[Event]:
    """The events that the lines of a log stand for: (second, event, what, value)."""
    events: list[Event] = []
    for line in filter(None, (line.partition("#")[0].strip() for line in text.splitlines())):
        row = ROW.fullmatch(line)
        assert row, line
        for second in row[1].split():
            for part in row[2].split(", "):
                event = EVENT.fullmatch(part)
                assert event, part
                kind, what, value, times = event.groups()
                one = (int(second), kind, what or "", int(value) if value else None)
                events += [one] * int(times or 1)
    assert [event[0] for event in events] == sorted(event[0] for event in events)
    return events


def lived(life: Life) -> list[Event]:
    """The events of a life in the shape of `log`."""
    return [
        (int(t), str(event), str(what), None if pd.isna(value) else int(value))
        for t, event, what, value in life.events[["t", "event", "what", "value"]].itertuples(
            index=False
        )
    ]


def check_summary(life: Life, expected: dict[str, Any]) -> None:
    """Every column: those not expected must be 0, or -1 in what is told of a form entered."""
    unmet = ("entered_s.", "weight_at.", "discipline_at.")
    rest = {column: -1 if column.startswith(unmet) else 0 for column in life.summary}
    assert expected.keys() <= rest.keys()
    assert life.summary == rest | expected


def by_form(**forms: tuple[int, int, int]) -> dict[str, int]:
    """Columns of the forms entered: second, weight and discipline that the rules saw."""
    columns = ("entered_s", "weight_at", "discipline_at")
    return {
        f"{column}.{form}": value
        for form, values in forms.items()
        for column, value in zip(columns, values, strict=True)
    }


def by_level(need: str, *seconds: int) -> dict[str, int]:
    """Columns of the seconds at level 0, 1, 2 ... of a need."""
    return {f"level_s.{need}.{level}": spent for level, spent in enumerate(seconds)}


def without_chance(changes: str = "{}") -> dict[str, Any]:
    """The pet with changes laid over it, mapping over mapping."""

    def laid_over(below: Any, above: Any) -> Any:
        if not (isinstance(below, dict) and isinstance(above, dict)):
            return above
        merged = {key: laid_over(below.get(key), value) for key, value in above.items()}
        return below | merged

    model = yaml.load(WITHOUT_CHANCE.read_text(), yaml.BaseLoader)
    changed: dict[str, Any] = laid_over(model, yaml.load(changes, yaml.BaseLoader))
    return changed


@pytest.fixture
def regime(tmp_path: Path) -> Any:
    """Writes the text of a regime to a file and gives its path."""

    def write(text: str) -> Path:
        path = tmp_path / "regime.yaml"
        path.write_text("# An invented regime.\npetsim: regime 1\nname: By hand\n" + text)
        return path

    return write


def test_nobody_cares() -> None:
    life = agreed(without_chance(), "hands-off", until="death")
    assert lived(life) == log(
        """
            0  birth seed
          300  growth tick                   # levels stood still in the egg; draws begin here
         1200  drop hunger 1                 # 300 + 15 min
         1500  drop mood 1                   # 300 + 20 min
         1800  waste 1                       # 300 + 25 min
         2100  drop hunger 0
         2700  drop mood 0, miss hunger 1    # drops come before deadlines; 2100 + 10 min of grace
         3000  miss waste 2                  # 1800 + 20 min; the drop due now finds hunger at 0
         3300  waste 2, miss mood 3
         3600  growth tock                   # drops, waste drawn anew; deadlines keep their times
         3900  miss hunger 4                 # 2700 + the 20 min again after of the infant
         5100  miss mood 5                   # 3300 + 30 min; from here on 4 h, the juvenile's
        10800  waste 3                       # as full as it gets: what comes later has no effect
        12600  misbehaves                    # 3600 + 150 min
        14040  lapse 0                       # ran for 24 min; discipline cannot go below 0
        18300  miss hunger 6                 # 3900 + 4 h
        19500  miss mood 7
        23040  misbehaves                    # 14040 + 150 min
        24480  lapse 0
        32700  miss hunger 8
        33480  misbehaves
        33900  miss mood 9
        34920  lapse 0
        43920  misbehaves
        45360  lapse 0
        46800  asleep                        # hunger has 300 s left, mood 1500 s, death 5700 s
        48000  miss lights 10                # 20 min of clock time, while all else stands still
        79200  awake                         # the drops and waste that waited have no effect
        79500  miss hunger 11
        80700  miss mood 12
        84900  death starved                 # at 0 since 2100: 44700 s before, 5700 s after sleep
        """
    )
    check_summary(
        life,
        {
            "outcome": "starved",
            "died": "starved",
            "end_s": 84900,
            "misses": 12,
            "misses.hunger": 5,
            "misses.mood": 5,
            "misses.waste": 1,
            "misses.lights": 1,
            "misses_in.tick": 3,
            "misses_in.tock": 9,
            "misses_at.09": 3,
            "misses_at.10": 2,
            "misses_at.14": 2,
            "misses_at.18": 2,
            "misses_at.22": 1,
            "misses_at.07": 2,
            "lapses": 4,
            "asleep_s": 32400,
        }
        | by_form(seed=(0, 3, 0), tick=(300, 3, 0), tock=(3600, 3, 0))
        | by_level("hunger", 82800, 900, 1200)
        | by_level("mood", 82200, 1200, 1500),
    )


def test_hourly_checks_that_meet_every_tie(regime: Any) -> None:
    """A whole life. Checks fall on a deadline, on growths, on falling asleep, waking and death."""
    path = regime(
        """
checks:
  every: 1 h
  first: 0 s
  windows:
    - {during: 09:45 to 09:50 on Mon, every: 15 min}
    - {during: 09:00 to 09:45 on Mon, every: never}
    - {during: 23:00 to 04:00, every: never}
routine:
  - {when: {asleep: yes, lights: on}, do: lights_off}
  - {when: {waste: at least 1}, do: clean}
  - {when: {asleep: no, hunger: below 5}, do: feed, repeat: until met}
  - {when: {asleep: no, mood: below 5}, do: play, repeat: until met}
quiet hours: [22:00 to 07:00]
"""
    )
    life = agreed(without_chance(), path, until="death")
    assert lived(life) == log(
        """
             0  birth seed                   # the check due in second 0 is in a `never`
           300  growth tick
          1200  drop hunger 1
          1500  drop mood 1
          1800  waste 1
          2100  drop hunger 0
          # Fed in the very second of the deadline: too late for hunger, which has its miss. Mood
          # reached 0 in this second too, and is raised in it: no miss will follow. Waste in time.
          2700  drop mood 0, miss hunger 1, check, done clean, done feed * 5, done play * 5
          3000  drop hunger 4                # drops go on at 1200 + 900 k, fed or not
          3300  waste 1
          # Growth comes first, so this is the juvenile's check; the drops due at 3900 are no more.
          3600  growth tock, check, done clean, done feed
          5400  drop hunger 4                # 3600 + 30 min
          6300  drop mood 4                  # 3600 + 45 min
          7200  drop hunger 3, check, done feed * 2, done play    # pet first, caretaker last
          9000  drop hunger 4, drop mood 4   # needs in the order of the model
         10800  drop hunger 3, waste 1, check, done clean, done feed * 2, done play
         11700  drop mood 4
         12600  drop hunger 4, misbehaves    # drops before misbehaviour
         14040  lapse 0                      # between two checks: nobody saw it
         14400  drop hunger 3, drop mood 3, check, done feed * 2, done play * 2
         16200  drop hunger 4
         17100  drop mood 4
         18000  drop hunger 3, waste 1, check, done clean, done feed * 2, done play
         19800  drop hunger 4, drop mood 4
         21600  drop hunger 3, check, done feed * 2, done play
         22500  drop mood 4
         23040  misbehaves
         23400  drop hunger 4
         24480  lapse 0
         25200  drop hunger 3, drop mood 3, waste 1, check, done clean, done feed * 2, done play * 2
         27000  drop hunger 4
         27900  drop mood 4
         28800  drop hunger 3, check, done feed * 2, done play
         30600  drop hunger 4, drop mood 4
         32400  drop hunger 3, waste 1, check, done clean, done feed * 2, done play
         33300  drop mood 4
         33480  misbehaves
         34200  drop hunger 4
         34920  lapse 0
         36000  drop hunger 3, drop mood 3, check, done feed * 2, done play * 2
         37800  drop hunger 4
         38700  drop mood 4
         39600  drop hunger 3, waste 1, check, done clean, done feed * 2, done play
         41400  drop hunger 4, drop mood 4
         43200  drop hunger 3, check, done feed * 2, done play
         43920  misbehaves
         44100  drop mood 4
         45000  drop hunger 4
         45360  lapse 0
         # Falling asleep comes before drops and waste: all three due now wait with 0 s left. The
         # check finds it asleep and puts the light out, so there is no miss at 22:20.
         46800  asleep, check, done lights_off
         68400 72000 75600  check            # from 04:00, the end of the `never`; nothing to do
         79200  awake, drop hunger 3, drop mood 3, waste 1
         79200  check, done clean, done feed * 2, done play * 2
         81000  drop hunger 4                # counted from waking
         81900  drop mood 4
         82800  drop hunger 3, check, done feed * 2, done play
         84600  drop hunger 4, drop mood 4
         86400  drop hunger 3, waste 1, check, done clean, done feed * 2, done play
         86760  misbehaves                   # due at 54360: 7560 s were left at 46800
         87300  drop mood 4
         88200  drop hunger 4, lapse 0
         # The drops due now are drawn anew by the growth and do not happen. No miss in this form,
         # but discipline is 0: the second rule.
         90000  growth adrift, check, done feed, done play
         92700  drop mood 4                  # the form's own 45 min
         93000  drop hunger 4                # the stage's 50 min, which the form left alone
         93600  check, done feed, done play
         95400  drop mood 4
         96000  drop hunger 4
         97200  check, done feed, done play
         98100  drop mood 4
         99000  drop hunger 4
        100800  drop mood 3, check, done feed, done play * 2
        102000  drop hunger 4
        103500  drop mood 4
        104400  waste 1, check, done clean, done feed, done play
        105000  drop hunger 4
        106200  drop mood 4
        108000  drop hunger 3, check, done feed * 2, done play
        108900  drop mood 4
        111000  drop hunger 4
        111600  drop mood 3, check, done feed, done play * 2
        114000  drop hunger 4
        114300  drop mood 4
        115200  check, done feed, done play
        117000  drop hunger 4, drop mood 4
        118800  waste 1, check, done clean, done feed, done play
        119700  drop mood 4
        120000  drop hunger 4
        122400  drop mood 3, check, done feed, done play * 2
        123000  drop hunger 4
        125100  drop mood 4
        126000  drop hunger 3, check, done feed * 2, done play
        127800  drop mood 4
        129000  drop hunger 4
        129600  check, done feed, done play
        130500  drop mood 4
        132000  drop hunger 4
        133200  asleep, check, done lights_off    # mood and waste due now wait with 0 s left
        154800  growth hush, check           # sleeps on, lights stay out; what waited is drawn anew
        158400  check
        162000  awake, check, done feed, done play    # 06:00, the elder's; nothing had waited
        164400  drop hunger 4                # 40 min awake: none of it passed before 06:00
        165000  drop mood 4
        165600  check, done feed, done play
        166800  drop hunger 4
        168000  drop mood 4
        169200  drop hunger 3, check, done feed * 2, done play
        171000  drop mood 4
        171600  drop hunger 4
        172800  waste 1, check, done clean, done feed, done play
        174000  drop hunger 4, drop mood 4
        176400  drop hunger 3, death old age # dies after its drops, before the caretaker's turn
        """
    )
    check_summary(
        life,
        {
            "outcome": "adrift",
            "died": "old age",
            "end_s": 176400,
            "misses": 1,
            "misses.hunger": 1,
            "misses_in.tick": 1,
            "misses_at.09": 1,
            "lapses": 5,
            "done.feed": 53,
            "done.play": 42,
            "done.clean": 12,
            "done.lights_off": 2,
            "presses": 109,
            "quiet_presses": 4,  # the light at 22:00:00, twice; feed and play at 06:00 on Wednesday
            "checks": 39,
            "asleep_s": 61200,
        }
        | by_form(
            seed=(0, 3, 0),
            tick=(300, 3, 0),
            tock=(3600, 8, 0),  # five times +3, five times -2
            adrift=(90000, 59, 0),
            hush=(154800, 71, 0),
        )
        | by_level("hunger", 600, 900, 1200, 0, 115800, 57900)
        | by_level("mood", 0, 1200, 1500, 0, 115800, 57900),
    )


def test_actions_that_take_time(regime: Any) -> None:
    """One day. A check overruns two others, one ends as the next is due, the horizon cuts one."""
    path = regime(
        """
checks:
  every: never
  first: 0 s
  windows:
    - {during: 09:30 to 10:00 on Mon, every: 5 min}
    - {during: 21:55 to 22:10 on Mon, every: 5 min}
    - {during: 08:50 to 09:00 on Tue, every: 5 min}
routine:
  - {when: {asleep: yes, lights: on}, do: lights_off}
  - {when: {waste: at least 1}, do: clean}
  - {when: {asleep: no, hunger: below 5}, do: feed, repeat: until met}
  - {when: {asleep: no, mood: below 4}, do: play, repeat: 2}
hands:
  opening: {takes: 20 s, presses: 1}
  lights_off: {takes: 10 s}
  clean: {takes: 40 s, presses: 2}
  feed: {takes: 140 s, presses: 3}
  play: {takes: 70 s, presses: 4}
quiet hours: [22:00 to 07:00]
"""
    )
    life = agreed(without_chance(), path, days=1)
    assert lived(life) == log(
        """
            0  birth seed
          300  growth tick
         1200  drop hunger 1
         1500  drop mood 1
         1800  waste 1, check                # opens until 1820
         1860  done clean                    # starts at 1820, lands 40 s later
         2000  done feed                     # hunger 2
         2100  drop hunger 1, check skipped  # the check of 1800 is still under way
         2140 2280  done feed                # hunger 2, 3
         2400  check skipped
         2420 2560  done feed                # hunger 4, 5
         2630  done play                     # mood 2
         # The drop comes first: 2 to 1, then the play lands: 2. It was the second and last, so the
         # check ends in this second, and the one due in it follows.
         2700  drop mood 1, done play, check
         2790 2860  done play                # mood 3, 4
         3000  drop hunger 4, check
         3160  done feed
         3300  waste 1, check                # 1800 + 25 min; mood 4 is enough
         3360  done clean
         3600  growth tock                   # 10:00 is no longer in the window of checks
         5400  drop hunger 4
         6300  drop mood 3                   # nobody looks: both run down
         7200  drop hunger 3
         9000  drop hunger 2, drop mood 2
        10800  drop hunger 1, waste 1
        11700  drop mood 1
        12600  drop hunger 0, misbehaves
        13500  miss waste 1                  # 10800 + 45 min, the only one of this pile
        13800  miss hunger 2                 # 12600 + 20 min
        14040  lapse 0
        14400  drop mood 0
        15600  miss mood 3
        18000  waste 2
        23040  misbehaves
        24480  lapse 0
        25200  waste 3
        28200  miss hunger 4                 # again after 4 h
        30000  miss mood 5
        33480  misbehaves
        34920  lapse 0
        42600  miss hunger 6
        43920  misbehaves
        44400  miss mood 7
        45360  lapse 0
        46500  check
        46560  done clean
        46700  done feed                     # hunger 1: its call is over; the next feed starts
        46800  asleep, check skipped         # the drop and the waste due now wait
        46840  refused feed                  # started awake, but it lands on a sleeper
        47100  check                         # the refused feed was the last of its check
        47130  done lights_off               # opened until 47120; in time for 22:20
        79200  awake, drop hunger 0, waste 1 # what waited; both deadlines start anew
        80400  miss hunger 8                 # 20 min, as for any first miss
        81900  miss waste 9                  # 45 min: a new pile
        85800  check
        85860  done clean
        86000  done feed
        86100  check skipped
        86140 86280  done feed               # the next would land at 86420; nothing due at 86400
        """
    )
    check_summary(
        life,
        {
            "outcome": "undecided",
            "died": "",
            "end_s": 86400,
            "misses": 9,
            "misses.hunger": 4,
            "misses.mood": 3,
            "misses.waste": 2,
            "misses_in.tock": 9,
            "misses_at.12": 2,
            "misses_at.13": 1,
            "misses_at.16": 1,
            "misses_at.17": 1,
            "misses_at.20": 1,
            "misses_at.21": 1,
            "misses_at.07": 2,
            "lapses": 4,
            "done.feed": 11,
            "wasted.feed": 1,
            "done.play": 4,
            "done.clean": 4,
            "done.lights_off": 1,
            "cut_off": 1,
            "presses": 68,  # 7 opening, 12 feed of 3 with the one cut off, 4 x 4, 4 x 2, 1
            "quiet_presses": 2,  # the check of 22:05; the refused feed started before 22:00
            "checks": 7,
            "checks_skipped": 4,
            "asleep_s": 32400,
        }
        | by_form(seed=(0, 3, 0), tick=(300, 3, 0), tock=(3600, 13, 0))
        | by_level("hunger", 40900, 35280, 3380, 2060, 2100, 2680)
        | by_level("mood", 72000, 3830, 4360, 2770, 3440, 0),
    )


def test_misbehaviour_and_what_growth_sees(regime: Any) -> None:
    """Reprimands in a first and a last second, one too late, and misses beside growth and death."""
    model = without_chance(
        """
discipline: {step: 12, lapse costs: 4, unfair costs: {mood: 1}}
fatal misses: 7
stages:
  juvenile:
    drops: {hunger: 4 h, mood: 3 h 40 min}
    misbehaviour: {every: 10000 s, window: 1067 s}
  adult:
    again after: {mood: 2 h}
"""
    )
    path = regime(
        """
checks:
  every: never
  first: 0 s
  windows:
    - {during: 10:00 to 10:00:01 on Mon, every: 1 s}
    - {during: 12:45 to 12:46:41 on Mon, every: 100 s}
    - {during: 14:44:59 to 14:45 on Mon, every: 1 s}
    - {during: 15:51:06 to 15:51:07 on Mon, every: 1 s}
    - {during: 18:55:33 to 18:55:34 on Mon, every: 1 s}
    - {during: 22:19:59 to 22:20 on Mon, every: 1 s}
    - {during: 12:00 to 12:00:01 on Tue, every: 1 s}
routine:
  - {when: {calling: yes, hunger: above 0, mood: above 0}, do: reprimand}
  - {when: {clock: 18:00 to 19:00}, do: reprimand}
  - {when: {asleep: yes, lights: on}, do: lights_off}
  - {when: {waste: at least 1, clock: 10:00 to 15:00}, do: clean}
  - {when: {hunger: below 5, clock: 10:00 to 12:00}, do: feed, repeat: until met}
  - {when: {mood: below 5, clock: 10:00 to 12:00}, do: play, repeat: until met}
quiet hours: [22:00 to 07:00]
"""
    )
    life = agreed(model, path, until="death")
    assert lived(life) == log(
        """
            0  birth seed
          300  growth tick
         1200  drop hunger 1
         1500  drop mood 1
         1800  waste 1
         2100  drop hunger 0
         2700  drop mood 0, miss hunger 1
         3000  miss waste 2
         3300  waste 2, miss mood 3
         # It calls, but with hunger at 0, so it is fed and not reprimanded.
         3600  growth tock, check, done clean, done feed * 5, done play * 5
        10800  waste 1
        13500  miss waste 4, check, done clean    # cleaned in the second of the deadline: too late
        13600  misbehaves, check, done reprimand  # in its first second; discipline 12
        16800  drop mood 4
        18000  drop hunger 4, waste 1
        20699  check, done clean             # the last second before the deadline of 20700
        23600  misbehaves                    # 13600 + 10000, drawn at the reprimand
        24666  check, done reprimand         # its last second, before 24667; discipline 24
        25200  waste 1
        27900  miss waste 5                  # the second miss in this form
        30000  drop mood 3
        32400  drop hunger 3, waste 2        # one miss a pile, however it grows
        34666  misbehaves
        # It ends before the caretaker's turn: a lapse, and the reprimand of this second is unfair
        # (by the step with a clock: the pet calls no more). Mood 3 to 2 is part of the action.
        35733  lapse 20, check, unfair reprimand
        39600  waste 3
        43200  drop mood 1
        45733  misbehaves                    # until 46800
        46800  asleep                        # sleep comes first and ends it: no lapse
        47999  check, done lights_off        # one second before the deadline
        79200  awake, drop hunger 2          # the drop of 46800; the waste finds the pile full
        88800  drop mood 0                   # 9600 s awake were left
        89200  misbehaves                    # drawn at 46800, stood still until 79200
        # The rules see two misses in this form and discipline 20, both just enough. The miss of
        # this second comes after and counts in the new form; the misbehaviour ends without effect.
        90000  growth steady, miss mood 6
        93000  drop hunger 1                 # the adult's 50 min
        96000  drop hunger 0
        # Mood again after the adult's 2 h, hunger after 20 min. The seventh miss is fatal, but
        # death comes after all deadlines of its second: the eighth counts. The check due does not
        # come.
        97200  miss hunger 7, miss mood 8, death neglect
        """
    )
    check_summary(
        life,
        {
            "outcome": "steady",
            "died": "neglect",
            "end_s": 97200,
            "misses": 8,
            "misses.hunger": 2,
            "misses.mood": 3,
            "misses.waste": 3,
            "misses_in.tick": 3,
            "misses_in.tock": 2,
            "misses_in.steady": 3,
            "misses_at.09": 3,
            "misses_at.10": 1,
            "misses_at.12": 3,
            "misses_at.16": 1,
            "lapses": 1,
            "unfair": 1,
            "done.feed": 5,
            "done.play": 5,
            "done.clean": 3,
            "done.reprimand": 3,
            "done.lights_off": 1,
            "presses": 17,
            "quiet_presses": 1,
            "checks": 7,
            "asleep_s": 32400,
        }
        | by_form(seed=(0, 3, 0), tick=(300, 3, 0), tock=(3600, 3, 0), steady=(90000, 10, 20))
        | by_level("hunger", 2700, 3900, 15000, 46800, 14400, 14400)
        | by_level("mood", 9300, 46800, 8967, 5733, 13200, 13200),
    )


def test_calls_that_are_heard_and_power_cuts(regime: Any) -> None:
    """Three hours with an infant that misbehaves, a caretaker who listens, and outages."""
    model = without_chance(
        """
outcome stage: juvenile
aim: tock
stages:
  infant:
    misbehaviour: {every: 40 min, window: 10 min}
forms:
  tick: {lasts: 2 h 55 min}
"""
    )
    path = regime(
        """
checks:
  every: never
  first: 0 s
  windows:
    - {during: 11:19:40 to 11:19:41, every: 20 s}
listens: {hears: 100%, reacts in: 5 min}
routine:
  - {when: {calling: yes, hunger: above 0, mood: above 0}, do: reprimand}
  - {when: {waste: at least 1}, do: clean}
  - {when: {hunger: below 5}, do: feed, repeat: until met}
  - {when: {mood: below 5}, do: play, repeat: until met}
hands:
  opening: {takes: 10 s}
  feed: {takes: 30 s}
  play: {takes: 60 s}
outages: {up: 40 min, down: 10 min}
"""
    )
    life = agreed(model, path)
    assert lived(life) == log(
        """
            0  birth seed
          300  growth tick
         1200  drop hunger 1
         1500  drop mood 1
         1800  waste 1
         2100  drop hunger 0                 # heard: a check at 2400
         2400  outage begins, check skipped  # the outage comes first; that call is answered no more
         2700  drop mood 0, misbehaves, miss hunger 1    # heard twice: one check, at 3000
         # Waste was due at 1800 + 20 min. A check in the second in which an outage ends is made.
         3000  miss waste 2, outage ends, check
         3010  done clean                    # opened; no reprimand, since hunger is 0
         3040 3070 3100 3130 3160 3190 3220 3250 3280  refused feed    # it misbehaves
         3300  waste 1, lapse 0, miss mood 3
         3310 3340 3370 3400 3430  done feed # the first started in the misbehaviour, lands after
         3490 3550 3610 3670 3730  done play
         3900  drop hunger 4, drop mood 4
         4500  miss waste 4                  # the pile of 3300: cleaned before, it is a new one
         4800  drop hunger 3, waste 2
         5100  drop mood 3
         5400  outage begins                 # 3000 + 40 min
         5700  drop hunger 2, misbehaves     # 3300 + 40 min; heard, in an outage too: 6000
         6000  outage ends, check
         6010  done reprimand, done clean    # calls with nothing empty; both land at once
         6040 6070 6100  done feed
         6160 6220  done play
         6300  drop mood 4, waste 1
         6600  drop hunger 4
         7500  drop hunger 3, drop mood 3, miss waste 5
         7800  waste 2
         8380  check                         # the only one of the grid
         8390  done clean
         8400  drop hunger 2, outage begins  # with a feed under way, which may finish
         8410  misbehaves                    # 6010 + 40 min; heard: 8710
         8420  refused feed                  # lands in the misbehaviour; with it the check ends
         8700  drop mood 2
         8710  check skipped                 # the outage lasts until 9000
         9000  outage ends
         9010  lapse 5
         9300  drop hunger 1, waste 1
         9900  drop mood 1
        10200  drop hunger 0                 # heard: 10500
        10500  miss waste 6, check           # 9300 + 20 min, too late
        10510  done clean
        10540 10570 10600 10630 10660  done feed
        10720 10780  done play               # the next is cut off
        10800  growth tock                   # the outcome: nothing after it, not even the waste due
        """
    )
    check_summary(
        life,
        {
            "outcome": "tock",
            "died": "",
            "end_s": 10800,
            "misses": 6,
            "misses.hunger": 1,
            "misses.mood": 1,
            "misses.waste": 4,
            "misses_in.tick": 6,
            "misses_at.09": 3,
            "misses_at.10": 1,
            "misses_at.11": 2,
            "lapses": 2,
            "done.feed": 23,
            "wasted.feed": 10,
            "done.play": 9,
            "done.clean": 4,
            "done.reprimand": 1,
            "cut_off": 1,
            "presses": 38,
            "checks": 4,
            "checks_skipped": 2,
        }
        | by_form(seed=(0, 3, 0), tick=(300, 3, 0), tock=(10800, 24, 5))
        | by_level("hunger", 1550, 1860, 2500, 1890, 1890, 1110)
        | by_level("mood", 790, 2080, 2820, 2340, 2520, 250),
    )


def test_naps_lights_and_illness(regime: Any) -> None:
    """Three short sleeps and two illnesses.

    Not above its heavy weight the pet has no hazard. The starting weight and that after a treat
    make it 50 a second and more. No threshold is above 37, so that it is ill one second after.
    """
    model = without_chance(
        """
weight: {starts: 60}
care:
  treat: {weight: +60}
  dose: {weight: -20}
stages:
  juvenile:
    waste: {every: 30 min}
    illness: {base: 0 per day, per excess: 86400 per day, heavy above: 10, doses: {3: 100%},
              grace: 20 min, fatal after: 2 h}
    sleeps: [10:00 to 10:20, 10:40 to 11:00, 11:20 to 12:00]
    lights grace: 10 min
  adult: {sleeps: []}
forms:
  tock: {lasts: 1 h 30 min}
"""
    )
    path = regime(
        """
checks:
  every: never
  first: 0 s
  windows:
    - {during: 10:05 to 10:05:01, every: 1 s}
    - {during: 10:08:20 to 10:08:21, every: 1 s}
    - {during: 10:20:01 to 10:20:02, every: 1 s}
    - {during: 10:50 to 10:50:01, every: 1 s}
    - {during: 11:10 to 11:10:01, every: 1 s}
routine:
  - {when: {asleep: yes, lights: on}, do: lights_off}
  - {when: {lights: off, clock: 10:08 to 10:09}, do: lights_on}
  - {when: {clock: 10:00 to 11:00}, do: clean}
  - {when: {ill: yes}, do: dose}
  - {when: {hunger: below 1, clock: 10:00 to 11:00}, do: feed}
  - {when: {clock: 11:00 to 12:00}, do: treat}
  - {do: reprimand}
"""
    )
    life = agreed(model, path, until="death")
    assert lived(life) == log(
        """
            0  birth seed
          300  growth tick
         1200  drop hunger 1
         1500  drop mood 1
         1800  waste 1
         2100  drop hunger 0
         2700  drop mood 0, miss hunger 1
         3000  miss waste 2
         3300  waste 2, miss mood 3
         # Awake into a stage that sleeps now. Hunger has 300 s left until its next miss, mood 1500.
         3600  growth tock, asleep
         3601  ill 3                         # its weight of 60 is 50 too much, asleep or not
         # Asleep, feeding and reprimanding are refused; so the reprimand is not unfair.
         3900  check, done lights_off, done clean, done dose, refused feed, refused reprimand
         4100  check, done lights_on, wasted clean, done dose, refused feed, refused reprimand
         4200  miss lights 4                 # off and on again before the deadline
         4800  awake
         # The third dose comes in the second of the deadline: too late. The cure follows the dose.
         # Three doses bring the weight from 60 to the juvenile's least, so no hazard is left.
         4801  miss illness 5, check, wasted clean, done dose, well, done feed, unfair reprimand
         6000  asleep                        # hunger is 1: no miss at 5100; mood has 300 s left
         6600  miss lights 6, check, done lights_off, wasted clean, refused reprimand
         7200  awake
         7500  miss mood 7
         7800  drop hunger 0, waste 1        # 30 min awake since 4800, the second sleep left out
         7800  check, done treat, unfair reprimand    # weight 68; mood 1
         7801  ill 3
         8400  asleep
         # Grows asleep into a stage that does not sleep: wakes, the lights' deadline of this second
         # is dropped. Four misses in this form: the second rule.
         9000  growth adrift, awake
         9001  miss illness 8                # 20 min of clock time; this stage has no illness
         9600  miss hunger 9                 # 20 min awake since 7800
        11100  miss waste 10                 # 45 min awake since 7800, the juvenile's
         11700  drop mood 0                   # 9000 + 45 min of this form
         12900  miss mood 11
        15001  death untreated illness       # 2 h of clock time since 7801
        """
    )
    check_summary(
        life,
        {
            "outcome": "adrift",
            "died": "untreated illness",
            "end_s": 15001,
            "misses": 11,
            "misses.hunger": 2,
            "misses.mood": 3,
            "misses.waste": 2,
            "misses.illness": 2,
            "misses.lights": 2,
            "misses_in.tick": 3,
            "misses_in.tock": 4,
            "misses_in.adrift": 4,
            "misses_at.09": 3,
            "misses_at.10": 3,
            "misses_at.11": 3,
            "misses_at.12": 2,
            "unfair": 2,
            "done.feed": 3,
            "wasted.feed": 2,
            "done.clean": 4,
            "wasted.clean": 3,
            "done.dose": 3,
            "done.treat": 1,
            "done.lights_off": 2,
            "done.lights_on": 1,
            "done.reprimand": 5,
            "wasted.reprimand": 3,
            "presses": 19,
            "checks": 5,
            "ill_s": 8400,
            "asleep_s": 3000,
        }
        | by_form(seed=(0, 60, 0), tick=(300, 60, 0), tock=(3600, 60, 0), adrift=(9000, 68, 0))
        | by_level("hunger", 9902, 3899, 1200)
        | by_level("mood", 8401, 5100, 1500),
    )


def test_five_minutes_in_the_egg_with_power_cuts(regime: Any) -> None:
    """A caretaker busy with an egg that refuses everything; outages end its checks."""
    model = without_chance("{outcome stage: infant, aim: tick}")
    path = regime(
        """
checks: {every: 46 s, first: 0 s}
routine:
  - {when: {hunger: below 5}, do: feed, repeat: until met}
hands:
  opening: {takes: 12 s, presses: 2}
  feed: {takes: 25 s}
outages: {up: 112 s, down: 3 s}
"""
    )
    life = agreed(model, path)
    assert lived(life) == log(
        """
          0  birth seed, check               # second 0 has a caretaker's turn like any other
         37  refused feed                    # dormant: hunger is seen, and stands at 2
         46  check skipped
         62  refused feed
         87  refused feed
         92  check skipped
        112  outage begins, refused feed     # as it lands: the check ends all the same
        115  outage ends
        138  check
        175  refused feed
        184  check skipped
        200  refused feed
        225  refused feed
        227  outage begins                   # 115 + 112; a feed is under way until 250
        230  outage ends, check skipped      # power is back, but the caretaker is busy
        250  refused feed
        276  check                           # opens until 288; its feed would land at 313
        300  growth tick
        """
    )
    check_summary(
        life,
        {
            "outcome": "tick",
            "died": "",
            "end_s": 300,
            "done.feed": 8,
            "wasted.feed": 8,
            "cut_off": 1,
            "presses": 15,  # 3 openings of 2, 9 feeds
            "checks": 3,
            "checks_skipped": 4,
        }
        | by_form(seed=(0, 3, 0), tick=(300, 3, 0))
        | by_level("hunger", 0, 0, 300)
        | by_level("mood", 0, 0, 300),
    )


def test_errors_that_are_certain(regime: Any) -> None:
    """An hour in which waste is always mistaken, feeding always slips and every game is lost."""
    model = without_chance("{outcome stage: juvenile, aim: tock, care: {play: {works: 0%}}}")
    path = regime(
        """
checks: {every: 20 min, first: 10 min}
routine:
  - {do: reprimand}
  - {when: {waste: at least 1}, do: clean}
  - {when: {hunger: below 5}, do: feed, repeat: 2}
  - {when: {mood: below 3}, do: play}
passes: 2
eyes:
  waste: {overlooks: 100%, imagines: 100%}
hands:
  feed: {takes: 1 min, slips: 100%}
"""
    )
    life = agreed(model, path)
    assert lived(life) == log(
        """
            0  birth seed
          300  growth tick
          # No waste, but some is imagined; a slip is told in the second it starts.
          600  check, unfair reprimand, wasted clean, slipped feed
          660  slipped feed
          # Second pass, without the step that has no `when`.
          720  lost play, wasted clean, slipped feed
          780  slipped feed
          840  lost play
         1200  drop hunger 1
         1500  drop mood 1
         1800  waste 1, check, unfair reprimand, slipped feed    # waste is there, and overlooked
         1860  slipped feed
         1920  lost play, slipped feed
         1980  slipped feed
         2040  lost play
         2100  drop hunger 0
         2700  drop mood 0, miss hunger 1
         3000  miss waste 2, check, unfair reprimand, slipped feed
         3060  slipped feed
         3120  lost play, slipped feed
         3180  slipped feed
         3240  lost play
         3300  waste 2, miss mood 3
         3600  growth tock
        """
    )
    check_summary(
        life,
        {
            "outcome": "tock",
            "died": "",
            "end_s": 3600,
            "misses": 3,
            "misses.hunger": 1,
            "misses.mood": 1,
            "misses.waste": 1,
            "misses_in.tick": 3,
            "misses_at.09": 3,
            "unfair": 3,
            "done.reprimand": 3,
            "done.clean": 2,
            "wasted.clean": 2,
            "done.play": 6,
            "lost.play": 6,
            "slipped.feed": 12,
            "presses": 23,
            "checks": 3,
        }
        | by_form(seed=(0, 3, 0), tick=(300, 3, 0), tock=(3600, 3, 0))
        | by_level("hunger", 1500, 900, 1200)
        | by_level("mood", 900, 1200, 1500),
    )


def test_what_waits_in_sleep(regime: Any) -> None:
    """Two naps begin in the very second in which a drop, a miss, a misbehaviour, a death is due."""
    model = without_chance(
        """
care:
  feed: {refused when: [misbehaving, full]}
stages:
  infant:
    fatal after: {hunger: 10 min}
    misbehaviour: {every: 40 min, window: 10 min}
    sleeps: [09:45 to 09:50, 09:50 to 09:55, 10:10 to 10:15, 10:14 to 10:20]
forms:
  tick: {lasts: 2 h}
"""
    )
    path = regime(
        """
checks:
  every: never
  first: 0 s
  windows:
    - {during: 09:50 to 09:50:01, every: 1 s}
routine:
  - {when: {hunger: below 1}, do: feed, repeat: until met}
"""
    )
    life = agreed(model, path, until="death")
    assert lived(life) == log(
        """
            0  birth seed
          300  growth tick
         1200  drop hunger 1
         1500  drop mood 1
         1800  waste 1
         2100  drop hunger 0
         # Due now, and waiting with 0 s left: the drop of mood, the misbehaviour, the miss and the
         # death by hunger.
         2700  asleep
         3000  check, done feed              # fed asleep: miss and death have lost their cause
         3300  awake, drop mood 0, misbehaves    # what is left falls; touching windows are one
         3600  drop hunger 0, miss waste 1   # each had 300 s left
         3900  waste 2, lapse 0, miss mood 2
         4200  asleep                        # miss and death by hunger wait again
         4800  awake, miss hunger 3, death starved    # overlapping ones too
        """
    )
    check_summary(
        life,
        {
            "outcome": "starved",
            "died": "starved",
            "end_s": 4800,
            "misses": 3,
            "misses.hunger": 1,
            "misses.mood": 1,
            "misses.waste": 1,
            "misses_in.tick": 3,
            "misses_at.10": 3,
            "lapses": 1,
            "done.feed": 1,
            "presses": 1,
            "checks": 1,
            "asleep_s": 1200,
        }
        | by_form(seed=(0, 3, 0), tick=(300, 3, 0))
        | by_level("hunger", 2100, 1500, 1200)
        | by_level("mood", 1500, 1800, 1500),
    )


def test_heard_checks_beside_the_grid(regime: Any) -> None:
    """Heard checks dropped in a window of `never`, skipped while busy, and one with the grid's."""
    model = without_chance(
        """
outcome stage: juvenile
aim: tock
stages:
  infant:
    misbehaviour: {every: 45 min, window: 10 min}
forms:
  tick: {lasts: 3 h}
"""
    )
    path = regime(
        """
checks:
  every: never
  first: 2 h
  windows:
    - {during: 09:40 to 09:41, every: never}
    - {during: 10:30 to 10:31, every: 15 min}
    - {during: 11:45 to 11:46, every: 45 min}
listens: {hears: 100%, reacts in: 5 min}
routine:
  - {when: {hunger: below 1}, do: feed, repeat: 2}
hands:
  feed: {takes: 400 s}
"""
    )
    life = agreed(model, path)
    assert lived(life) == log(
        """
            0  birth seed
          300  growth tick
         1200  drop hunger 1
         1500  drop mood 1
         1800  waste 1
         2100  drop hunger 0                 # heard; but 2400 is in the listed `never`: dropped
         2700  drop mood 0, miss hunger 1    # heard: 3000
         # Neither `first` nor the default `never` stops a heard check. The misbehaviour is heard
         # too, while that check is still pending: the earliest counts, so none comes at 3300.
         3000  misbehaves, miss waste 2, check
         3300  waste 2, miss mood 3
         3400  refused feed
         3600  lapse 0
         3800  done feed                     # the second and last, no further look
         3900  drop hunger 0                 # the miss due now lost its cause at 3800; heard: 4200
         4200  check
         4500  miss hunger 4                 # 10 min after 3900, the feed still under way
         4600  done feed
         4800  drop hunger 0, waste 3        # heard: 5100
         5100  miss mood 5, check            # 3300 + 30 min
         5400  miss hunger 6                 # no check of the grid at 10:30, it is before `first`
         5500  done feed
         5700  drop hunger 0                 # heard: 6000
         6000  check
         6300  misbehaves, miss hunger 7     # 3600 + 45 min; heard while busy: 6600
         6400  refused feed
         6600  check skipped
         6800  refused feed
         6900  lapse 0, miss mood 8
         7500  miss hunger 9                 # 6300 + 20 min
         8700  miss hunger 10, miss mood 11
         9600  misbehaves                    # heard: 9900
         9900  miss hunger 12, check         # the grid's 2 h + 45 min and the heard one are one
        10200  lapse 0
        10300  done feed
        10500  miss mood 13
        11100  growth tock
        """
    )
    check_summary(
        life,
        {
            "outcome": "tock",
            "died": "",
            "end_s": 11100,
            "misses": 13,
            "misses.hunger": 7,
            "misses.mood": 5,
            "misses.waste": 1,
            "misses_in.tick": 13,
            "misses_at.09": 3,
            "misses_at.10": 5,
            "misses_at.11": 5,
            "lapses": 3,
            "done.feed": 7,
            "wasted.feed": 3,
            "presses": 7,
            "checks": 5,
            "checks_skipped": 1,
        }
        | by_form(seed=(0, 3, 0), tick=(300, 3, 0), tock=(11100, 15, 0))
        | by_level("hunger", 7700, 2200, 1200)
        | by_level("mood", 8400, 1200, 1500),
    )


@pytest.mark.parametrize(
    ("changes", "cause"),
    [
        ("{fatal misses: 5, stages: {egg: {fatal after: {hunger: 30 min}}}}", "starved"),
        ("{fatal misses: 5}", "neglect"),
        ("{}", "old age"),
    ],
)
def test_born_asleep_and_empty(regime: Any, changes: str, cause: str) -> None:
    """A life of 40 minutes at whose end up to three deaths are due: the first in order counts."""
    model = without_chance(changes) | {
        "outcome stage": "infant",
        "aim": "tick",
        "forms": {
            "seed": {"stage": "egg", "lasts": "20 min", "grows into": "tick"},
            "tick": {"stage": "infant", "lasts": "20 min"},
        },
    }
    model["needs"]["hunger"]["starts"] = "0"
    model["discipline"]["unfair costs"] = {"mood": "1"}
    model["stages"] = {
        "egg": model["stages"]["egg"]
        | {
            "dormant": "no",
            "drops": {"hunger": "20 min", "mood": "10 min"},
            "grace": {"hunger": "10 min", "mood": "5 min"},
            "sleeps": ["08:00 to 09:10"],
            "lights grace": "5 min",
        },
        "infant": model["stages"]["infant"]
        | {"waste": {"every": "10 min", "pile max": "3", "grace": "10 min"}},
    }
    path = regime(
        """
checks:
  every: never
  first: 0 s
  windows:
    - {during: 09:21 to 09:24, every: 100 s}
listens: {hears: 100%, reacts in: 100 s}
routine:
  - {do: reprimand}
"""
    )
    life = agreed(model, path, until="death")
    assert lived(life) == log(
        f"""
          0  birth seed, asleep         # hunger is at 0 from here, its deadlines stand still
        300  miss lights 1
        600  awake                      # it calls now, but is not heard anew
       1200  growth tick, miss hunger 2 # 10 min awake; mood's drop of this second is drawn anew
       1300  check, unfair reprimand    # mood 1
       1400  check, unfair reprimand    # mood 0, by no drop, but heard all the same: 1500
       1500  check, unfair reprimand
       1800  waste 1
       2000  miss mood 3                # 1400 + the infant's 10 min
       # Hunger again after the infant's 20 min, waste 10 min after 1800; all misses come before
       # any death. Of the deaths only one: of a need before neglect before old age.
       2400  waste 2, miss hunger 4, miss waste 5, death {cause}
        """
    )
    check_summary(
        life,
        {
            "outcome": "tick",
            "died": cause,
            "end_s": 2400,
            "misses": 5,
            "misses.hunger": 2,
            "misses.mood": 1,
            "misses.waste": 1,
            "misses.lights": 1,
            "misses_in.seed": 1,
            "misses_in.tick": 4,
            "misses_at.09": 5,
            "unfair": 3,
            "done.reprimand": 3,
            "presses": 3,
            "checks": 3,
            "asleep_s": 600,
        }
        | by_form(seed=(0, 3, 0), tick=(1200, 3, 0))
        | by_level("hunger", 2400)
        | by_level("mood", 1000, 100, 1300),
    )
