"""What was understood of a file, every default filled in; and what there is to choose from."""

from __future__ import annotations

from collections.abc import Iterator

from petsim.spec.document import as_yaml
from petsim.spec.growth import entered, in_order_of_growth, reachable, successors
from petsim.spec.library import load_model, load_regime, shipped
from petsim.spec.model import Model
from petsim.spec.quantities import DAY
from petsim.spec.regime import Regime
from petsim.view.text import table


def show(resolved: Model | Regime) -> str:
    """A model or regime as a file with nothing left out, and a model's growth."""
    if isinstance(resolved, Regime):
        return as_yaml(resolved)
    return as_yaml(resolved) + "\n" + "\n".join(_growth(resolved))


def _growth(model: Model) -> Iterator[str]:
    times, nexts, later = entered(model), successors(model), reachable(model)
    order = in_order_of_growth(model)
    yield "# Growth: when each form can be taken, from the start of the life"
    rows = [
        (name, model.forms[name].stage, elapsed(times[name][0]), elapsed(times[name][1]))
        for name in order
    ]
    yield table(("form", "stage", "earliest", "latest"), rows, "#   ")
    yield "#"
    yield "# What a form can grow into: the first rule that holds"
    rules = [
        (name if place == 0 else "", rule.form, str(rule.conditions))
        for name in order
        for place, rule in enumerate(model.forms[name].grows_into)
    ]
    yield table(("form", "into", "if"), rules, "#   ")
    yield "#"
    yield "# What has to be told apart: the forms that can come next, and all that can still come"
    ahead = [
        (name, ", ".join(nexts[name]) or "none", ", ".join(later[name]) or "none")
        for name in order
    ]
    yield table(("form", "next", "later"), ahead, "#   ")


def elapsed(seconds: int | None) -> str:
    """A time since the start, to the minute: `1 d 15 h 25 min`; `any time` without a limit."""
    if seconds is None:
        return "no limit"
    days, rest = divmod(seconds, DAY)
    parts = ((days, "d"), (rest // 3600, "h"), (rest % 3600 // 60, "min"), (rest % 60, "s"))
    return " ".join(f"{count} {unit}" for count, unit in parts if count) or "0 s"


def listing() -> str:
    """The shipped models and regimes, each with what it says about itself."""
    models = [(name, load_model(name).about) for name in shipped("models")]
    regimes = [(name, load_regime(name).about) for name in shipped("regimes")]
    return "\n".join(
        ("Models", table(("", ""), models, "  "), "", "Regimes", table(("", ""), regimes, "  "))
    )
