"""Points that show which axis of a sweep matters, and the indices they give, by SALib.

Sources: Morris (1991), "Factorial sampling plans for preliminary computational experiments",
Technometrics 33:161-174; Saltelli et al. (2010), "Variance based sensitivity analysis of model
output", Computer Physics Communications 181:259-270; both as SALib has them.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    import pandas as pd

SEED = 1
"""Of points and intervals; SALib takes 0 for none."""
LEVELS = 4
"""Values of each axis that Morris's trajectories visit."""


def sampled(kind: str, points: int, axes: int) -> list[list[float]]:
    """The points of a method in the unit cube."""
    from SALib.sample import morris
    from SALib.sample import sobol as saltelli

    problem = _problem([str(axis) for axis in range(axes)])
    if kind == "morris":
        sample = morris.sample(problem, points, num_levels=LEVELS, seed=SEED)
    else:
        sample = saltelli.sample(problem, points, calc_second_order=False, seed=SEED)
    listed: list[list[float]] = sample.tolist()
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
        analysis = morris.analyze(problem, shares, odds, num_levels=LEVELS, seed=SEED)
        size, half = np.asarray(analysis["mu_star"]), np.asarray(analysis["mu_star_conf"])
        columns = {"effect": analysis["mu"], "size": size, "low": size - half, "high": size + half}
        return pd.DataFrame(
            {**columns, "spread": analysis["sigma"]}, index=pd.Index(paths, name="path")
        )
    with np.errstate(invalid="ignore"):
        analysis = saltelli.analyze(problem, odds, calc_second_order=False, seed=SEED)
    columns = {}
    for name, index in (("alone", "S1"), ("in_all", "ST")):
        # of odds that never vary, no axis has a share, for which some releases of SALib give NaN
        share, half = (np.nan_to_num(analysis[key]) for key in (index, f"{index}_conf"))
        columns |= {name: share, f"{name}_low": share - half, f"{name}_high": share + half}
    return pd.DataFrame(columns, index=pd.Index(paths, name="path"))


def _problem(names: Sequence[str]) -> dict[str, Any]:
    return {"num_vars": len(names), "names": list(names), "bounds": [[0.0, 1.0]] * len(names)}
