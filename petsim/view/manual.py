"""The manual as it is read in a terminal."""

from __future__ import annotations

import re

from petsim.spec.names import Shelf, folder

TOPICS: dict[str, Shelf] = {"models": "models", "regimes": "regimes"}
"""The topics of the manual, and where the page of each is."""


def manual(topic: str) -> str:
    """Return the page of a topic: Markdown, without the comments that are for tests of it."""
    text = (folder(TOPICS[topic]) / "README.md").read_text(encoding="utf-8")
    return re.sub(r"^<!--.*?-->\n", "", text, flags=re.MULTILINE).rstrip()


def title(topic: str) -> str:
    """Return what a topic is about: the heading of its page."""
    first, *_ = manual(topic).splitlines()
    return first.removeprefix("# ")
