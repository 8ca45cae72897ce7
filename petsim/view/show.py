"""What was understood of a file, every default filled in; and what there is to choose from."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

from petsim._version import __version__
from petsim.errors import legible
from petsim.life.check import Finding
from petsim.life.log.reader import is_log, read
from petsim.life.policy_files import PolicyInFile, load_policy
from petsim.spec.eyes import LevelEye
from petsim.spec.growth import Bounds, entered, in_order_of_growth, left, reachable, successors
from petsim.spec.library import kind, load, load_model, load_regime, model_of
from petsim.spec.model import OTHERWISE, Conditions, Model, Stage
from petsim.spec.names import shipped
from petsim.spec.parts import as_yaml
from petsim.spec.pet import Pet
from petsim.spec.quantities import DAY, Bound
from petsim.spec.regime import Regime
from petsim.spec.study import Study, load_study
from petsim.spec.taken_over import TakenOver
from petsim.study.results import open_sweep
from petsim.view import log_text, sweep_text
from petsim.view.tables import table

_READ_RIGHT = LevelEye.model_validate({"misreads": "0%"})


def show_file(source: str, width: int = 80) -> str:
    """Return what was understood of a file of any kind, what a sweep found, or what is in a log.

    Raises:
        SpecError, ArgumentError: it can't be read; with everything that is wrong with it.
    """
    if is_log(source):
        return log_text.summary(read(source))
    what = kind(source)
    if what == "sweep":
        sweep = open_sweep(source)
        with sweep.snapshot():
            return sweep_text.shown(sweep, width)
    if what == "policy":
        return show_policy(load_policy(source))
    return show(load_study(Path(source)) if what == "study" else load(source))


def show_policy(policy: PolicyInFile) -> str:
    """Return the regime that a policy works with, defaults filled in, but not the routine."""
    regime = policy.regime
    head = (
        f"# The policy {policy.name}. Its checks, eyes, hands and power are those of {regime.id},\n"
        "# defaults filled in; a key that is not here is none or no."
    )
    shown = _regime_in_full(regime.model_copy(update={"routine": ()}))
    return f"{head}\n{as_yaml(shown, complete=True)}".rstrip()


def show(file: Model | Regime | Pet | Study) -> str:
    """Return a file with its defaults filled in, and a model's growth as remarks.

    The text is a file that loads as the same model, regime, pet or study.
    """
    if isinstance(file, Pet | TakenOver):
        return _pet(file if isinstance(file, Pet) else file.pet)
    what = type(file).__name__.lower()
    head = f"# The {what} {file.id}, defaults filled in; a key that is not here is none or no."
    if isinstance(file, Study):
        return f"{head}\n{as_yaml(file)}".rstrip()
    if isinstance(file, Regime):
        return f"{head}\n{as_yaml(_regime_in_full(file), complete=True)}".rstrip()
    remarks = [f"# {line}".rstrip() for line in "\n\n".join(_growth(file)).splitlines()]
    return "\n".join((head, as_yaml(_model_in_full(file), complete=True), *remarks))


def _pet(pet: Pet) -> str:
    """The pet as its file says it, and as remarks what the file does not say and is assumed."""
    head = f"# The pet {pet.id}, in the middle of its life."
    rows = pet.assumed(model_of(pet))
    if not rows:
        return f"{head}\n{as_yaml(pet)}".rstrip()
    assumed = table(("", "", ""), [tuple(row) for row in rows], "#   ")
    return f"{head}\n{as_yaml(pet)}\n# Left out of the file, and so assumed:\n{assumed}"


def _model_in_full(model: Model) -> Model:
    """The model, with `never` for every need whose deadlines are not named."""
    stages = {name: _stage_in_full(stage, model) for name, stage in model.stages.items()}
    forms = {name: _stage_in_full(form, model) for name, form in model.forms.items()}
    return model.model_copy(update={"stages": stages, "forms": forms})


def _stage_in_full(stage: Stage, model: Model) -> Stage:
    if stage.dormant:
        return stage
    deadlines = {
        key: {need: getattr(stage, key).get(need) for need in model.needs}
        for key in ("grace", "again_after", "fatal_after")
    }
    return stage.model_copy(update=deadlines)


def _regime_in_full(regime: Regime) -> Regime:
    """The regime, with what its actions cost and how it reads its needs where that is not named."""
    actions = dict.fromkeys(step.do for step in regime.routine if step.do)
    needs = dict.fromkeys(need for step in regime.routine for need in step.needs)
    hands = {action: regime.hands.of(action) for action in actions}
    eyes = {need: regime.eyes.levels.get(need, _READ_RIGHT) for need in needs}
    return regime.model_copy(
        update={
            "hands": regime.hands.model_copy(update=hands),
            "eyes": regime.eyes.model_copy(update=eyes),
        }
    )


def _growth(model: Model) -> Iterator[str]:
    """The growth graph in three tables."""
    order, nexts, later = in_order_of_growth(model), successors(model), reachable(model)
    begins, ends = entered(model), left(model)
    yield "Growth: when each form begins and ends, counted from birth\n" + table(
        ("form", "stage", "begins", "ends"),
        [(form, model.forms[form].stage, span(begins[form]), span(ends[form])) for form in order],
        "  ",
    )
    yield "Growth: what each form becomes, by the first rule that holds\n" + table(
        ("form", "becomes", "if"),
        [
            (form if place == 0 else "", *rule)
            for form in order
            for place, rule in enumerate(_rules(model, form))
        ],
        "  ",
    )
    yield (
        "What has to be told apart: the forms that can come next, and all that still can\n"
        + table(
            ("form", "next", "ever"),
            [(form, _listed(nexts[form]), _listed(later[form])) for form in order],
            "  ",
        )
    )


def _rules(model: Model, form: str) -> list[tuple[str, str]]:
    rules = model.forms[form].grows_into
    if len(rules) <= 1:
        return [(rules[0].form if rules else "nothing, dies of old age", "")]
    return [(rule.form, conditions_text(rule.conditions)) for rule in rules]


def conditions_text(conditions: Conditions) -> str:
    """Return the conditions of a rule of growth, all of which must hold, in words."""
    texts = [
        *_misses_text("in form", conditions.misses_in_form),
        *_misses_text("in life", conditions.misses_in_life),
        *(
            f"{key} {comparison}"
            for key in ("discipline", "weight")
            if (comparison := getattr(conditions, key)) is not None
        ),
    ]
    return ", ".join(texts) or OTHERWISE


def _misses_text(where: str, comparisons: Mapping[str, Bound]) -> Iterator[str]:
    for cause, comparison in comparisons.items():
        of_cause = "" if cause == "all" else f"of {cause} "
        yield f"misses {of_cause}{where} {comparison}"


def span(bounds: Bounds) -> str:
    """Return the times between which something can be, counted from birth."""
    earliest, latest = elapsed(bounds.earliest), bounds.latest
    if latest == bounds.earliest:
        return earliest
    return f"{earliest} to {'any time' if latest is None else elapsed(latest)}"


def elapsed(seconds: int) -> str:
    """Return a time since birth, in seconds, as days, hours and so on: `1 day 15 h 25 min`."""
    days, rest = divmod(seconds, DAY)
    parts = (
        (days, "day" if days == 1 else "days"),
        (rest // 3600, "h"),
        (rest % 3600 // 60, "min"),
        (rest % 60, "s"),
    )
    return " ".join(f"{count} {unit}" for count, unit in parts if count) or "birth"


def _listed(forms: tuple[str, ...]) -> str:
    return ", ".join(forms) or "none"


def listing() -> str:
    """Return the shipped models and regimes, each with what it says about itself."""
    models = [(name, load_model(name).about) for name in shipped("models")]
    regimes = [(name, load_regime(name).about) for name in shipped("regimes")]
    return "\n".join(
        ("Models", table(("", ""), models, "  "), "", "Regimes", table(("", ""), regimes, "  "))
    )


def findings_as_dict(findings: Iterable[Finding]) -> dict[str, Any]:
    """Return what came of checking files as plain data, as `petsim check --json` prints it."""
    return {
        "petsim": __version__,
        "files": [
            finding._asdict() | {"log": finding.log and log_text.as_dict(finding.log)}
            for finding in findings
        ],
    }


def passed(finding: Finding) -> str:
    """Return a line that says that a file is right, with notes on it, or what is in a log."""
    if finding.log is not None:
        return log_text.summary(finding.log)
    head = f"{legible(finding.source)}: ok, a {finding.kind}"
    if finding.models:
        head += f" that goes with {', '.join(finding.models)}"
    elif finding.kind not in ("model", "sweep"):
        head += " by itself, as no model could be read"
    return "\n".join((head, *(f"  note: {note}" for note in finding.notes)))
