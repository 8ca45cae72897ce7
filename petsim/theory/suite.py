"""All checks, by field, and running them."""

from __future__ import annotations

from petsim.theory import inspection
from petsim.theory.verdicts import Check

FIELDS = (inspection,)


def checks() -> list[Check]:
    """All checks, in the order of the fields and of their modules."""
    return [made for field in FIELDS for made in vars(field).values() if isinstance(made, Check)]
