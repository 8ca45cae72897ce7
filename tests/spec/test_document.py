"""A document's places, problems and names."""

import difflib
import pickle

import pytest

from petsim.errors import Problem
from petsim.spec.document import (
    MOST_PROBLEMS,
    Document,
    Fault,
    field_name,
    plain_number,
    unknown_keys,
)
from petsim.spec.reading import read_text


def read(text: str) -> Document:
    return read_text(text, "it.yaml")


def test_fault_is_shown_at_value_key_or_the_mapping_around_it() -> None:
    document = read("a:\n  b: 1\n")

    def place(fault: Fault) -> tuple[int | None, int | None]:
        problem = document.problem(fault)
        return problem.line, problem.column

    assert place(Fault(("a", "b"), "", "")) == (2, 6)
    assert place(Fault(("a", "b"), "", "", of_key=True)) == (2, 3)
    assert place(Fault(("a", "c"), "", "")) == (1, 1)
    assert place(Fault(("a",), "", "")) == (1, 1)
    assert place(Fault((), "", "")) == (1, 1)


def test_problems_come_once_and_in_the_order_of_the_file() -> None:
    document = read("a: 1\nb: 2\na: 3\n")
    faults = [
        Fault(("b",), "found b", "x"),
        Fault(("a",), "found a", "x"),
        Fault(("b",), "found b", "x"),
    ]
    assert [str(problem) for problem in document.refusal(*faults).problems] == [
        "it.yaml:1:4: a: found a; x",
        "it.yaml:2:4: b: found b; x",
        "it.yaml:3:1: a: found the key again, first in line 1; expected it once",
    ]
    assert document.data["a"] == "1"


def test_problem_without_a_line() -> None:
    assert str(Problem("f", None, None, "", "found x", "expected y")) == "f: found x; expected y"
    assert str(Problem("f", 1, 2, "a", "found x", "expected y")) == "f:1:2: a: found x; expected y"


def test_plain_number() -> None:
    assert [plain_number(x) for x in (5.0, 0.1, 1e-9, 1e22, 2**53)] == [
        "5", "0.1", "0.000000001", "10000000000000000000000", "9007199254740992"
    ]  # fmt: skip


def test_field_name() -> None:
    assert field_name(("stages", "infant", "drops", "hunger")) == "stages.infant.drops.hunger"
    assert field_name(("routine", 3, "repeat")) == "routine[3].repeat"
    assert field_name(("a\nb",)) == "'a\\nb'"


def test_of_many_problems_the_first_are_told_and_the_others_counted(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    compared: list[str] = []

    def compare(word: str, *args: object, **kwargs: object) -> list[str]:
        compared.append(word)
        return []

    monkeypatch.setattr(difflib, "get_close_matches", compare)
    keys = [f"kay{n}" for n in range(4_000)]
    document = read("".join(f"{key}: 1\n" for key in keys))
    faults = [*unknown_keys(document, (), "key", ["key", "lock"])]
    error = document.refusal(*reversed(faults))
    assert [problem.field for problem in error.problems] == keys[:MOST_PROBLEMS]
    assert error.more == 4_000 - MOST_PROBLEMS
    assert str(error).splitlines()[-1] == "3,950 more problems"
    # what may have been meant is only looked for where it is told
    assert compared == keys[:MOST_PROBLEMS]
    copy = pickle.loads(pickle.dumps(error))
    assert (copy.problems, copy.more) == (error.problems, error.more)


def test_a_key_is_told_as_long_as_it_can_be_read() -> None:
    assert field_name(("a" * 100, 3, "b")) == f"{'a' * 100}[3].b"
    assert field_name(("a" * 101, "b")) == f"'{'a' * 59}…'.b"
    assert field_name(("a\nb", "\u202e")) == "'a\\nb'.'\\u202e'"
