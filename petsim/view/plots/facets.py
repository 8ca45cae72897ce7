"""Which parameters of a grid a picture shows where, and at which values of the others.

A picture has few places for parameters: along an axis, as panels, as lines within a panel. What
has no place is kept to one value each, which the picture says.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from petsim.errors import ArgumentError, choice, ensure_known, listed
from petsim.spec.variation import as_read
from petsim.study.results import Sweep
from petsim.view.plots.scales import Scale, scale_of, varied
from petsim.view.sweep import named_value, values_of_cell

if TYPE_CHECKING:
    import pandas as pd

Fixed = Mapping[str, object]
"""The values to which parameters are kept, by path."""


class Facets(NamedTuple):
    """What a picture of a grid shows.

    places: the path that each place of the picture has, by the name of the place; a place without
    one is missing. fixed: the value of each parameter that is kept to one, as written in the grid.
    chosen: those of the fixed ones that nobody asked for. cells: those shown, a row for each (the
    index): their interval and the text of each parameter. scales: of all parameters, by path.
    """

    places: dict[str, str]
    fixed: dict[str, str]
    chosen: list[str]
    cells: pd.DataFrame
    scales: dict[str, Scale]

    def scale(self, place: str) -> Scale:
        """The scale of a place."""
        return self.scales[self.places[place]]

    def values(self, place: str, most: int, most_texts: int | None = None) -> list[str]:
        """The values of a place, in order; of a place without a parameter none.

        Of more than `most` numbers those are taken that are evenly spread, the ends among them; of
        more than `most_texts` texts the first, if that is another number.
        """
        if place not in self.places:
            return []
        scale = self.scale(place)
        if not scale.continuous:
            return scale.texts[: most if most_texts is None else most_texts]
        return thinned(scale.texts, most)


def facets_of(
    sweep: Sweep,
    frame: pd.DataFrame,
    places: Mapping[str, str | None],
    fix: Fixed | None = None,
    *,
    numbers_first: int = 0,
) -> Facets:
    """Give each place of a picture a parameter, and keep the others to a value.

    Parameters that are not asked for take the free places by how far the odds move from one of
    their values to another, on average over the rest: the farthest first. What is left over is
    kept to the values at which the odds of the cells shown differ most.

    Args:
        sweep: a grid.
        frame: a row for each cell that was simulated, with its interval.
        places: the path asked for, or None, by the name of each place, the first place first.
        fix: the values that parameters are kept to.
        numbers_first: the number of places for which parameters that are numbers go first.

    Raises:
        ArgumentError: there is no such parameter or value, one is asked for twice, or no cell
            with these values was simulated yet.
    """
    paths = ["regime", *(axis.path for axis in sweep.design.axes)]
    wanted = {place: path for place, path in places.items() if path is not None}
    fixed = {path: _value(sweep, path, value, paths) for path, value in (fix or {}).items()}
    _ensure_apart(wanted, fixed, paths)
    scales = {path: scale_of(sweep, path) for path in paths}
    cells = _as_texts(sweep, frame, paths)
    for path, value in fixed.items():
        cells = cells[cells[path] == value]
    if cells.empty:
        named = ", ".join(f"{path} {value}" for path, value in fixed.items())
        raise ArgumentError(f"fix: nothing is simulated yet at {named}")
    free = [path for path in varied(sweep) if path not in (*wanted.values(), *fixed)]
    for number, place in enumerate(place for place in places if place not in wanted):
        candidates = [path for path in free if scales[path].continuous]
        if number >= numbers_first or not candidates:
            candidates = free
        if candidates:
            wanted[place] = max(candidates, key=lambda path: effect(cells, path))
            free.remove(wanted[place])
    cells, chosen = _most_telling(cells, free)
    ordered = {place: wanted[place] for place in places if place in wanted}
    return Facets(ordered, fixed | chosen, [*chosen], cells, scales)


def along_which(sweep: Sweep, wanted: Mapping[str, str | None], fix: Fixed | None) -> str:
    """The parameter to draw along, if none is asked for: the first that is a number and free."""
    taken = {*filter(None, wanted.values()), *(fix or {})}
    paths = ["regime", *(axis.path for axis in sweep.design.axes)]
    for candidates in (varied(sweep), [*reversed(paths)], paths):
        free = [path for path in candidates if path not in taken]
        if free:
            return next((path for path in free if scale_of(sweep, path).continuous), free[0])
    raise ArgumentError("x: all parameters are asked for elsewhere; expected one to draw along")


def _value(sweep: Sweep, path: str, value: object, paths: Sequence[str]) -> str:
    """A value of a parameter as it is written in the grid."""
    ensure_known("fix", path, paths)
    texts = scale_of(sweep, path).texts
    alike = [text for text in texts if _is_same(text, str(value))]
    if not alike:
        known = choice(str(value), texts) if path == "regime" else _there_are(texts)
        raise ArgumentError(f"fix {path}: {str(value)!r}; {known}")
    return alike[0]


def _is_same(one: str, other: str) -> bool:
    """Whether two texts are one value, which may be written in several ways."""
    return as_read(one) == as_read(other) or one.replace(" ", "") == other.replace(" ", "")


def _there_are(texts: Sequence[str]) -> str:
    return f"expected {'one of ' if len(texts) > 1 else ''}{listed(texts)}"


def _ensure_apart(wanted: Mapping[str, str], fixed: Mapping[str, str], paths: list[str]) -> None:
    """Refuse paths that there are not, and one that is to have two places."""
    seen: dict[str, str] = dict.fromkeys(fixed, "fix")
    for place, path in wanted.items():
        ensure_known(place, path, paths)
        if path in seen:
            raise ArgumentError(f"{seen[path]} and {place}: {path} is both; expected two of them")
        seen[path] = place


def _as_texts(sweep: Sweep, frame: pd.DataFrame, paths: Sequence[str]) -> pd.DataFrame:
    """The interval of each cell, and its values as they are written."""
    rows = [values_of_cell(sweep, frame, cell) for cell in map(int, frame.index)]
    cells = frame[["estimate", "low", "high", "lives"]].copy()
    for path in paths:
        cells[path] = [row[path] for row in rows]
    return cells


def effect(cells: pd.DataFrame, path: str) -> float:
    """How far the odds move from one value of a parameter to another, on average over the rest."""
    means = cells.groupby(path)["estimate"].mean()
    return float(means.max() - means.min())


def _most_telling(cells: pd.DataFrame, left: list[str]) -> tuple[pd.DataFrame, dict[str, str]]:
    """The cells among which the odds differ most, and the values of what is left over there."""
    if not left:
        return cells, {}
    groups = cells.groupby(left, sort=False)["estimate"]
    spans = groups.max() - groups.min()
    best = spans.idxmax()
    chosen = dict(zip(left, best if isinstance(best, tuple) else (best,), strict=True))
    is_shown = np.logical_and.reduce([cells[path] == value for path, value in chosen.items()])
    return cells[is_shown], chosen


def thinned(values: Sequence[str], most: int) -> list[str]:
    """Some values, `most` of them at most, evenly spread, the first and the last among them."""
    if len(values) <= most:
        return [*values]
    return [values[round(place)] for place in np.linspace(0, len(values) - 1, most)]


def thinning(facets: Facets, shown: Mapping[str, Sequence[str]]) -> str:
    """Sentences on the values of places of which only some are shown, if there are any."""
    return "".join(
        f" {'' if facets.scale(place).continuous else 'The first '}{len(values)} of "
        f"{len(facets.scale(place).texts)} {_nouns(facets.places[place])}."
        for place, values in shown.items()
        if values and len(values) < len(facets.scale(place).texts)
    )


def _nouns(path: str) -> str:
    return "regimes" if path == "regime" else f"values of {path}"


def where(values: Mapping[str, str], among: Sequence[str]) -> str:
    """The values of a cell by their paths, as the end of a sentence."""
    others = [named_value(path, v, among) for path, v in values.items() if path != "regime"]
    under = f" under {values['regime']}" if "regime" in values else ""
    in_a_row = " and ".join(filter(None, (", ".join(others[:-1]), *others[-1:])))
    return f"{under}{' with ' if others else ''}{in_a_row}"


def keeping(facets: Facets, among: Sequence[str]) -> str:
    """A sentence on the values that parameters are kept to, if any are."""
    if not facets.fixed:
        return ""
    why = ", where the odds differ most" if facets.chosen else ""
    return f" Only{where(facets.fixed, among)}{why}."
