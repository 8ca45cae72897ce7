"""A picture as it is shown, which needs nothing that drew it."""

from __future__ import annotations

from base64 import b64encode
from dataclasses import dataclass

from markupsafe import Markup


@dataclass(frozen=True)
class Picture:
    """A picture for a page or a notebook, with its words for those who listen.

    title: what it says or asks. words: all other words in it. svg: an SVG file. A notebook shows it
    with the words as alternative text; axes become an image there that says nothing to those who
    can't see it.
    """

    title: str
    words: str
    svg: str

    def __repr__(self) -> str:
        return f"<picture: {self.title}>"

    def _repr_html_(self) -> str:
        source = b64encode(self.svg.encode()).decode()
        form = '<img src="data:image/svg+xml;base64,{}" alt="{}">'
        return str(Markup(form).format(source, f"{self.title} · {self.words}"))
