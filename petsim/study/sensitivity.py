"""Which unknown matters: Morris and Sobol indices of the aim's odds, by SALib.

Sources: Morris (1991), "Factorial sampling plans for preliminary computational experiments",
Technometrics 33:161-174; Saltelli et al. (2010), "Variance based sensitivity analysis of model
output", Computer Physics Communications 181:259-270; both as SALib has them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from petsim.life.simulation import ArgumentError, CaretakerSource, ModelSource
from petsim.spec.problems import choice

if TYPE_CHECKING:
    import pandas as pd

    from petsim.study.results import Sweep

SAMPLE_OF = {"morris": "morris", "sobol": "saltelli"}
SEED = 1
"""Of points and intervals; SALib takes 0 for none."""
LEVELS = 4
"""Values of each axis that Morris's trajectories visit."""


def sensitivity(
    model: ModelSource,
    regime: CaretakerSource,
    vary: Mapping[str, Any],
    *,
    out: str | Path,
    method: str = "morris",
    points: int = 16,
    **options: Any,
) -> Sweep:
    """Find which of several unknowns moves the odds of the aim; `.sensitivity()` then says so.

    Args:
        model, regime, options: as for `sweep`.
        vary: the unknowns by their path, and the range of each, such as "10%..30%".
        out: the name of the file.
        method: "morris", with points trajectories, each of a cell more than there are unknowns; or
            "sobol", with points times two more cells than there are unknowns, a power of 2.
        points: the more, the surer.

    Raises:
        ArgumentError: the method or its number is none; and as for `sweep`.
    """
    from petsim.study.sweep import sweep

    if method not in SAMPLE_OF:
        raise ArgumentError(f"method: {method!r}; {choice(method, SAMPLE_OF)}")
    if points < 2 or (method == "sobol" and points & (points - 1)):
        expected = "a power of 2" if method == "sobol" else "2 or more"
        raise ArgumentError(f"points: {points}; expected {expected}")
    if len(vary) < 2:
        raise ArgumentError(f"vary: {len(vary)} given; expected two unknowns or more")
    return sweep(model, [regime], vary, out=out, sample=SAMPLE_OF[method], points=points, **options)


def sampled(kind: str, points: int, axes: int) -> list[list[float]]:
    """The points of a method in the unit cube."""
    from SALib.sample import morris
    from SALib.sample import sobol as saltelli

    problem = _problem([str(axis) for axis in range(axes)])
    if kind == "morris":
        found = morris.sample(problem, points, num_levels=LEVELS, seed=SEED)
    else:
        found = saltelli.sample(problem, points, calc_second_order=False, seed=SEED)
    listed: list[list[float]] = found.tolist()
    return listed


def indices(
    kind: str, points: int, paths: Sequence[str], odds: NDArray[np.float64]
) -> pd.DataFrame:
    """The indices of each axis, from the odds in all cells."""
    import pandas as pd
    from SALib.analyze import morris
    from SALib.analyze import sobol as saltelli

    problem = _problem(paths)
    if kind == "morris":
        shares = np.array(sampled(kind, points, len(paths)))
        found = morris.analyze(problem, shares, odds, num_levels=LEVELS, seed=SEED)
        size, half = np.asarray(found["mu_star"]), np.asarray(found["mu_star_conf"])
        columns = {"effect": found["mu"], "size": size, "low": size - half, "high": size + half}
        return pd.DataFrame(
            {**columns, "spread": found["sigma"]}, index=pd.Index(paths, name="path")
        )
    # of odds that never vary, no axis has a share
    with np.errstate(invalid="ignore"):
        found = saltelli.analyze(problem, odds, calc_second_order=False, seed=SEED)
    columns = {}
    for name, index in (("alone", "S1"), ("in_all", "ST")):
        share, half = np.asarray(found[index]), np.asarray(found[f"{index}_conf"])
        columns |= {name: share, f"{name}_low": share - half, f"{name}_high": share + half}
    return pd.DataFrame(columns, index=pd.Index(paths, name="path"))


def _problem(names: Sequence[str]) -> dict[str, Any]:
    return {"num_vars": len(names), "names": list(names), "bounds": [[0.0, 1.0]] * len(names)}
