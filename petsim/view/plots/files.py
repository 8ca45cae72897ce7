"""Pictures as files, as SVG for a page, and for a notebook: the same bytes each time, and few.

Each says in words what it shows: a file in its metadata, a page and a notebook for listeners.
"""

from __future__ import annotations

import re
from io import StringIO
from pathlib import Path

import numpy as np
from markupsafe import escape
from matplotlib import pyplot as plt
from matplotlib.axes import Axes

from petsim.view.picture import Picture
from petsim.view.plots.colours import ASLEEP, BANDS, BEST, IN_VAIN
from petsim.view.plots.sheet import GREY, SHADE, STYLE, figure_of
from petsim.view.plots.spoken import in_words

SVG_DPI = 72
"""Pixels of an inch in matplotlib's SVG files, whatever those of the figure."""
INKS = {
    "#ffffff": "paper",
    "#000000": "ink",
    GREY: "faint",
    "#dddddd": "line",
    SHADE: "shade",
    BEST: "best",
    BANDS[0]: "band-a",
    BANDS[1]: "band-b",
    ASLEEP: "asleep",
    IN_VAIN: "in-vain",
}
"""What a page calls the colours that turn in the dark; all others are of things, and stay."""


def save(ax: Axes, path: str | Path) -> None:
    """Write a picture to a file of the kind its name ends in, the same bytes each time.

    The file has the words of the picture, too: an SVG file as its title and description, a PNG file
    as the texts `Title` and `Description`, a PDF file as its title and subject.

    Args:
        ax: axes of the picture, as a drawing function returns them.
        path: of the file, such as `odds.svg` or `odds.png`.
    """
    path = Path(path)
    with plt.style.context(STYLE):
        figure_of(ax).draw_without_rendering()
        title, words = in_words(figure_of(ax))
        metadata = {
            ".svg": {"Date": None},
            ".png": {"Title": title, "Description": words},
            ".pdf": {"CreationDate": None, "Title": title, "Subject": words},
        }
        figure_of(ax).savefig(path, metadata=metadata.get(path.suffix))
    if path.suffix == ".svg":
        path.write_text(_described(path.read_text("utf-8"), title, words), "utf-8", newline="\n")


def _described(svg: str, title: str, words: str) -> str:
    """An SVG file that says what it shows, as the first of what is in it."""
    end = svg.index(">", svg.index("<svg"))
    named = ' role="img" aria-labelledby="title words"'
    texts = f'<title id="title">{escape(title)}</title>\n <desc id="words">{escape(words)}</desc>'
    return f"{svg[:end]}{named}>\n {texts}{svg[end + 1 :]}"


def as_svg(ax: Axes) -> Picture:
    """Return a picture as SVG with the words in it; the axes are closed then.

    Its neutral colours are a page's variables, such as `--ink`, where the page has these.

    Args:
        ax: axes of the picture, as `plot` returns them.
    """
    figure = figure_of(ax)
    # all stands in its place already, and savefig draws twice where there is a layout engine
    with plt.rc_context({"figure.autolayout": False, "figure.constrained_layout.use": False}):
        figure.set_layout_engine(None)
    drawn = StringIO()
    # letters as outlines, as a reader's own fonts may be wider than ours
    with plt.style.context(STYLE), plt.rc_context({"svg.fonttype": "path"}):
        figure.savefig(drawn, format="svg", metadata={"Date": None})
        # texts stand where they were drawn only at the resolution at which they were
        dpi, figure.dpi = figure.dpi, SVG_DPI
        title, words = in_words(figure)
        figure.dpi = dpi
    plt.close(figure)
    svg = re.sub(r'(?<=: |=")#[0-9a-f]{6}\b', _as_ink, slim(drawn.getvalue()))
    return Picture(title, words, svg)


def _as_ink(colour: re.Match[str]) -> str:
    """A colour as a page's variable, if it is one of INKS."""
    ink = INKS.get(colour[0])
    return colour[0] if ink is None else f"var(--{ink}, {colour[0]})"


def slim(svg: str) -> str:
    """An SVG file in fewer bytes, which looks the same: places are to a hundredth of a point."""
    svg = re.sub(r'(?<= d=")[^"]*', lambda path: _slim_path(path[0]), svg)
    svg = svg.replace("xlink:href", "href")
    # but not a scale, which would move all that it is of
    return re.sub(
        r"(?<![\d.])(?<!scale\()-?\d+\.\d{3,}", lambda x: f"{round(float(x[0]), 2):g}", svg
    )


def _slim_path(path: str) -> str:
    """A path of an SVG file without the points that lie on the straight way to the next."""
    if re.search("[^MLz\\s\\d.-]", path):
        return " ".join(path.split())
    return "".join(map(_slim_line, re.findall("M[^M]*", path)))


def _slim_line(part: str) -> str:
    """Part of a path, drawn in one go: straight lines from corner to corner.

    Points on the way are left out, and lines along an axis are written as such.
    """
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
    line = f"M{x / 100:g} {y / 100:g}"
    for to_x, to_y in rest:
        if to_x == x:
            line += f"V{to_y / 100:g}"
        else:
            line += f"H{to_x / 100:g}" if to_y == y else f"L{to_x / 100:g} {to_y / 100:g}"
        x, y = to_x, to_y
    return line + "z" * part.rstrip().endswith("z")
