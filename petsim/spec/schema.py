"""JSON Schema (draft 2020-12) of the files, for editors that read YAML 1.2."""

from __future__ import annotations

from typing import Any

from petsim.spec.choices import SpecKind
from petsim.spec.fields import PATTERNS
from petsim.spec.model import OTHERWISE, Model, Stage
from petsim.spec.parts import File
from petsim.spec.pet import Pet
from petsim.spec.regime import Regime

DIALECT = "https://json-schema.org/draft/2020-12/schema"
_NONE = {"const": "none"}
_FILES: dict[SpecKind, type[File]] = {"model": Model, "regime": Regime, "pet": Pet}


def json_schema(kind: SpecKind) -> dict[str, Any]:
    """Return the schema of a model, regime or pet file.

    It holds what the shape of a file can show; references between its parts are left to loading.
    """
    schema: dict[str, Any] = _tidy(_FILES[kind].model_json_schema())
    definitions = schema.pop("$defs", {})
    if kind == "model":
        for key in ("needs", "stages", "forms"):
            schema["properties"][key]["minProperties"] = 1
        _allow_short_forms(definitions)
        _let_forms_override(definitions)
    elif kind == "regime":
        definitions["When"]["minProperties"] = 1
        _say_what_goes_together(definitions)
    else:
        for key in ("misses in form", "misses in life"):
            _allow_a_value_for_all(schema["properties"], key)
    definitions |= {name: {"type": "string", "pattern": text} for text, name in PATTERNS.items()}
    return {"$schema": DIALECT, **schema, "title": f"petsim {kind} file", "$defs": definitions}


def _tidy(node: Any) -> Any:
    """Return a schema as files are written, without null, generated titles and long patterns.

    Long patterns are referred to by the names of PATTERNS.
    """
    if isinstance(node, list):
        return [_tidy(item) for item in node]
    if not isinstance(node, dict):
        return node
    if node.get("pattern") in PATTERNS:
        others = {key: node[key] for key in ("description", "default") if key in node}
        return {"$ref": f"#/$defs/{PATTERNS[node['pattern']]}", **others}
    tidy = {
        key: {name: _tidy(inner) for name, inner in value.items()}
        if key in ("properties", "$defs")
        else _tidy(value)
        for key, value in node.items()
        if key != "title" and (key, value) != ("default", None)
    }
    for pattern, value in tidy.pop("patternProperties", {}).items():
        tidy |= {"propertyNames": {"pattern": pattern}, "additionalProperties": value}
    choices = [choice for choice in tidy.get("anyOf", ()) if choice != {"type": "null"}]
    if len(choices) == 1:
        del tidy["anyOf"]
        return {**choices[0], **tidy}
    return {**tidy, "anyOf": choices} if choices else tidy


def _allow_a_value_for_all(properties: dict[str, Any], key: str) -> None:
    """Add to a mapping by cause that a file may write one value for all of them in its place."""
    full = properties[key]
    properties[key] = {
        "description": full.pop("description"),
        "anyOf": [full, full["additionalProperties"]],
    }


def _allow_short_forms(definitions: dict[str, Any]) -> None:
    """Add what a file may write in place of the full form."""
    for key in ("misses in form", "misses in life"):
        _allow_a_value_for_all(definitions["Conditions"]["properties"], key)
    conditional = {"$ref": "#/$defs/Conditions", "minProperties": 1}
    definitions["Rule"] = {
        "type": "object",
        "minProperties": 1,
        "maxProperties": 1,
        "additionalProperties": {"anyOf": [{"const": OTHERWISE}, conditional]},
    }
    form = definitions["Form"]["properties"]
    rules = form["grows into"]
    form["grows into"] = {
        "description": rules.pop("description"),
        "anyOf": [{"type": "string", "minLength": 1}, {**rules, "minItems": 1}],
    }
    blocks = definitions["Stage"]["properties"]
    for key in ("waste", "illness", "misbehaviour"):
        description = blocks[key].pop("description")
        blocks[key] = {"description": description, "anyOf": [blocks[key], _NONE]}


def _say_what_goes_together(definitions: dict[str, Any]) -> None:
    """Add which keys of a part need or exclude others, of which the defaults are no values."""
    checks, window, step = (definitions[part] for part in ("Checks", "CheckWindow", "Step"))
    checks["not"] = {"required": ["jitter", "late"]}
    checks["if"] = {"required": ["at"], "properties": {"at": {"minItems": 1}}}
    interval = {"properties": {"every": {"const": "never"}}}
    checks["then"] = {
        "properties": {
            **dict.fromkeys(("every", "first", "by stage"), False),
            "windows": {"items": interval},
        }
    }
    window["anyOf"] = [{"required": ["every"]}, {"required": ["forgets"]}]
    step["oneOf"] = [{"required": ["do"]}, {"required": ["look"], "not": {"required": ["repeat"]}}]
    for part, key in ((window, "every"), (step, "do"), (step, "look")):
        del part["properties"][key]["default"]


def _let_forms_override(definitions: dict[str, Any]) -> None:
    """Let a form give any part of what its stage gives in full, or take it away."""
    form = definitions["Form"]["properties"]
    for field in Stage.model_fields.values():
        form[field.alias] = _override(definitions["Stage"]["properties"][field.alias], definitions)


def _override(schema: dict[str, Any], definitions: dict[str, Any]) -> dict[str, Any]:
    """Return the schema of what a form may write for a field of its stage: any part, or none."""
    part = _partly(schema, definitions)
    description = {"description": part.pop("description")} if "description" in part else {}
    return {**description, "anyOf": [part, _NONE]}


def _partly(schema: dict[str, Any], definitions: dict[str, Any]) -> dict[str, Any]:
    """Return a schema in which nothing is required and anything inside may be `none`."""
    target = schema.get("$ref", "").removeprefix("#/$defs/")
    if "properties" in definitions.get(target, {}):
        schema = {**definitions[target], **schema}
        del schema["$ref"]
    part = {key: value for key, value in schema.items() if key not in ("required", "default")}
    if "anyOf" in part:
        part["anyOf"] = [_partly(choice, definitions) for choice in part["anyOf"]]
    if isinstance(part.get("additionalProperties"), dict):
        part["additionalProperties"] = _override(part["additionalProperties"], definitions)
    if "properties" in part:
        part["properties"] = {
            key: _override(inner, definitions) for key, inner in part["properties"].items()
        }
    return part
