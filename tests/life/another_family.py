"""A distribution that the package does not have, as a row: `python -m tests.life.another_family`.

Registers it before anything else of the package is loaded, and prints as JSON what reading, writing
and the JSON Schema make of its text, and a life of each engine under it.
"""

from __future__ import annotations

import json
import math
import re

from petsim.spec import laws
from petsim.spec.laws import Family, Parameter, unit_exponential

TEXT = "delayed by 40 s then 20 s"


def delayed(u: float, delay: float, mean: float) -> float:
    """An exponential distribution that begins after a delay."""
    return delay + mean * unit_exponential(u)


def delayed_residual(u: float, age: float, delay: float, mean: float) -> float:
    """What is left of it: the rest of the delay, and what comes after it."""
    return delayed(u, max(delay - age, 0.0), mean)


def delayed_survival(age: float, delay: float, mean: float) -> float:
    """The chance that it lasts longer than an age."""
    return math.exp(-max(age - delay, 0.0) / mean)


def register() -> None:
    family = Family(
        "delayed by {delay} then {mean}",
        TEXT,
        (Parameter("delay"), Parameter("mean")),
        delayed,
        delayed_residual,
        delayed_survival,
        bounds=lambda delay, mean: (delay, None),
    )
    laws.FAMILIES[family.name] = family


def main() -> None:
    from petsim import load_model
    from petsim.life.compiled import CompiledEngine
    from petsim.life.reference import ReferenceEngine
    from petsim.life.simulate import load_together
    from petsim.spec.growth import left
    from petsim.spec.schema import json_schema
    from tests.life.worlds import pet, regime

    file = pet(lasts=TEXT, adult_lasts="1 min")
    model, [caretaker] = load_together(file, [regime()])
    schema = json_schema("model")["$defs"]["distribution"]["pattern"]
    engines = [
        engine(model, caretaker, until_outcome=True, horizon=None)
        for engine in (ReferenceEngine, CompiledEngine)
    ]
    result = {
        "written": model.model_dump(by_alias=True)["forms"]["sprig"]["lasts"],
        "read again": load_model(model.model_dump(by_alias=True)) == model,
        "schema": bool(re.search(schema, TEXT)),
        "left": left(model)["sprig"],
        "lives": [[engine.live(3, n, traced=True).summary for n in range(5)] for engine in engines],
    }
    print(json.dumps(result))


if __name__ == "__main__":
    register()
    main()
