"""What every part of a file has in common: strict keys, text in, text out, faults with a place."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import replace
from functools import cache
from types import UnionType
from typing import (
    Annotated,
    Any,
    Self,
    TypeVar,
    Union,
    get_args,
    get_origin,
    get_type_hints,
)

import yaml
from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    PrivateAttr,
    SerializationInfo,
    SerializerFunctionWrapHandler,
    ValidationError,
    WrapSerializer,
    model_serializer,
    model_validator,
)
from pydantic_core import ErrorDetails

from petsim.errors import (
    MisfitError,
    SeveralMisfitsError,
    describe,
    legible,
    near_miss,
    quote,
    unknown,
)
from petsim.spec.document import Data, Document, Fault, Steps
from petsim.spec.reading import read_data
from petsim.spec.shown import Shown

Value = TypeVar("Value")

OR_NONE = BeforeValidator(lambda value: None if value == "none" else value)
"""Lets a block be taken away by the word `none`."""

OF_ALL = "all"
"""The key of what is said of all causes of a care miss together."""
BY_CAUSE = BeforeValidator(lambda value: {OF_ALL: value} if isinstance(value, str) else value)
"""Lets one value in place of a mapping by cause stand for all causes together."""


def _briefly(by_cause: Any, write: SerializerFunctionWrapHandler) -> Any:
    written = write(by_cause)
    return written[OF_ALL] if list(written) == [OF_ALL] else written


BRIEFLY = WrapSerializer(_briefly)
"""Writes a mapping by cause that only has what is said of all of them as that alone."""

COMPLETE = "complete"
"""The context of serialization that asks for all defaults."""

_OF_THE_KEY = "[key]"
_EXPECTED = {
    "model_type": "expected keys and values",
    "dict_type": "expected keys and values",
    "tuple_type": "expected a list, such as [first, second]",
    "frozen_set_type": "expected a list, such as [first, second]",
    "string_type": "expected text",
}


class Part(BaseModel):
    """A mapping of a file; the keys are the attributes' names with spaces for underscores."""

    model_config = ConfigDict(
        extra="forbid",
        frozen=True,
        alias_generator=lambda attribute: attribute.replace("_", " "),
    )

    def misfits(self) -> Iterator[MisfitError]:
        """Yield what is wrong between fields that are each right."""
        return iter(())

    @property
    def says_never(self) -> bool:
        """Whether it is worth writing that something in it never happens."""
        return True

    @property
    def refused_keys(self) -> Collection[str]:
        """The keys that are not written, as they are refused beside others."""
        return ()

    @model_validator(mode="after")
    def _fit(self) -> Self:
        misfits = tuple(self.misfits())
        if misfits:
            raise SeveralMisfitsError(misfits)
        return self

    @model_serializer(mode="wrap")
    def _write(
        self, write: SerializerFunctionWrapHandler, info: SerializationInfo
    ) -> dict[str, Any]:
        """Return the mapping without what says nothing: the absent, the empty, a plain no, `never`.

        With all defaults (COMPLETE), `never` is written where it says something.
        """
        writes_never = info.context == COMPLETE and self.says_never
        tacit_defaults = (False,) if writes_never else (False, None)
        left_out = {
            field.alias
            for attribute, field in type(self).model_fields.items()
            if any(
                getattr(self, attribute) is field.default is default for default in tacit_defaults
            )
        }
        return {
            key: value
            for key, value in write(self).items()
            if key not in {*left_out, *self.refused_keys} and value not in ({}, [], (), "", None)
        }


class File(Shown, Part):
    """A whole file."""

    _source: Document = PrivateAttr(default=Document("", {}))
    petsim: str
    name: str

    @property
    def id(self) -> str:
        """The file's name without its ending; without a file, the name with hyphens."""
        stem = self._source.stem if self._source.places else "-".join(self.name.lower().split())
        return legible(stem)

    @property
    def asked_by(self) -> str | None:
        """The shipped name or the path by which it is loaded; None if it came from no file."""
        return (self._source.shipped_as or self._source.file) if self._source.places else None

    @property
    def content(self) -> str:
        """All that it says, in a text that is the same for equal files and for no others."""
        return BaseModel.__repr__(self)

    def source(self) -> Document:
        """Return the data of this object with the places of the file it was read from."""
        data = read_data(self.model_dump(by_alias=True), self.name).data
        return replace(self._source, data=data)

    def read_from(self, document: Document) -> Self:
        """Return the same, remembering the file and its lines."""
        copy = self.model_copy()
        copy._source = replace(document, data={})
        return copy

    def __eq__(self, other: object) -> bool:
        return type(self) is type(other) and self.__dict__ == other.__dict__

    __hash__ = None  # type: ignore[assignment]


class _Dumper(yaml.SafeDumper):
    """Writes as YAML 1.2 reads: with quotes only around what would not be text without them."""

    def ignore_aliases(self, data: object) -> bool:
        return True


_Dumper.yaml_implicit_resolvers = {}
for _tag, _pattern, _first in (
    ("null", r"~|null|Null|NULL|", ["~", "n", "N", ""]),
    ("bool", r"true|True|TRUE|false|False|FALSE", list("tTfF")),
    ("int", r"[-+]?[0-9]+|0o[0-7]+|0x[0-9a-fA-F]+", list("-+0123456789")),
    ("float", r"[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]+)?", list("-+.0123456789")),
    ("float", r"[-+]?\.(inf|Inf|INF)|\.(nan|NaN|NAN)", list("-+.")),
):
    _Dumper.add_implicit_resolver(
        f"tag:yaml.org,2002:{_tag}", re.compile(f"^(?:{_pattern})$"), _first
    )


def as_yaml(file: File, *, complete: bool = False) -> str:
    """Return a model or regime as the text of a file that loads back to an equal object.

    `complete` writes out `never` where it is only a default, too.
    """
    data = file.model_dump(by_alias=True, context=COMPLETE if complete else None)
    return lines_of(data)


def lines_of(data: Any) -> str:
    """Return plain data as the text of a file, or of a part of one."""
    text = _dumped(data, allow_unicode=True)
    return text if text == legible(text, "\n") else _dumped(data, allow_unicode=False)


def _dumped(data: Any, *, allow_unicode: bool) -> str:
    return yaml.dump(
        data,
        Dumper=_Dumper,
        sort_keys=False,
        allow_unicode=allow_unicode,
        default_flow_style=None,
        width=100,
    )


def validate(part: type[Value], data: Mapping[str, Data]) -> tuple[Value | None, list[Fault]]:
    """Return the object of a document's data and no faults, or None and all its faults."""
    assert issubclass(part, BaseModel)
    try:
        return part.model_validate(data), []
    except ValidationError as error:
        details = error.errors(include_url=False)
        return None, [fault for detail in details for fault in _faults(part, data, detail)]


def quietly(read: Callable[..., Value], data: object) -> Value | None:
    """Return the quantity of a text, or None if it can't be read, which is reported elsewhere."""
    try:
        return read(data) if isinstance(data, str) else None
    except MisfitError:
        return None


def _faults(part: Any, data: Mapping[str, Data], detail: ErrorDetails) -> Iterator[Fault]:
    """Yield the faults that one of pydantic's errors stands for."""
    steps, kinds, of_key = _way(part, data, detail["loc"])
    misspelt = _misspelt_key(steps, kinds)
    if misspelt is not None:
        yield misspelt
        return
    if detail["type"] == "missing":
        yield Fault(steps, "missing", f"expected {_description(kinds[-2], str(steps[-1]))}")
    elif detail["type"] == "extra_forbidden":
        misfit = unknown("key", str(steps[-1]), _keys(kinds[-2]))
        yield Fault(steps, misfit.found, misfit.expected, of_key=True)
    elif detail["type"] == "value_error":
        yield from _faults_of_misfits(data, steps, detail["ctx"]["error"], of_key=of_key)
    else:
        yield Fault(steps, describe(_at(data, steps)), _EXPECTED[detail["type"]])


def _misspelt_key(steps: Steps, kinds: list[Any]) -> Fault | None:
    """Return the fault of the first key on a way that is a misspelt field, if there is one.

    A part that takes names of its model as keys takes a misspelt field for one of them, and finds
    fault with what is in it.
    """
    for place, kind in zip(range(len(steps)), kinds, strict=False):
        key, fields = str(steps[place]), _keys(kind)
        if _takes_names(kind) and steps[place] not in fields and near_miss(key, fields) is not None:
            misfit = unknown("key", key, fields)
            return Fault(steps[: place + 1], misfit.found, misfit.expected, of_key=True)
    return None


def _faults_of_misfits(
    data: Mapping[str, Data], steps: Steps, error: Exception, *, of_key: bool
) -> Iterator[Fault]:
    """Yield the faults of the misfits that our own checks raised."""
    assert isinstance(error, MisfitError | SeveralMisfitsError)
    for misfit in error.misfits if isinstance(error, SeveralMisfitsError) else (error,):
        way = (*steps, *misfit.at)
        value = steps[-1] if of_key else _at(data, way)
        yield Fault(way, misfit.found or describe(value), misfit.expected, of_key=of_key)


def _way(
    part: Any, data: Mapping[str, Data], location: tuple[int | str, ...]
) -> tuple[Steps, list[Any], bool]:
    """Return the way that pydantic's location of an error stands for.

    Returns:
        The steps along the data; the types of what they lead through, from the whole to the end;
        and whether the error is in the last key. Where the data is written shorter than the object
        built from it, the way ends early.
    """
    here: Any = data
    kind: Any = part
    steps: list[str | int] = []
    kinds = [kind]
    for place, name in enumerate(location, 1):
        step = _only_key(here) if name == "conditions" and _inside(here, name) is None else name
        if step == _OF_THE_KEY and _inside(here, step) is None:
            return tuple(steps), kinds, True
        kind = _inner(kind, name)
        kinds.append(kind)
        inside = _inside(here, step)
        if inside is None and not (place == len(location) and isinstance(here, dict)):
            break
        steps.append(step)
        here = inside
    return tuple(steps), kinds, False


def _only_key(data: Any) -> str:
    """Return the form of a rule of growth, under which its conditions are written."""
    return next(iter(data)) if isinstance(data, dict) and len(data) == 1 else "conditions"


def _inside(data: Any, step: int | str) -> Any:
    if isinstance(data, dict):
        return data.get(step)
    if isinstance(data, list) and isinstance(step, int) and step < len(data):
        return data[step]
    return None


def _at(data: Any, steps: Steps) -> Any:
    for step in steps:
        data = _inside(data, step)
    return data


def _bare(kind: Any) -> Any:
    """Return an annotation without its metadata and without `None`."""
    while get_origin(kind) is Annotated:
        kind = get_args(kind)[0]
    if get_origin(kind) in (Union, UnionType):
        return _bare(next(arg for arg in get_args(kind) if arg is not type(None)))
    return kind


def _inner(kind: Any, step: int | str) -> Any:
    """Return the type of what lies at a step inside something of a type."""
    kind = _bare(kind)
    if isinstance(kind, type) and issubclass(kind, Part):
        for field in kind.model_fields.values():
            if field.alias == step:
                return field.annotation
        return _kind_of_names(kind) if _takes_names(kind) else None
    arguments = get_args(kind)
    return arguments[1 if get_origin(kind) is dict else 0] if arguments else None


@cache
def _kind_of_names(kind: type[Part]) -> Any:
    """Return the type of what lies under a name of the model in a part that takes such keys."""
    hints = get_type_hints(kind, include_extras=True)
    return get_args(hints["__pydantic_extra__"])[1]


@cache
def _keys(kind: Any) -> tuple[str, ...]:
    """Return the keys of a part's fields; of another type, none."""
    kind = _bare(kind)
    if not (isinstance(kind, type) and issubclass(kind, Part)):
        return ()
    return tuple(str(field.alias) for field in kind.model_fields.values())


@cache
def _takes_names(kind: Any) -> bool:
    """Whether it is a part whose keys may also be names of the model."""
    kind = _bare(kind)
    return (
        isinstance(kind, type)
        and issubclass(kind, Part)
        and kind.model_config.get("extra") == "allow"
    )


def _description(kind: Any, key: str) -> str:
    """Return what a key of a part is for, in the first sentence of its description."""
    for field in _bare(kind).model_fields.values():
        if field.alias == key and field.description:
            return str(field.description).split(". ", 1)[0]
    return quote(key)
