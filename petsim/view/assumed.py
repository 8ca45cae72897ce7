"""What is assumed of a pet that is taken over, as its file does not say it."""

from __future__ import annotations

from petsim.spec.model import Model
from petsim.spec.taken_over import TakenOver


def assumed(model: Model) -> str:
    """Return a sentence on what is assumed of a pet; nothing for a birth, or if all is said."""
    rows = model.pet.assumed(model) if isinstance(model, TakenOver) else ()
    if not rows:
        return ""
    each = [f"{row.field}: {row.value} ({row.reason})" for row in rows]
    return f"Left out of the file of {model.id}, and so assumed: {'; '.join(each)}."
