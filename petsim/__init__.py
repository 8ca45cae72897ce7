"""petsim: a discrete-event simulator of a virtual-pet care regime.

Public names load when first used, so that importing petsim costs next to nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

if TYPE_CHECKING:
    from petsim.life.policy import Clock, Observation, Policy, PolicyError
    from petsim.life.record import Life, columns
    from petsim.life.simulation import check_policy, simulate
    from petsim.spec.library import load_model, load_regime
    from petsim.spec.model import Model
    from petsim.spec.problems import Problem, SpecError
    from petsim.spec.regime import Regime
    from petsim.study.batch import Batch, batch
    from petsim.study.compare import Comparison, compare

_HOME = {
    "petsim.life.policy": ("Clock", "Observation", "Policy", "PolicyError"),
    "petsim.life.record": ("Life", "columns"),
    "petsim.life.simulation": ("check_policy", "simulate"),
    "petsim.spec.library": ("load_model", "load_regime"),
    "petsim.spec.model": ("Model",),
    "petsim.spec.problems": ("Problem", "SpecError"),
    "petsim.spec.regime": ("Regime",),
    "petsim.study.batch": ("Batch", "batch"),
    "petsim.study.compare": ("Comparison", "compare"),
}
_MODULE_OF = {name: module for module, names in _HOME.items() for name in names}

__all__ = [  # noqa: PLE0604  the names above, kept in one place
    "__version__",
    *_MODULE_OF,
]


def __getattr__(name: str) -> Any:
    if name not in _MODULE_OF:
        raise AttributeError(f"module 'petsim' has no attribute {name!r}")
    value = getattr(import_module(_MODULE_OF[name]), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted(__all__)
