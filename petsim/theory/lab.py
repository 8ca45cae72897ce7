"""Where checks live their lives: on one engine, from files, more of them or fewer by its scale."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from petsim.life.simulate import Span, choose_engine, load_together
from petsim.spec.quantities import DAY
from petsim.study.batch import Batch, batch

SEED = 20_250_301


class Lab:
    """Lives pets under regimes, both as the text of a file.

    Args:
        folder: where it writes the files.
        engine: which engine lives the lives, "compiled" or "reference".
        scale: how many times as many lives as the short form on the compiled engine.
    """

    def __init__(self, folder: Path, engine: str, scale: float = 1) -> None:
        self._folder = folder
        self._engine = engine
        self._scale = scale

    def number(self, lives: int) -> int:
        """How many lives to live for a number of lives of the short form."""
        return max(1, round(lives * self._scale))

    def batch(
        self, pet: str, regime: str, *, lives: int, seconds: int | None = None, seed: int = SEED
    ) -> Batch:
        """Live a batch, each life for some seconds or to its outcome; `lives` are scaled."""
        model, caretaker = self._files(pet, regime)
        return batch(
            model,
            caretaker,
            lives=self.number(lives),
            seed=seed,
            days=None if seconds is None else seconds / DAY,
            engine=self._engine,
        )

    def events(
        self, pet: str, regime: str, *, seconds: int, seed: int = SEED, life: int = 0
    ) -> pd.DataFrame:
        """Live one life for some seconds and return its event log."""
        span = Span(days=seconds / DAY)
        model_file, regime_file = self._files(pet, regime)
        model, [caretaker] = load_together(model_file, [regime_file])
        engine = choose_engine(model, caretaker, span, self._engine)
        return engine.live(seed, life, traced=True).events

    def _files(self, pet: str, regime: str) -> tuple[Path, Path]:
        paths = self._folder / "pet.yaml", self._folder / "regime.yaml"
        for path, text in zip(paths, (pet, regime), strict=True):
            path.write_text(text, encoding="utf-8")
        return paths


def totals(lived: Batch) -> dict[str, int]:
    """The sum of each column over the lives."""
    return {name: int(values.sum()) for name, values in lived.values.items()}


def times(events: pd.DataFrame, kind: str, what: str | None = None) -> NDArray[np.int64]:
    """The seconds of the events of a kind; with `what`, of those about one need or action."""
    chosen = events[events["event"] == kind]
    if what is not None:
        chosen = chosen[chosen["what"] == what]
    return chosen["t"].to_numpy()
