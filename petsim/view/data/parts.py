"""What schemas are made of: objects, lists, numbers with their units."""

from __future__ import annotations

from typing import Any

Schema = dict[str, Any]

SHARE, NUMBER = "0..1", "number"
"""The units of a share and of what has none, such as a seed."""


def record(about: str, *optional: str, **fields: Schema) -> Schema:
    """Return an object of these fields and no others, all there but those that are optional."""
    return {
        "description": about,
        "type": "object",
        "properties": fields,
        "required": [name for name in fields if name not in optional],
        "additionalProperties": False,
    }


def by_name(about: str, value: Schema) -> Schema:
    """Return an object whose keys are names of the user's files."""
    return {"description": about, "type": "object", "additionalProperties": value}


def list_of(about: str, item: Schema) -> Schema:
    """Return a list of items of one kind."""
    return {"description": about, "type": "array", "items": item}


def text(about: str, *words: str) -> Schema:
    """Return a text, of these words if any are given."""
    return {"description": about, "type": "string"} | ({"enum": [*words]} if words else {})


def flag(about: str) -> Schema:
    """Return what is true or false."""
    return {"description": about, "type": "boolean"}


def whole(about: str, unit: str = "count", least: int = 0) -> Schema:
    """Return a whole number of at least some value."""
    return {"description": f"{about} ({unit})", "type": "integer", "minimum": least}


def number(about: str, unit: str) -> Schema:
    """Return a number; a share is from 0 to 1."""
    ends = {"minimum": 0, "maximum": 1} if unit == SHARE else {}
    return {"description": f"{about} ({unit})", "type": "number", **ends}


def row_of(about: str, *items: Schema) -> Schema:
    """Return a list of a certain length, whose items differ."""
    length = {"minItems": len(items), "items": False}
    return {"description": about, "type": "array", "prefixItems": [*items], **length}


def either(about: str, *choices: Schema) -> Schema:
    """Return what follows one of several schemas."""
    return {"description": about, "anyOf": [*choices]}


def or_null(schema: Schema, why: str) -> Schema:
    """Return what follows a schema, or is null for a reason."""
    rest = {key: value for key, value in schema.items() if key != "description"}
    return either(f"{schema['description']}; null {why}", rest, {"type": "null"})


def ends(unit: str) -> dict[str, Schema]:
    """Return the fields of an estimate with its interval."""
    return {
        "estimate": number("Estimate", unit),
        "low": number("Lower end of its 95 % interval", unit),
        "high": number("Upper end of its 95 % interval", unit),
    }


def version() -> Schema:
    """Return the field of the version."""
    return text("Version of petsim")


def seed() -> Schema:
    """Return the field of the seed."""
    return whole("Seed of the luck", NUMBER)
