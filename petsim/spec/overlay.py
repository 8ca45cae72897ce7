"""A form's mapping and its stage's: laid over it to read the form, taken from it to write it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from petsim.spec.document import Data

_WHOLE = ("doses",)
"""Mappings that mean nothing in part: chances that sum to 1."""


def overlay(under: Mapping[str, Data], over: Mapping[str, Data]) -> dict[str, Data]:
    """Return a mapping with another laid over it.

    Blocks merge, `none` takes the one below away, anything else replaces it.
    """
    merged = dict(under)
    for key, value in over.items():
        below = merged.get(key)
        if value == "none" and key in under:
            del merged[key]
        elif isinstance(value, dict) and isinstance(below, dict) and key not in _WHOLE:
            merged[key] = overlay(below, value)
        else:
            merged[key] = value
    return merged


def difference(under: Mapping[str, Any], merged: Mapping[str, Any]) -> dict[str, Any]:
    """Return what must be laid over a mapping to give the merged one."""
    over: dict[str, Any] = {}
    for key in (*merged, *(key for key in under if key not in merged)):
        value, below = merged.get(key, "none"), under.get(key)
        if isinstance(value, dict) and isinstance(below, dict) and key not in _WHOLE:
            within = difference(below, value)
            if within:
                over[key] = within
        elif value != below:
            over[key] = value
    return over
