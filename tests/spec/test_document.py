"""A document's places, problems and names."""

from petsim.errors import Problem
from petsim.spec.document import Document, Fault, field_name, plain_number
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
    assert [str(problem) for problem in document.problems(faults)] == [
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
