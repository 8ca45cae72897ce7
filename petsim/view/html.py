"""HTML of what people read: sentences, lists and tables, in which every text is escaped.

It needs neither network, script nor style sheet, and no colours of its own, so that it looks right
in a light and in a dark notebook. What is about the aim says so in words (AIM_MARK), and is bold.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from markupsafe import Markup, escape

from petsim.errors import legible
from petsim.study.measures import AIM_MARK
from petsim.view.tables import unbroken

Cell = str | Sequence[str]
"""A text, or several that are each a line."""

# notebooks set what is in cells to the right
_CELL = Markup('style="text-align:left; vertical-align:top"')
_LABEL = Markup('style="text-align:left; vertical-align:top; font-weight:normal"')
_CAPTION = Markup('style="text-align:left; caption-side:top"')


def text(words: str) -> Markup:
    """Return words as HTML: escaped, and without characters that no page may have."""
    return escape(legible(words, "\n"))


def bold(words: str) -> Markup:
    """Return words in bold."""
    return Markup("<strong>{}</strong>").format(text(words))


def marked(words: str) -> Markup:
    """Return words as HTML, in bold if they are about the aim."""
    return bold(words) if AIM_MARK in words else text(words)


def joined(*parts: Markup) -> Markup:
    """Return parts one below the other."""
    return Markup("\n").join(filter(None, parts))


def answer(words: str) -> Markup:
    """Return a paragraph in bold, the answer that a reader looks for first."""
    return Markup("<p>{}</p>").format(bold(words))


def paragraph(words: str) -> Markup:
    """Return a paragraph; none if there are no words."""
    return Markup("<p>{}</p>").format(marked(words)) if words else Markup()


def listing(items: Iterable[str], *, numbered: bool = False) -> Markup:
    """Return texts as a list; none if there is no text."""
    tag = Markup("ol" if numbered else "ul")
    lines = Markup("\n").join(Markup("<li>{}</li>").format(marked(item)) for item in items)
    return Markup("<{0}>\n{1}\n</{0}>").format(tag, lines) if lines else Markup()


def folded(title: str, *parts: Markup) -> Markup:
    """Return parts that are shown once their title is clicked, or chosen by keyboard."""
    inside = joined(*parts)
    form = "<details>\n<summary>{}</summary>\n{}\n</details>"
    return Markup(form).format(text(title), inside) if inside else Markup()


def table(caption: str, head: Sequence[str], rows: Sequence[Sequence[Cell]]) -> Markup:
    """Return a table, without columns that have nothing in them; none if there is no row.

    Args:
        caption: what the table is of.
        head: of each column.
        rows: each as long as the head, and begun by what it is about.
    """
    if not rows:
        return Markup()
    kept = [0, *(c for c in range(1, len(head)) if any(row[c] for row in rows))]
    heads = [head[c] for c in kept]
    lines = (_row([row[c] for c in kept], heads) for row in rows)
    return Markup(
        "<table>\n<caption {}>{}</caption>\n<thead><tr>{}</tr></thead>\n<tbody>\n{}\n</tbody>\n"
        "</table>"
    ).format(
        *(_CAPTION, text(caption)),
        Markup().join(map(_head, heads)),
        Markup("\n").join(lines),
    )


def _head(words: str) -> Markup:
    return Markup('<th scope="col" {}>{}</th>').format(_CELL, marked(words))


def _row(cells: Sequence[Cell], heads: Sequence[str]) -> Markup:
    first, *others = cells
    about_the_aim = AIM_MARK in first
    shown = Markup().join(
        Markup("<td {}>{}</td>").format(_CELL, _cell(cell, about_the_aim or AIM_MARK in head))
        for cell, head in zip(others, heads[1:], strict=True)
    )
    label = Markup('<th scope="row" {}>{}</th>').format(_LABEL, _cell(first, about_the_aim))
    return Markup("<tr>{}{}</tr>").format(label, shown)


def _cell(cell: Cell, about_the_aim: bool) -> Markup:
    return Markup("<br>").join(
        bold(unbroken(line)) if about_the_aim or AIM_MARK in line else text(unbroken(line))
        for line in ([cell] if isinstance(cell, str) else cell)
    )
