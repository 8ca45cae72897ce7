"""What files and results have for people: their text, and their tables in a notebook."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, ClassVar


class Shown:
    """A file or a result that `print` writes as the terminal does, and a notebook shows as tables.

    Its `repr` is one line.
    """

    as_text: ClassVar[Callable[[Any], str]]
    """Returns the text of one of these. What shows them is made for them, and not they for it, so
    the package, which knows both, puts the function here."""

    as_html: ClassVar[Callable[[Any], str]]
    """Returns the HTML of one of these, put here likewise."""

    def __str__(self) -> str:
        return type(self).as_text(self)

    def _repr_html_(self) -> str:
        return type(self).as_html(self)
