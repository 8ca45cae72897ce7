"""Measure how well fits tell what made a log: `python -m tests.bench.evidence`, hours.

Lives are simulated in a world whose truth is known, their logs are fitted from a guess that is off
in every law, error and chance, and each estimate is held against the truth. What was measured is
kept a line a fit in a file, so that a run can be stopped, and goes on where it was:

    python -m tests.bench.evidence lives --world former --fits 200 --out former.jsonl
    python -m tests.bench.evidence table former.jsonl

The worlds: `former` is tests/evidence/worlds, for which the targets were set; `calling` the same
with a rig that looks whether the pet calls; `twice` the same with a rig that looks at the waste
twice; `shipped` is the default pet under the shipped camera rig.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
import time
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
from scipy.stats import beta

import petsim
from petsim.evidence.estimate import Estimate
from petsim.evidence.fit import Fit, fit_logs
from petsim.evidence.means import mean_of, scaled, shape_of
from petsim.evidence.waits import shape_like
from petsim.life.log.simulated import logged
from petsim.spec.document import Document
from petsim.spec.laws import Distribution, distribution
from petsim.spec.model import Model
from petsim.spec.model_checks import read_model
from petsim.spec.quantities import chance, rate
from petsim.spec.regime import Regime
from petsim.spec.regime_checks import read_regime
from petsim.spec.variation import path_steps
from petsim.study.changes import changed
from tests.evidence.naive import naive_mean

WORLDS = Path(__file__).parents[1] / "evidence" / "worlds"
SEED = 20_261_130
"""The seed of all lives and guesses; lives of different worlds have different numbers."""
OFF = 0.3
"""The standard deviation of the logarithm by which a guess's means are off."""
GUESSED = {"overlooks": 0.08, "imagines": 0.03, "misreads": 0.1, "slips": 0.06}
"""What the guess says of each chance, whatever it is, but of a game: only the product shows."""
IN_SPELLS = "50%"
"""What it says of each in bad light."""
WORLDS_NAMED = ("former", "calling", "twice", "shipped")


def world(name: str) -> tuple[Model, Regime]:
    """The truth of a world."""
    if name == "shipped":
        return petsim.load_model("lamplet"), petsim.load_regime("camera-rig")
    model = petsim.load_model(WORLDS / "lamplet.yaml")
    regime = petsim.load_regime(WORLDS / "camera-rig.yaml", model)
    steps: Any = regime.source().at("routine")
    routines: dict[str, Any] = {
        "calling": [{"when": {"calling": "yes"}, "do": "reprimand"}, *steps[1:]],
        "twice": [{"look": ["waste"]}, *steps],
    }
    changes = [(("routine",), routines[name])] if name in routines else []
    return model, read_regime(changed(regime.source(), changes), model)


def guess(model: Model, regime: Regime, random: np.random.Generator) -> tuple[Model, Regime]:
    """A guess of a world: every mean off by some factor, every chance one that was made up."""
    of_model = [*_values(model.source().data)]
    of_regime = [*_values(regime.source().data)]
    guessed = read_model(changed(model.source(), _guessed(of_model, random)))
    return guessed, read_regime(changed(regime.source(), _guessed(of_regime, random)), guessed)


def _values(data: Any, *steps: Any) -> Iterator[tuple[tuple[Any, ...], str]]:
    if isinstance(data, dict | list):
        pairs: Any = data.items() if isinstance(data, dict) else enumerate(data)
        for key, value in pairs:
            yield from _values(value, *steps, key)
    else:
        yield steps, str(data)


def _guessed(
    values: list[tuple[tuple[Any, ...], str]], random: np.random.Generator
) -> Iterator[tuple[tuple[Any, ...], str]]:
    for steps, text in values:
        first, last = steps[0], steps[-1]
        is_law = last in ("every", "up", "down", "clear", "lasts") or "drops" in steps
        if last in GUESSED and "play" not in steps:
            yield steps, IN_SPELLS if "spells" in steps else f"{100 * GUESSED[last]:g}%"
        elif last == "base":
            yield steps, f"{rate(text) * math.exp(OFF * random.normal()):.4g} per day"
        elif is_law and first != "checks":
            law = scaled(distribution(text), math.exp(OFF * random.normal()))
            yield steps, str(_whole(law))


def _whole(law: Distribution) -> Distribution:
    return Distribution(law.kind, tuple(float(f"{p:.4g}") for p in law.parameters))


# What was measured


def measured(fit: Fit, truth: tuple[Document, Document]) -> list[dict[str, Any]]:
    """Each estimate beside the truth: how far off on the free scale, standard error, verdict."""
    return [_measured(each, truth) for each in fit.estimates]


def _measured(each: Estimate, truth: tuple[Document, Document]) -> dict[str, Any]:
    row: dict[str, Any] = {"path": each.path, "of": each.of, "verdict": each.verdict}
    true = _truth(each, truth[each.file == "regime"])
    if each.estimate is None or each.low is None or each.high is None or true is None:
        return row
    free = [_free(x, each.of) for x in (each.estimate, each.low, each.high, true)]
    row |= {"off": free[0] - free[3], "se": (free[2] - free[1]) / (2 * 1.959964)}
    return row | {"holds": each.low <= true <= each.high}


def _free(x: float, of: str) -> float:
    if of == "value":
        return x
    x = max(x, 1e-9)
    return math.log(x / (1 - min(x, 1 - 1e-9))) if of == "chance" else math.log(x)


def _truth(each: Estimate, document: Document) -> float | None:
    if each.of == "value":
        return each.guess
    text = document.at(*path_steps(each.path))
    if each.of == "chance":
        return chance(str(text)) if text is not None else 0.0
    if each.of == "rate":
        return rate(str(text))
    law = distribution(str(text))
    if each.of == "mean":
        return mean_of(law)
    is_wait = "drops" in each.path or each.path.endswith(".every")
    return shape_like(law) if is_wait else shape_of(law)


def fits(name: str, lives: int, numbers: range) -> Iterator[dict[str, Any]]:
    """Fit logs of some lives each, and yield what was measured."""
    model, regime = world(name)
    truth = model.source(), regime.source()
    offset = 1_000_000 * WORLDS_NAMED.index(name) + (500_000 if lives > 1 else 0)
    for number in numbers:
        random = np.random.default_rng([SEED, offset, number])
        first = offset + number * lives
        logs = [
            logged(petsim.simulate(model, regime, seed=SEED, life=life))
            for life in range(first, first + lives)
        ]
        guesses = guess(model, regime, random)
        begun = time.process_time()
        fit = fit_logs(logs, *guesses)
        took = time.process_time() - begun
        adolescents = [form for form, part in model.forms.items() if part.stage == "adolescent"]
        naive = naive_mean(  # type: ignore[no-untyped-call]
            logs, "mood", adolescents, model
        )
        true = mean_of(model.stages["adolescent"].drops["mood"])
        yield {
            "world": name,
            "lives": lives,
            "fit": number,
            "seconds": took,
            "rows": measured(fit, truth),
            "naive": {"off": math.log(naive[0] / true), "holds": naive[1] <= true <= naive[2]},
            "p": {chain.name: chain.goodness.p for chain in fit.chains if chain.goodness},
        }


# The table


def table(rows: list[dict[str, Any]]) -> Iterator[str]:
    """Lines of all that was measured, a parameter each."""
    by: dict[tuple[int, str, str], list[dict[str, Any]]] = defaultdict(list)
    for fit in rows:
        for row in fit["rows"]:
            by[fit["lives"], row["path"], row["of"]].append(row)
    yield f"{'lives parameter':50} {'n':>4} {'told':>5} {'off':>7} {'SD':>6} {'SE':>6}  holds"
    for (lives, path, of), each in sorted(by.items()):
        told = [row for row in each if "off" in row]
        line = f"{lives:5} {path + ' ' + of:44} {len(each):4} {len(told) / len(each):5.0%}"
        if told:
            off = np.array([row["off"] for row in told])
            k, n = sum(row["holds"] for row in told), len(told)
            low, high = clopper_pearson_99(k, n)
            se = np.median([row["se"] for row in told])
            line += f" {off.mean():+7.3f} {off.std():6.3f} {se:6.3f}"
            line += f"  {k / n:5.1%} ({low:.1%} to {high:.1%})"
        yield line
    for lives in sorted({fit["lives"] for fit in rows}):
        these = [fit for fit in rows if fit["lives"] == lives]
        seconds = np.median([fit["seconds"] for fit in these])
        naive = np.mean([fit["naive"]["holds"] for fit in these])
        off = np.mean([fit["naive"]["off"] for fit in these])
        yield f"{lives} lives: {seconds:.1f} s of processor time a fit"
        yield f"  naive mean of mood: {off:+.3f}, holds {naive:.0%}"
        for chain in sorted({name for fit in these for name in fit["p"]}):
            ps = [fit["p"][chain] for fit in these if chain in fit["p"]]
            yield f"  {chain}: p below 5 % in {np.mean(np.array(ps) < 0.05):.1%} of {len(ps)}"


def clopper_pearson_99(k: int, n: int) -> tuple[float, float]:
    """The exact interval of 99 % of a share."""
    low = 0.0 if k == 0 else float(beta.ppf(0.005, k, n - k + 1))
    return low, 1.0 if k == n else float(beta.ppf(0.995, k + 1, n - k))


def main() -> None:
    """Fit and write, or print the table of what was written."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("what", choices=("lives", "table"))
    parser.add_argument("files", nargs="*", type=Path)
    parser.add_argument("--world", choices=WORLDS_NAMED, default="former")
    parser.add_argument("--lives", type=int, default=1)
    parser.add_argument("--fits", type=int, default=200)
    parser.add_argument("--out", type=Path)
    asked = parser.parse_args()
    if asked.what == "table":
        rows = [json.loads(line) for file in asked.files for line in file.open(encoding="utf-8")]
        sys.stdout.writelines(f"{line}\n" for line in table(rows))
        return
    done = len(asked.out.read_text(encoding="utf-8").splitlines()) if asked.out.exists() else 0
    with asked.out.open("a", encoding="utf-8") as out:
        for row in fits(asked.world, asked.lives, range(done, asked.fits)):
            out.write(json.dumps(row) + "\n")
            out.flush()


if __name__ == "__main__":
    main()
