"""What a model's growth graph implies: what comes next, and when at the earliest and latest.

How long a form lasts does not depend on how the pet is looked after, only which form comes next
does; so the bounds of every growth follow from the model alone.
"""

from __future__ import annotations

from petsim.spec.model import Model

Bounds = tuple[int, int | None]


def successors(model: Model) -> dict[str, tuple[str, ...]]:
    """The forms each form can grow into, in the order of its rules."""
    return {
        name: tuple(dict.fromkeys(rule.form for rule in form.grows_into))
        for name, form in model.forms.items()
    }


def in_order_of_growth(model: Model) -> list[str]:
    """All forms, each after every form that can grow into it."""
    nexts, placed = successors(model), [model.root]
    for name in placed:
        for successor in nexts[name]:
            before = [form for form, after in nexts.items() if successor in after]
            if successor not in placed and all(form in placed for form in before):
                placed.append(successor)
    return placed


def reachable(model: Model) -> dict[str, tuple[str, ...]]:
    """All forms each form can still become, in order of growth."""
    nexts, order = successors(model), in_order_of_growth(model)
    found: dict[str, set[str]] = {}
    for name in reversed(order):
        found[name] = set(nexts[name]).union(*(found[after] for after in nexts[name]))
    return {name: tuple(f for f in order if f in found[name]) for name in order}


def entered(model: Model) -> dict[str, Bounds]:
    """The earliest and the latest second at which each form can be taken; None is no limit."""
    nexts = successors(model)
    found: dict[str, Bounds] = {model.root: (0, 0)}
    for name in in_order_of_growth(model):
        shortest, longest = model.forms[name].lasts.bounds()
        early, late = found[name]
        leaves = early + shortest, None if late is None or longest is None else late + longest
        for successor in nexts[name]:
            found[successor] = _union(found.get(successor, leaves), leaves)
    return found


def _union(one: Bounds, other: Bounds) -> Bounds:
    late = None if one[1] is None or other[1] is None else max(one[1], other[1])
    return min(one[0], other[0]), late
