"""The manual as it is read in a terminal."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from textwrap import fill

from petsim.spec.names import folder

TOPICS = {
    "models": folder("models"),
    "regimes": folder("regimes"),
    "log": Path(__file__).parents[1] / "life" / "log",
    "fitting": Path(__file__).parents[1] / "evidence",
    "deciding": Path(__file__).parents[1] / "advice",
}
"""The topics of the manual, and where the page of each is."""


def manual(topic: str) -> str:
    """Return the page of a topic: Markdown, without the comments that are for tests of it."""
    text = (TOPICS[topic] / "README.md").read_text(encoding="utf-8")
    return re.sub(r"^<!--.*?-->\n", "", text, flags=re.MULTILINE).rstrip()


def title(topic: str) -> str:
    """Return what a topic is about: the heading of its page."""
    first, *_ = manual(topic).splitlines()
    return first.removeprefix("# ")


def wrapped(page: str, width: int) -> Iterator[str]:
    """Yield the blocks of a page, their prose broken anew; code, tables, headings as they are."""
    for block in _blocks(page):
        if block.startswith(("#", "|", "```", "    ")):
            yield block
        else:
            yield "\n".join(_filled(item, width) for item in re.split(r"\n(?=- |\d+\. )", block))


def _blocks(page: str) -> Iterator[str]:
    for part in re.split(r"(```.*?```)", page, flags=re.DOTALL):
        if part.startswith("```"):
            yield part
        else:
            yield from (block for block in part.strip("\n").split("\n\n") if block)


def _filled(item: str, width: int) -> str:
    mark = re.match(r"- |\d+\. |", item)
    assert mark is not None
    indent = " " * mark.end()
    return fill(
        " ".join(item.split()),
        width,
        subsequent_indent=indent,
        break_long_words=False,
        break_on_hyphens=False,
    )
