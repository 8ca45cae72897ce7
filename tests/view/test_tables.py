"""Tables, paragraphs and counts as text."""

from petsim.view.tables import counted, paragraph, table


def test_table_lines_numbers_up_at_the_decimal_point_and_words_at_the_left():
    rows = [("a", "9.5 x", "1"), ("bb", "100 %", "+20.5"), ("c", "no", ""), ("d", "-3.25", "-1")]
    assert table(("", "n", "more"), rows).splitlines() == [
        "    n        more",
        "a     9.5 x    1",
        "bb  100 %    +20.5",
        "c   no",
        "d    -3.25    -1",
    ]


def test_table_without_a_head_has_none_and_may_be_indented():
    assert table(("", ""), [("a", "1"), ("b", "10")], "    ") == "    a   1\n    b  10"


def test_lines_break_before_a_share_rather_than_within_it():
    assert paragraph("in all 95 % of lives", 9) == "in all\n95 % of\nlives"


def test_how_many_there_are_is_said_in_english():
    assert [counted(n) for n in (0, 1, 2)] == ["0 lives", "1 life", "2 lives"]
    assert [counted(n, "care miss") for n in (1, 3)] == ["1 care miss", "3 care misses"]
    assert [counted(n, "other cell") for n in (1, 2)] == ["1 other cell", "2 other cells"]
