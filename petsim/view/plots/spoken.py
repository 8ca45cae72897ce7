"""What a picture says in words: its title, and its other texts in the order of reading."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from matplotlib.figure import Figure
from matplotlib.text import Text
from matplotlib.ticker import ScalarFormatter

ROW = 5.76
"""Points by which the middles of texts of one row may lie apart; a letter has twice as many."""


class _Placed(NamedTuple):
    """A text in a line, the height of its middle, and where it begins, in pixels."""

    height: float
    begins: float
    words: str


def in_words(figure: Figure) -> tuple[str, str]:
    """Return the title of a picture, and all other words in it, as it was drawn last.

    The words are read as a page is, row by row from the top, so that a figure follows the label
    that stands to its left.
    """
    heads = (axes.get_title(place) for axes in figure.axes for place in ("left", "center", "right"))
    title = next(filter(None, heads), "")
    row = ROW / 72 * figure.dpi
    rows = _rows(sorted(_placed(figure, title), reverse=True), row)
    return _in_a_line(title), " · ".join(rows)


def _placed(figure: Figure, title: str) -> Iterator[_Placed]:
    """The texts that can be seen but for the title; what stands upright is read from its top."""
    numbers = _numbers(figure)
    for text in figure.findobj(Text):
        assert isinstance(text, Text)
        words, box = text.get_text(), text.get_window_extent()
        if not text.get_visible() or not words.strip() or words == title or text in numbers:
            continue
        if figure.bbox.overlaps(box):
            upright = text.get_rotation() % 180 == 90
            height = box.y1 if upright else (box.y0 + box.y1) / 2
            yield _Placed(height, box.x0, _in_a_line(words))


def _numbers(figure: Figure) -> set[Text]:
    """The numbers along scales, which say nothing to the ear; some lie beyond the end of one."""
    scales = [axis for axes in figure.axes for axis in (axes.xaxis, axes.yaxis)]
    return {
        label
        for axis in scales
        if isinstance(axis.get_major_formatter(), ScalarFormatter)
        for label in axis.get_ticklabels()
    }


def _rows(placed: list[_Placed], apart: float) -> Iterator[str]:
    """The rows of texts that are sorted from the top, each read from the left.

    apart: pixels by which the middles of texts of one row may lie apart.
    """
    while placed:
        below = next((n for n, x in enumerate(placed) if placed[0].height - x.height > apart), None)
        row, placed = placed[:below], placed[len(placed) if below is None else below :]
        yield " ".join(each.words for each in sorted(row, key=lambda each: each.begins))


def _in_a_line(words: str) -> str:
    return " ".join(words.split())
