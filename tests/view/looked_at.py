"""What can be read in a picture, and where it stands."""

from __future__ import annotations

from itertools import combinations

from matplotlib.figure import Figure
from matplotlib.text import Text


def question(ax) -> str:
    """The title of a picture, in one line."""
    figure = ax.figure.figure
    title = figure.get_suptitle() or ax.get_title(loc="left")
    return plain(title)


def small_print(ax) -> str:
    """The small print of a picture, in one line."""
    figure = ax.figure.figure
    [note] = [text for text in figure.findobj(Text) if text.get_gid() == "small print"]
    return plain(note.get_text())


def plain(text: str) -> str:
    """A text in one line, with plain spaces."""
    return text.replace("\n", " ").replace("\N{NO-BREAK SPACE}", " ")


def heads(ax) -> list[tuple[str, str]]:
    """The head of each panel, and what is said below it."""
    said = []
    for panel in ax.figure.axes:
        below = [text for text in panel.texts if text.get_gid() == "verdict"]
        said.append((plain(panel.get_title(loc="left")), plain("".join(map(Text.get_text, below)))))
    return said


def written(figure: Figure) -> list[tuple[str, object]]:
    """All that can be read in a picture, and its place."""
    figure.draw_without_rendering()
    found = [figure._suptitle, figure._supxlabel, figure._supylabel]
    for one in figure.axes:
        for axis in (one.xaxis, one.yaxis):
            low, high = sorted(axis.get_view_interval())
            labels = axis.get_ticklabels()  # none where those of another panel are shared
            ticks = zip(axis.get_majorticklocs()[: len(labels)], labels, strict=True)
            found += [label for place, label in ticks if low <= place <= high]
            found.append(axis.label)
        found += [*one.texts, one._left_title]
    shown = [text for text in found if text and text.get_visible() and text.get_text()]
    return [(text.get_text(), Text.get_window_extent(text)) for text in shown]


def faults(figure: Figure) -> list[str]:
    """Texts that overlap each other or are cut off."""
    texts, within, found = written(figure), figure.bbox, []
    for text, box in texts:
        room = (box.x0, box.y0, within.width - box.x1, within.height - box.y1)
        if min(room) < -1:
            found.append(f"{text!r} is cut off")
    for (text, box), (other, its) in combinations(texts, 2):
        wide = min(box.x1, its.x1) - max(box.x0, its.x0)
        high = min(box.y1, its.y1) - max(box.y0, its.y0)
        if min(wide, high) > 2:
            found.append(f"{text!r} overlaps {other!r}")
    return found


def assert_fits_a_phone(ax) -> None:
    """Nothing overlaps, letters are large enough, and there is a question and the seed."""
    figure = ax.figure.figure
    assert figure.get_figwidth() == 6
    assert not faults(figure)
    sizes = {text.get_fontsize() for text in figure.findobj(Text) if text.get_text()}
    # of 6 inches shown 360 px wide, 96 px an inch
    assert min(sizes) >= 8 / (360 / 96 / 6)
    assert "seed 0" in small_print(ax)
    assert question(ax)
