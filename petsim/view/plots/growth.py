"""The growth of a model as a tree: forms as boxes, and at each the rule that leads to it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, NamedTuple

from matplotlib import rcParams
from matplotlib.axes import Axes
from matplotlib.text import Text

from petsim.spec.growth import successors
from petsim.spec.model import Model
from petsim.study.batch import Batch
from petsim.study.compare import Comparison
from petsim.study.growing import Way, grown
from petsim.study.stats import Interval, wilson
from petsim.view.numbers import per_cent, share
from petsim.view.plots.colours import BANDS, LEVEL, Look, of_outcomes
from petsim.view.plots.layout import finish, wrapped
from petsim.view.plots.sheet import GREY, LINE, WIDTH, axes, figure_of, short, styled
from petsim.view.show import conditions_text
from petsim.view.tables import counted

ROOM = 0.97 * 72 * WIDTH
"""Points across the picture."""
INDENT = 20
"""Points that a form stands right of the one before it."""
DEEPEST = 0.4 * ROOM
"""Points that the last form stands right of the first, at most."""
TRUNK = 8
"""Points from the left of a form to the line that leads down from it."""
AFTER = 9
"""Points from one thing to the next on a line."""
PAD = 0.22
"""Of a letter's size, the room around the name in a box."""
APART = 0.35
"""Lines left free between a form and the next."""
THINNEST, THICKEST = 1.2, 10.0
"""Points that a way is wide which no life, or every life, took."""
LONGEST_NAME = 16


class Twig(NamedTuple):
    """A form in the tree.

    form: with those that follow it come what may, if none of these has a choice. way: by which it
    is come to; None at the root. rule: in words, if there is a choice. depth: ways from the root.
    is_again: whether it stood in the tree before, with what follows it.
    """

    forms: tuple[str, ...]
    way: Way | None
    rule: str
    depth: int
    is_again: bool


class Place(NamedTuple):
    """Where a twig is drawn: its left end in points, and the heights of its box and its end."""

    x: float
    y: float
    end: float


@styled
def growth(model: Model, result: Batch | Comparison | None = None, ax: Axes | None = None) -> Axes:
    """How a model grows: its forms from the top, those that one can become indented below it.

    Below the box of a form are its stage and the rule that leads to it. A form that several lead to
    stands below each of them. With a result each way has the share of lives that went it, with its
    95 % Wilson interval, and is as wide as that.

    Args:
        model: the pet.
        result: lives of it, if their shares are to be drawn; of a comparison, those under its first
            regime.
        ax: what to draw on; by default a picture of its own.
    """
    batch = result.batches[0] if isinstance(result, Comparison) else result
    aim = result.aim.main if isinstance(result, Comparison) else model.aim
    twigs = list(_twigs(model))
    ax = axes(ax, 2.0 + LINE * sum(2.1 + APART for _ in twigs))
    drawing = _Drawing(ax, model, aim, {} if batch is None else _shares(batch))
    bottom = drawing.draw(twigs)
    # an axis that is off would take the small print with it
    ax.set(xticks=[], yticks=[])
    ax.spines[:].set_visible(False)
    ax.set_xlim(0, ROOM)
    ax.set_ylim(bottom, -0.6)
    _set_height(ax, bottom + 0.6)
    return finish(ax, _title(model, aim, batch), _small(model, batch))


def _twigs(model: Model) -> Iterator[Twig]:
    """The forms in the order they are drawn in, each before those it can become."""
    nexts, drawn = successors(model), set[str]()

    def grow(form: str, way: Way | None, rule: str, depth: int) -> Iterator[Twig]:
        if form in drawn:
            yield Twig((form,), way, rule, depth, is_again=True)
            return
        drawn.add(form)
        line = _line(form, nexts)
        is_end = form in model.outcome_forms and not nexts[line[-1]]
        yield Twig(line if is_end else (form,), way, rule, depth, is_again=False)
        if not is_end:
            for after, words in _rules(model, form).items():
                yield from grow(after, (form, after), words, depth + 1)

    yield from grow(model.root, None, "", 0)


def _rules(model: Model, form: str) -> dict[str, str]:
    """The rules of a form in words, by the form that they lead to; empty if there is no choice."""
    rules = model.forms[form].grows_into
    words: dict[str, list[str]] = {rule.form: [] for rule in rules}
    for rule in rules:
        words[rule.form].append(conditions_text(rule.conditions))
    return {after: "; or ".join(own) if len(words) > 1 else "" for after, own in words.items()}


def _line(form: str, nexts: Mapping[str, tuple[str, ...]]) -> tuple[str, ...]:
    """A form, and those that follow it as long as there is no choice."""
    line = [form]
    while len(nexts[line[-1]]) == 1:
        line.append(nexts[line[-1]][0])
    return tuple(line)


def _shares(batch: Batch) -> dict[Way, Interval]:
    return {way: wilson(lives, len(batch)) for way, lives in grown(batch).items()}


class _Drawing:
    """Draws twigs one below the other, and remembers where each was put.

    shares: of all lives, those that went each way; empty if there are no lives.
    """

    def __init__(self, ax: Axes, model: Model, aim: str, shares: Mapping[Way, Interval]) -> None:
        self._ax, self._model, self._aim, self._shares = ax, model, aim, shares
        self._looks, self._indent = of_outcomes(model, aim), float(INDENT)

    def draw(self, twigs: Sequence[Twig]) -> float:
        """Draw twigs, and return where they end, in lines from the top."""
        self._indent = min(INDENT, DEEPEST / max(1, *(twig.depth for twig in twigs)))
        y, places = 0.0, list[Place]()
        for twig in twigs:
            places.append(self._draw_twig(twig, y))
            y = places[-1].end + APART
        self._draw_ways(twigs, places)
        return y

    def _draw_twig(self, twig: Twig, y: float) -> Place:
        """Draw a form and what is said of it, from height y on."""
        left = x = self._indent * twig.depth
        for number, form in enumerate(twig.forms):
            if number:
                x = self._write(x, y, "\N{RIGHTWARDS ARROW}", color=GREY)
            x = self._draw_box(x, y, form)
            if form == self._aim:
                x = self._write(x, y, "the aim", fontweight="bold")
        below, end = left + self._indent, y
        stages = ", then ".join(self._model.forms[form].stage for form in twig.forms)
        if twig.way in self._shares and twig.way is not None:
            words = share(self._shares[twig.way])
            if x + self._width(words) > ROOM:
                x, end = below, y + 1
            x = self._write(x, end, words)
        if not twig.rule and x + self._width(stages) <= ROOM:
            self._write(x, end, stages, color=GREY)
            return Place(left, y, end + 1)
        words = f"{stages}: {twig.rule}" if twig.rule else stages
        return Place(left, y, end + 0.6 + self._write_lines(below, end + 0.6, words))

    def _write_lines(self, x: float, y: float, words: str) -> float:
        """Write words in as many lines as they take, and return how high these are."""
        text = self._ax.text(x, y, "", va="top", color=GREY, in_layout=False)
        wrapped(text, words, (ROOM - x) * figure_of(self._ax).dpi / 72)
        return 1.5 + 1.05 * text.get_text().count("\n")

    def _draw_box(self, x: float, y: float, form: str) -> float:
        """Draw a form, and return where what follows it begins."""
        fill = self._looks.get(form, Look(BANDS[1], "", "black"))
        edge = "black" if fill.ink == "black" else fill.colour
        box = {"boxstyle": f"round,pad={PAD}", "facecolor": fill.colour, "edgecolor": edge}
        pad = PAD * float(rcParams["font.size"])
        look = {"color": fill.ink, "fontweight": "bold" if form == self._aim else "normal"}
        name = short(form, LONGEST_NAME)
        return pad + self._write(x + pad, y, name, bbox=box, gid=f"form {form}", **look)

    def _write(self, x: float, y: float, words: str, **look: Any) -> float:
        """Write words from a place on, and return where what follows them begins."""
        self._ax.text(x, y, words, va="center", in_layout=False, **look)
        return x + self._width(words, **look) + AFTER

    def _width(self, words: str, **look: Any) -> float:
        """How wide words are, in points."""
        probe = self._ax.text(0, 0, words, fontweight=look.get("fontweight"))
        width = float(Text.get_window_extent(probe).width)
        probe.remove()
        points: float = width * 72 / figure_of(self._ax).dpi
        return points

    def _draw_ways(self, twigs: Sequence[Twig], places: Sequence[Place]) -> None:
        """Draw the way to each form, down from the one before it and then right."""
        origins = {
            twig.forms[0]: place
            for twig, place in zip(twigs, places, strict=True)
            if not twig.is_again
        }
        left = {form: [t.way for t in twigs if t.way and t.way[0] == form] for form in origins}
        reached = {form: place.y for form, place in origins.items()}
        for twig, place in zip(twigs, places, strict=True):
            if twig.way is None:
                continue
            origin = twig.way[0]
            x = origins[origin].x + TRUNK
            flow = sum(self._shares[way].estimate for way in left[origin] if self._shares)
            self._draw_line([x, x], [reached[origin], place.y], flow)
            own = self._shares[twig.way].estimate if self._shares else 0.0
            self._draw_line(
                [x, place.x], [place.y, place.y], own, gid=f"way {' to '.join(twig.way)}"
            )
            reached[origin] = place.y
            left[origin].remove(twig.way)

    def _draw_line(self, x: list[float], y: list[float], flow: float, gid: str = "trunk") -> None:
        width = THINNEST + (THICKEST - THINNEST) * flow
        self._ax.plot(
            x, y, color=LEVEL, linewidth=width, zorder=0.5, solid_capstyle="projecting", gid=gid
        )


def _set_height(ax: Axes, lines: float) -> None:
    """Make a picture as high as its lines, a title and the small print take."""
    figure = figure_of(ax)
    if len(figure.axes) == 1:
        figure.set_figheight(LINE * lines + 1.9)


def _title(model: Model, aim: str, batch: Batch | None) -> str:
    if batch is None:
        return f"What does {model.id} become, and what does {aim} take?"
    under, odds = short(batch.regime, 30), batch.share(aim)
    if odds.estimate == 0:
        return f"Under {under} none of {counted(len(batch))} becomes {aim}"
    return f"Under {under} {per_cent(odds)} become {aim}"


def _small(model: Model, batch: Batch | None) -> str:
    rules = "Of the rules below a form the first that holds decides."
    if batch is None:
        return f"{model.id}. {rules} Blue: the aim."
    return (
        f"{counted(len(batch))}, {model.id}, seed {batch.seed}. {rules} Per cent and width: the "
        "share of all lives that went this way, with Wilson's 95 % interval. Blue: the aim."
    )
