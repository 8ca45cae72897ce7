"""What all pictures share: the style, words that fit, and labels that keep out of each other."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from functools import wraps
from itertools import accumulate, pairwise
from pathlib import Path
from tempfile import TemporaryDirectory
from textwrap import fill
from typing import Any, NamedTuple, ParamSpec

import numpy as np
from matplotlib import pyplot as plt
from matplotlib import rcParams
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.text import Annotation, Text
from matplotlib.transforms import ScaledTranslation, Transform
from numpy.typing import NDArray

from petsim.study.stats import Interval
from petsim.view.numbers import decimals

STYLE = Path(__file__).parents[1] / "petsim.mplstyle"
GREY = "#555555"
SHADE = "#e4e4e4"
BANDS = ("#bbd7ea", "#f3cfb5")
INKS = {
    "#ffffff": "paper",
    "#000000": "ink",
    GREY: "faint",
    "#dddddd": "line",
    SHADE: "shade",
    BANDS[0]: "band-a",
    BANDS[1]: "band-b",
}
"""What a page calls the colours that turn in the dark; all others are of things, and stay."""
WIDTH, HEIGHT = 6.0, 3.7
LAYOUTS = 4
"""Times a picture is laid out at most: what is above and below makes the axes lower, which changes
the ticks and with them where the axes begin."""
NARROWER = 0.98
"""Of the room there is, what texts fill: at another resolution letters are a little wider."""
BESIDE = 1.03
"""Where labels at the right begin, in widths of the axes."""
MARKED = 13
"""Points that the marker before a label takes."""
LINE = 0.235
"""Inches that a line of text takes."""
LEAST_NAME = 5
"""Characters that are left of a name at least."""
MARKERS = ("o", "s", "^", "D", "v", "P", "X")
DASHES = ("-", (0, (5, 1.5)), (0, (1.5, 1.5)), (0, (6, 1.5, 1.5, 1.5)))

P = ParamSpec("P")


def styled(draw: Callable[P, Axes]) -> Callable[P, Axes]:
    """Have a picture drawn in the style of all, without touching anyone else's."""

    @wraps(draw)
    def drawn(*args: P.args, **kwargs: P.kwargs) -> Axes:
        # loads the backend; a notebook's turns on the showing of pictures, which must outlast us
        plt.draw_if_interactive()  # type: ignore[no-untyped-call]
        with plt.style.context(STYLE):
            return draw(*args, **kwargs)

    return drawn


def save(ax: Axes, path: str | Path) -> None:
    """Write a picture to a file of the kind its name ends in, the same bytes each time.

    Args:
        ax: what drew it returned.
        path: of the file, such as `odds.svg` or `odds.png`.
    """
    undated = {".svg": {"Date": None}, ".pdf": {"CreationDate": None}}
    with plt.style.context(STYLE):
        figure_of(ax).savefig(path, metadata=undated.get(Path(path).suffix))


def as_svg(ax: Axes) -> tuple[str, str]:
    """A picture as SVG for a page, and the words in it; the picture is closed then.

    Its neutral colours are the page's variables, such as `--ink`, where the page has these.
    """
    figure = figure_of(ax)
    # letters as outlines, as a reader's own fonts may be wider than ours
    with TemporaryDirectory() as folder, plt.rc_context():
        path = Path(folder, "picture.svg")
        with plt.style.context(STYLE):
            plt.rcParams["svg.fonttype"] = "path"
            figure.savefig(path, metadata={"Date": None})
        svg = slim(path.read_text(encoding="utf-8"))
    svg = re.sub(r'(?<=: |=")#[0-9a-f]{6}\b', _as_ink, svg)
    words = [found.get_text().strip() for found in figure.findobj(Text) if isinstance(found, Text)]
    plt.close(figure)
    return svg, " · ".join(dict.fromkeys(filter(None, words)))


def _as_ink(colour: re.Match[str]) -> str:
    ink = INKS.get(colour[0])
    return colour[0] if ink is None else f"var(--{ink}, {colour[0]})"


def slim(svg: str) -> str:
    """An SVG file in fewer bytes: places to a hundredth of a point, as far as nobody can see."""
    svg = re.sub(r'(?<= d=")[^"]*', lambda path: _course(path[0]), svg)
    svg = svg.replace("xlink:href", "href")
    # no scale: all it is of would be moved
    return re.sub(
        r"(?<![\d.])(?<!scale\()-?\d+\.\d{3,}", lambda x: f"{round(float(x[0]), 2):g}", svg
    )


def _course(path: str) -> str:
    """A path of an SVG file without those points that lie on the straight way to the next."""
    if re.search("[^MLz\\s\\d.-]", path):
        return " ".join(path.split())
    return "".join(map(_straight, re.findall("M[^M]*", path)))


def _straight(part: str) -> str:
    """Straight lines from point to point, drawn in one go, without points on the way."""
    points = np.array(re.findall(r"(-?[\d.]+) (-?[\d.]+)", part), float)
    if len(points) < 2:
        return ""
    hundredths = np.rint(100 * points).astype(int)
    moved = np.append(True, np.diff(hundredths, axis=0).any(axis=1))
    # a line of no length is drawn too, as a dot
    corners = hundredths[moved] if sum(moved) > 1 else hundredths[:2]
    before, after = np.diff(corners[:-1], axis=0), np.diff(corners[1:], axis=0)
    turns = before[:, 0] * after[:, 1] != before[:, 1] * after[:, 0]
    back = (before * after).sum(axis=1) < 0
    (x, y), *rest = corners[np.array([True, *(turns | back), True])]
    said = f"M{x / 100:g} {y / 100:g}"
    for to_x, to_y in rest:
        if to_x == x:
            said += f"V{to_y / 100:g}"
        else:
            said += f"H{to_x / 100:g}" if to_y == y else f"L{to_x / 100:g} {to_y / 100:g}"
        x, y = to_x, to_y
    return said + "z" * part.rstrip().endswith("z")


def figure_of(ax: Axes) -> Figure:
    """The whole picture that axes are part of."""
    figure = ax.figure.figure
    assert isinstance(figure, Figure)
    return figure


def axes(ax: Axes | None, height: float = HEIGHT) -> Axes:
    """The axes given or, of none, those of a new picture so many inches high."""
    return plt.subplots(figsize=(WIDTH, height))[1] if ax is None else ax


def labelled_height(labels: int) -> float:
    """Inches of a picture that has so many labels beside it."""
    return max(HEIGHT, 1.9 + LINE * labels)


def look(number: int) -> dict[str, Any]:
    """Colour, marker and dashes of one of several lines: no two are alike in grey either."""
    colours = rcParams["axes.prop_cycle"].by_key()["color"]
    return {
        "color": colours[number % len(colours)],
        "marker": MARKERS[number % len(MARKERS)],
        "linestyle": DASHES[number % len(DASHES)],
    }


class Label(NamedTuple):
    """A text at the right; a thin line leads to it from its point, in data.

    look: of the line it names, whose colour and marker the label has too, as several lines may end
    at one point.
    """

    x: float
    y: float
    text: str
    look: Mapping[str, Any] | None = None


def finish(
    ax: Axes,
    question: str,
    small: str,
    labels: Sequence[Label] = (),
    panels: Sequence[Axes] = (),
    head: float = 0,
) -> Axes:
    """Write the question above, the small print below, and labels beside, clear of each other.

    Args:
        ax: the axes, or the highest of several.
        question, small, labels: what is written.
        panels: if there are several, all of them, the highest first.
        head: points above the axes that something else takes.
    """
    panels = panels or [ax]
    lowest = panels[-1]
    beside = [_beside(ax, label) for label in labels]
    title = ax.set_title(question, pad=rcParams["axes.titlepad"] + head)
    note = lowest.annotate(
        small,
        xy=(0, 0),
        xycoords=("axes fraction", lowest.xaxis.label),
        xytext=(0, -5),
        textcoords="offset points",
        va="top",
        color=GREY,
        gid="small print",
    )
    for text in (title, note):
        text.set_visible(False)
    _lay_out(ax)
    around = ax.get_tightbbox()
    assert around is not None
    # slanting texts may reach farther to the left
    width = around.x1 - ax.transAxes.transform((_left(ax), 0))[0]
    for text in (title, note):
        text.set_visible(True)
    for text, words in ((title, question), (note, small)):
        _fit(text, words, NARROWER * width)
    before: object = None
    for _ in range(LAYOUTS):
        title.set_x(_left(ax))
        note.xy = (_left(lowest), 0)
        for panel in panels:
            _break(panel.yaxis.label, panel.bbox.height)
        now = (note.xy, [panel.get_ylabel() for panel in panels])
        if now == before:
            break
        before = now
        _lay_out(ax)
    _keep_apart(ax, labels, beside)
    return ax


def _lay_out(ax: Axes) -> None:
    """Put all in its place, as drawing would."""
    figure = figure_of(ax)
    engine = figure.get_layout_engine()
    if engine is not None:
        engine.execute(figure)


def _left(ax: Axes) -> float:
    """Where the texts of the upright axis begin, in widths of the axes."""
    beside = ax.yaxis.get_tightbbox()
    edge = ax.bbox.x0 if beside is None else min(beside.x0, ax.bbox.x0)
    return float(ax.transAxes.inverted().transform((edge, 0))[0])


def _beside(ax: Axes, label: Label) -> Annotation:
    marked = MARKED if label.look else 0
    plain = ax.text(0, 0, label.text)
    width = 72 * plain.get_window_extent().width / figure_of(ax).dpi
    plain.remove()
    return ax.annotate(
        label.text,
        xy=(label.x, label.y),
        xytext=(BESIDE, 0.5),
        textcoords=_right_of(ax, marked),
        va="center",
        annotation_clip=False,
        # below marks, so that a line that passes one does not seem to end there
        zorder=1.5,
        arrowprops={
            "arrowstyle": "-",
            "color": label.look["color"] if label.look else GREY,
            "linewidth": 0.7,
            "shrinkA": 0 if marked else 1,
            "shrinkB": 4,
            "relpos": (-marked / 2 / width, 0.5),
        },
    )


def _keep_apart(ax: Axes, labels: Sequence[Label], beside: Sequence[Annotation]) -> None:
    """Move labels up and down, as little as it takes, and have no lines to them cross."""
    if not labels:
        return
    heights = [Text.get_window_extent(text).height for text in beside]
    points = ax.transData.transform([(label.x, label.y) for label in labels])
    wanted = sorted(points[:, 1], reverse=True)
    slots = spread(wanted, heights, ax.bbox.y0, ax.bbox.y1)
    order = uncrossed(points, ax.transAxes.transform((BESIDE, 0))[0], slots)
    places = spread(wanted, [heights[i] for i in order], ax.bbox.y0, ax.bbox.y1)
    for i, place in zip(order, places, strict=True):
        height = ax.transAxes.inverted().transform((0, place))[1]
        beside[i].set_position((BESIDE, height))
        _draw_mark(ax, labels[i], beside[i], height)


def _draw_mark(ax: Axes, label: Label, beside: Annotation, height: float) -> None:
    """Draw the marker of a line before its label."""
    if label.look:
        own = {name: label.look[name] for name in ("color", "marker")}
        ax.scatter(
            BESIDE,
            height,
            rcParams["lines.markersize"] ** 2,
            linewidth=rcParams["lines.markeredgewidth"],
            transform=_right_of(ax, MARKED / 2),
            clip_on=False,
            zorder=2,
            gid=f"mark {label.text}",
            **own,
        )


def _right_of(ax: Axes, points: float) -> Transform:
    """Shares of the axes, moved to the right by so many points."""
    return ax.transAxes + ScaledTranslation(points / 72, 0, figure_of(ax).dpi_scale_trans)


def uncrossed(points: NDArray[np.float64], x: float, heights: Sequence[float]) -> list[int]:
    """Which point to join with each place at x, right of all points, so that no lines cross.

    heights: of the places, the highest first. Seen from the highest place all points are below the
    line to the one that is seen highest, and so are all other places: no other line can cross it.
    Of points on one line of sight the nearest is taken, of those at one place the first.
    """
    left, found = [*range(len(points))], []
    for height in heights:
        ahead = {i: (x - points[i][0], points[i][1] - height) for i in left}
        chosen = max(left, key=lambda i: (ahead[i][1] / ahead[i][0], -ahead[i][0]))
        left.remove(chosen)
        found.append(chosen)
    return found


def spread(wanted: Sequence[float], sizes: Sequence[float], low: float, high: float) -> list[float]:
    """Centres nearest to those wanted at which things of these sizes do not overlap.

    Nearest by least squares, which pooling neighbours that collide finds; and between low and
    high, where there is room for all. Of those wanted at one place, the first comes highest.
    """
    if not wanted:
        return []
    order = sorted(range(len(wanted)), key=lambda i: (wanted[i], -i))
    steps = [(sizes[a] + sizes[b]) / 2 for a, b in pairwise(order)]
    apart = list(accumulate(steps, initial=0.0))
    pools: list[list[float]] = []
    for i, room in zip(order, apart, strict=True):
        pools.append([wanted[i] - room])
        while len(pools) > 1 and np.mean(pools[-2]) > np.mean(pools[-1]):
            pools[-2:] = [pools[-2] + pools[-1]]
    starts = [float(np.mean(pool)) for pool in pools for _ in pool]
    lowest, highest = low + sizes[order[0]] / 2, high - sizes[order[-1]] / 2 - apart[-1]
    places = {
        i: max(lowest, min(start, highest)) + room
        for i, start, room in zip(order, starts, apart, strict=True)
    }
    return [places[i] for i in range(len(wanted))]


def _fit(text: Text, words: str, width: float) -> None:
    """Write words in lines no wider than so many pixels."""
    words = words.replace(" %", "\N{NO-BREAK SPACE}%")
    text.set_text(words)
    most = int(1.2 * len(words) * width / max(1, Text.get_window_extent(text).width))
    for columns in range(max(12, min(most, len(words))), 11, -1):
        text.set_text(fill(words, columns, break_long_words=columns == 12, break_on_hyphens=False))
        if Text.get_window_extent(text).width <= width:
            return


def _break(label: Text, height: float) -> None:
    """Break an upright label at spaces and dots if it is longer than so many pixels."""
    words = label.get_text().replace(".", ". ")
    columns = len(words)
    while label.get_window_extent().height > height and columns > 8:
        columns -= 1
        label.set_text(fill(words, columns, break_long_words=False).replace(". ", "."))


def short(name: str, most: int = 18) -> str:
    """A name cut in its middle if it is longer than so many characters."""
    if len(name) <= most:
        return name
    head = most // 2
    return f"{name[:head]}…{name[len(name) - (most - head - 1) :]}"


def short_of(names: Sequence[str], most: int) -> str:
    """Names side by side in so many characters, if need be with the longest cut in their middle."""
    sizes = [len(name) for name in names]
    room = most - 2 * (len(names) - 1)
    while sum(sizes) > room and max(sizes) > LEAST_NAME:
        sizes[sizes.index(max(sizes))] -= 1
    return ", ".join(short(name, size) for name, size in zip(names, sizes, strict=True))


def whiskers(intervals: Sequence[Interval], by: float = 1) -> NDArray[np.float64]:
    """How far intervals reach below and above their estimates; what is unknown, not at all."""
    reach = [(i.estimate - i.low, i.high - i.estimate) for i in intervals]
    found: NDArray[np.float64] = np.nan_to_num(np.array(reach).T.reshape(2, -1))
    return by * np.maximum(found, 0)


def per_cent(interval: Interval) -> str:
    """A share in per cent; of none or all its bound."""
    if interval.estimate == 0:
        return f"at most {100 * interval.high:.{decimals(100 * interval.high)}f} %"
    if interval.estimate == 1:
        return f"at least {100 * interval.low:.{decimals(100 - 100 * interval.low)}f} %"
    digits = decimals(100 * (interval.high - interval.low) / 2)
    return f"{100 * interval.estimate:.{digits}f} %"
