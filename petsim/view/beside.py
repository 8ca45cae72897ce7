"""Pictures of a page that a process beside this one draws, while this one finds the figures.

It begins before all else, as to load what draws takes about as long as to live the lives. What it
has not begun when this one could draw it is drawn here, and all of it if it is gone.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import BrokenExecutor, Future
from contextlib import contextmanager, suppress
from functools import partial
from typing import TYPE_CHECKING

from petsim.spec.defaults import CHECK_LIMIT
from petsim.study.processes import Processes, processors

if TYPE_CHECKING:
    from petsim.study.compare import Comparison
    from petsim.view.picture import Picture

_shown: list[Comparison] = []
"""In the process beside: the comparison that it draws pictures of."""


class Helper:
    """A process that draws pictures of one comparison after another; it begins at once."""

    def __init__(self, processes: Processes) -> None:
        self._processes = processes
        processes.submit(_load)

    def show(self, result: Comparison) -> None:
        """Hand over what is to be drawn from now on."""
        self._processes.submit(_show, result)

    def begin(self, kind: str) -> Future[Picture | None]:
        """Have a picture drawn after those begun before; None if what it is of is lost."""
        return self._processes.submit(_drawn_of_shown, kind)


@contextmanager
def helper() -> Iterator[Helper | None]:
    """A process that draws, for as long as the context; None where there is only one processor."""
    if processors() == 1:
        yield None
        return
    with Processes(1, CHECK_LIMIT) as processes:
        yield Helper(processes)


def pictures(
    result: Comparison, kinds: Iterable[str], beside: Helper | None
) -> dict[str, Callable[[], Picture]]:
    """Have pictures of a comparison drawn beside this process, if there is a helper.

    Args:
        result: it is drawn here if a Python policy looks after a pet, which may do anything to the
            process that loads it.
        kinds: the pictures, by their names. What they need of lives that are lived again had better
            be found before, or the helper finds it again.
        beside: the helper.

    Returns:
        What waits for each picture, or draws it, by its name.
    """
    if beside is None or any(batch.caretaker.make for batch in result.batches):
        return {kind: partial(_drawn, result, kind) for kind in kinds}
    beside.show(result)
    return {kind: partial(_had, beside.begin(kind), result, kind) for kind in kinds}


def _had(begun: Future[Picture | None], result: Comparison, kind: str) -> Picture:
    """The picture that a helper draws; drawn here if it has not begun it by then, or is gone."""
    picture = None
    if not begun.done():
        _load()
    if not begun.cancel():
        with suppress(BrokenExecutor):
            picture = begun.result()
    return picture or _drawn(result, kind)


def _drawn(result: Comparison, kind: str) -> Picture:
    from petsim.view import plots

    return plots.as_svg(plots.plot(result, kind))


def _load() -> None:
    """Load what draws, and what finds the intervals that are drawn."""
    import scipy.special  # noqa: F401

    from petsim.view import plots  # noqa: F401


def _show(result: Comparison) -> None:
    _shown[:] = [result]


def _drawn_of_shown(kind: str) -> Picture | None:
    """A picture of what is shown; None in a process that came in place of one that is gone."""
    return _drawn(_shown[0], kind) if _shown else None
