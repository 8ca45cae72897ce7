"""Tables, paragraphs and counts as text."""

import pytest

from petsim.view.tables import counted, paragraph, table, within


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


CHOICE = ("steps", "odds", "cost", "difference", "lives")
CANDIDATES = [
    ("as chosen", "69.0 % (64.2 to 73.5)", "1112.4", "", "400"),
    ("without look at calling, 1 more", "58.5 % (53.5 to 63.4)", "6.8", "-5.6 (-7 to -4)", "90"),
]


@pytest.mark.parametrize("width", [30, 40, 60, 80, 120])
def test_a_table_of_any_width_has_all_that_is_in_it(width):
    text = within(CHOICE, CANDIDATES, width)
    assert max(map(len, text.splitlines())) <= width
    words = text.split()
    for cell in (*CHOICE, *(cell for row in CANDIDATES for cell in row)):
        assert all(word in words for word in cell.split())


def test_a_head_is_broken_before_a_cell_and_no_figure_is():
    rows = [("outages", "1.2 (0.1 to 2.5)"), ("eyes", "10.0 (9.5 to 10.5)")]
    assert within(("", "odds with it left alone"), rows, 29) == (
        "           odds with it left\n"
        "           alone\n"
        "  outages   1.2 (0.1 to 2.5)\n"
        "  eyes     10.0 (9.5 to 10.5)"
    )
    assert within(("", "odds"), rows, 24) == (
        "           odds\n"
        "  outages   1.2\n"
        "            (0.1 to 2.5)\n"
        "  eyes     10.0\n"
        "           (9.5 to 10.5)"
    )


def test_what_is_too_wide_stands_below_beside_the_first_column_again():
    assert within(("", "hunger", "discipline"), [("feed", "yes", "no")], 18) == (
        "        hunger\n  feed  yes\n\n        discipline\n  feed  no"
    )


def test_details_of_a_row_stand_below_it():
    rows = [("00:08", "hunger"), ("00:09", "mood")]
    assert within(("when", "what"), rows, 20, [["power out"], ["eyes closed by day"]]) == (
        "  when   what\n"
        "  00:08  hunger\n"
        "      power out\n"
        "  00:09  mood\n"
        "      eyes closed by\n"
        "        day"
    )
