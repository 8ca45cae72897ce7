"""How far a sweep is that is not finished, in a sentence, for text, pages and pictures alike."""

from __future__ import annotations

from petsim.study.results import Sweep
from petsim.view.tables import counted


def so_far(swept: Sweep) -> str:
    """Return what an unfinished sweep has of its cells and lives; nothing of a finished one."""
    with swept.snapshot():
        if swept.finished:
            return ""
        tried = [cell for cell in swept.cells.index if cell not in swept.failed]
        lives, wanted = swept.lives_by_cell, swept.design.lives
    begun = [lives[cell] for cell in tried if lives[cell]]
    if not begun:
        return "Not finished: nothing so far."
    cells = f"{len(begun)} of {counted(len(tried), 'cell')}"
    if min(begun) == wanted:
        return f"Not finished: {cells} so far."
    fewest, most = min(begun), max(begun)
    each = f"{most}" if fewest == most else f"{fewest} to {most}"
    each += f" of {wanted} lives a cell"
    return f"Not finished: {each if len(begun) == len(tried) else f'{cells}, {each}'} so far."
