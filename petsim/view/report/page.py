"""A page in HTML, without network or script, for a phone, a screen or paper."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator
from importlib.resources import files
from pathlib import Path

from markupsafe import Markup, escape

from petsim.errors import legible
from petsim.study.writing import written_whole
from petsim.view import (
    html,
)
from petsim.view.picture import Picture
from petsim.view.report.parts import (
    Report,
    Section,
)
from petsim.view.tables import unbroken

LETTER = r"DejaVu[\w-]+"
"""The name of a letter's outline."""


def page(report: Report) -> str:
    """The page of a report."""
    from jinja2 import Environment, StrictUndefined

    # what petsim itself makes is no text but markup
    environment = Environment(
        autoescape=True,
        finalize=_as_text,
        undefined=StrictUndefined,
        trim_blocks=True,
        keep_trailing_newline=True,
    )
    return environment.from_string(_beside_this("page.html.j2")).render(
        report=report,
        sections=[*zip(report.sections, _inlined(report.sections), strict=True)],
        assumed=report.assumed,
        cell=_cell,
        style=Markup(_beside_this("page.css")),
    )


def write(report: Report, path: Path) -> None:
    """Write a report's page, whole or not at all.

    Raises:
        ArgumentError: it can't be written.
    """
    with written_whole(path) as draft:
        draft.write_text(page(report), encoding="utf-8")


def _cell(words: str) -> Markup:
    """A figure of a table, which may be broken only before its interval."""
    return html.text(unbroken(words))


def _beside_this(name: str) -> str:
    return files("petsim.view.report").joinpath(name).read_text(encoding="utf-8")


def _as_text(value: object) -> object:
    """What a page shows of a value: a text without characters that no page may have."""
    return value if isinstance(value, Markup) or value is None else legible(str(value), "\n")


def _inlined(sections: Iterable[Section]) -> Iterator[list[Markup]]:
    """The SVG files of the pictures of sections as parts of a page.

    Their names become the page's own, but for those of letters, whose outlines the page has once.
    The alternative text of each is its message, and where its figures are.
    """
    letters: set[str] = set()
    number = 0
    for section in sections:
        inlined = []
        for picture in section.pictures:
            svg = picture.svg[picture.svg.index("<svg") :]
            svg = re.sub(rf'(\bid="|url\(#|href="#)(?!{LETTER})', rf"\g<1>picture{number}-", svg)
            svg = re.sub(rf'<path id="({LETTER})[^>]*/>\s*', _unless_in(letters), svg)
            # parts that are alike bear one name, which a page has once
            svg = re.sub(r' id="([^"]*)"', _unless_in(set()), svg)
            label = escape(legible(_alternative(picture, section), "\n"))
            inlined.append(Markup(svg.replace("<svg", f'<svg role="img" aria-label="{label}"', 1)))
            number += 1
        yield inlined


def _alternative(picture: Picture, section: Section) -> str:
    """The alternative text of a picture: its message, and the table that has its figures."""
    if not section.tables:
        return f"{picture.title}: {picture.words}"
    return f"{picture.title} (the figures are in the table \u201c{section.tables[0].caption}\u201d)"


def _unless_in(known: set[str]) -> Callable[[re.Match[str]], str]:
    """A replacement that keeps the first match of each first group, and drops the later ones."""

    def kept(match: re.Match[str]) -> str:
        first = match[1] not in known
        known.add(match[1])
        return match[0] if first else ""

    return kept
