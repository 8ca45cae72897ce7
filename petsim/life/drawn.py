"""What results have of their pictures: a method that draws them."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, ClassVar

from petsim.spec.shown import Shown


class Drawn(Shown):
    """A result that has pictures."""

    draw: ClassVar[Callable[..., Any]]
    """Draws a result. Pictures are made of results, not results of pictures, so the package, which
    knows both, puts the function here."""

    def plot(self, kind: str | None = None, *, ax: Any = None, **how: Any) -> Any:
        """Draw it, as `petsim.plot(result, ...)` does.

        Args:
            kind: which of its pictures, such as "odds"; the usual one by default.
            ax: Matplotlib's axes to draw on; by default a picture of its own.
            how: what the function of `petsim.view.plots` takes besides.

        Returns:
            The axes.

        Raises:
            ArgumentError: there is no such picture of such a result, or it can't be drawn.
        """
        return type(self).draw(self, kind, ax=ax, **how)
