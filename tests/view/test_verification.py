"""The checks of `petsim verify` as text and as data."""

import json

import numpy as np

from petsim.theory.verdicts import Outcome, TheoryCheck, Verdict, digits, exact, mean, share
from petsim.view import verification

CHECK = TheoryCheck("checks at random", "a book (1900), p. 1", lambda lab: iter(()))
FINE = [
    Verdict("checks every 60 s: P(miss)", 0.2, 0.2123, 0.0456),
    Verdict("checks every 60 s: s undetected", 31.25, 30, 4.5),
    Verdict("checks every 90 s: misses", 12, 12, 0),
]
OTHER = [
    Verdict("checks every 60 s: P(miss)", 0.2, 0.31, 0.102),
    Verdict("checks every 60 s: s undetected", 31.25, 33, 10.1),
    Verdict("checks every 90 s: misses", 12, 12, 0),
]


def test_a_check_is_a_table_a_case_with_two_digits_of_what_is_allowed():
    found = Outcome(CHECK, {"compiled": FINE, "reference": OTHER})
    assert not found.holds
    assert (
        verification.check(found)
        == """\
Checks at random
  Source: a book (1900), p. 1
  checks every 60 s
                  expected  compiled  allowed  reference  allowed
    P(miss)        0.200     0.212    ± 0.046   0.31      ± 0.10   FAILS
    s undetected  31.2      30.0      ± 4.5    33         ± 10     holds
  checks every 90 s
            expected  got  allowed
    misses  12        12   exactly  holds"""
    )


def test_the_summary_counts_and_lists_what_fails():
    found = Outcome(CHECK, {"compiled": FINE, "reference": OTHER})
    assert verification.summary([found], 12.3) == (
        "1 of 6 figures of 1 checks FAIL, on the compiled and reference engines, in 12 s.\n"
        "  checks at random, reference: checks every 60 s: P(miss): 0.31, expected 0.2 ± 0.1"
    )


def test_in_brief_a_check_is_a_line_and_one_that_fails_shows_its_figures():
    outcomes = [Outcome(CHECK, {"compiled": FINE}), Outcome(CHECK, {"compiled": OTHER})]
    assert verification.brief(outcomes, 2).split("\n\n") == [
        "holds  checks at random  3 figures\nFAILS  checks at random  3 figures",
        verification.check(outcomes[1]),
        verification.summary(outcomes, 2),
    ]
    assert verification.brief(outcomes[:1], 2).split("\n\n")[1:] == [
        verification.summary(outcomes[:1], 2)
    ]


def test_the_summary_of_what_holds():
    found = Outcome(CHECK, {"compiled": FINE})
    assert found.holds
    assert verification.summary([found], 2) == (
        "All 3 figures of 1 checks hold, on the compiled engine, in 2 s."
    )


def test_rows_are_plain_data():
    rows = verification.as_rows(Outcome(CHECK, {"compiled": FINE}))
    assert rows[0] == {
        "check": "checks at random",
        "source": "a book (1900), p. 1",
        "engine": "compiled",
        "what": "checks every 60 s: P(miss)",
        "expected": 0.2,
        "got": 0.2123,
        "tolerance": 0.0456,
        "holds": True,
    }


def test_figures_that_numpy_worked_out_are_written_as_json():
    one, half = np.float64(1), np.float64(0.5)
    verdicts = [
        digits("printed", one, one, half),
        exact("exact", np.int64(1), np.int64(1)),
        mean("mean", one, one, half),
        share("share", np.int64(1), np.int64(2), half),
    ]
    rows = json.loads(json.dumps(verification.as_rows(Outcome(CHECK, {"compiled": verdicts}))))
    assert [(row["got"], row["expected"], row["holds"]) for row in rows] == [
        (1.0, 1.0, True),
        (1.0, 1.0, True),
        (1.0, 1.0, True),
        (0.5, 0.5, True),
    ]
