"""A pet file to start from, for a model of one's own."""

from __future__ import annotations

import re
from pathlib import Path

from petsim.spec.clocks import Begins
from petsim.spec.growth import in_order_of_growth
from petsim.spec.laws import Distribution
from petsim.spec.model import Form, Model
from petsim.spec.parts import lines_of
from petsim.spec.pet import seconds_asleep
from petsim.spec.quantities import DAY, duration_text

_TEMPLATE = Path(__file__).parent / "starters" / "pet.yaml"
_COLUMN = 32
"""Where remarks begin."""
_REMARKS = {
    "model": "its name, or the path of its file from the folder of this one",
    "at": "weekday and time now, on the pet's own clock",
    "form": "what it looks like",
    "for": "how long it has been so",
    "levels": "of each need",
    "weight": "as its screen shows it",
}


def pet_starter(model: Model, named: str) -> str:
    """Return the text of a pet file that is right for a model, with remarks on what to put in.

    Args:
        model: its first form that is not dormant is the pet's, halfway through the time it lasts
            as often as not, and awake if it ever is at a full hour.
        named: the model's name, or its path from the folder of the pet file.
    """
    order = in_order_of_growth(model)
    name = next((form for form in order if not model.forms[form].dormant), model.root)
    form = model.forms[name]
    said = {
        "model": named,
        "at": str(Begins(model.begins.weekday, _waking_hour(form))),
        "form": name,
        "for": duration_text(_some_age(form.lasts)),
        "levels": {need: rules.full for need, rules in model.needs.items()},
        "weight": max(form.weight_min, model.weight.starts),
    }
    lines = dict(zip(said, re.split(r"\n(?=\S)", lines_of(said).rstrip()), strict=True))
    remarked = {f"{key}_line": _remarked(line, _REMARKS[key]) for key, line in lines.items()}
    return _TEMPLATE.read_text(encoding="utf-8").format(**remarked, need=next(iter(model.needs)))


def _remarked(line: str, remark: str) -> str:
    """Return the line of a key, or lines, with a remark, which is above them if they are long."""
    return f"{line:{_COLUMN}}# {remark}" if len(line) < _COLUMN else f"# {remark}\n{line}"


def _waking_hour(form: Form) -> int:
    """Return the second of day of the first full hour from noon on at which a form is awake."""
    hours = ((DAY // 2 + hour * 3600) % DAY for hour in range(24))
    return next((hour for hour in hours if seconds_asleep(form.sleeps, hour) is None), DAY // 2)


def _some_age(lasts: Distribution) -> int:
    """Return half of the time that a form lasts as often as not, in whole hours or minutes."""
    age = int(lasts.quantile(0.5) / 2)
    unit = next((unit for unit in (3600, 60) if age >= 2 * unit), 1)
    return age // unit * unit
