"""A study file: a sweep written down, to be kept beside its results."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Any

from pydantic import Field

from petsim.errors import MisfitError, choice, quote
from petsim.spec import choices, defaults
from petsim.spec.document import is_file
from petsim.spec.fields import FieldType, Title, count_type
from petsim.spec.parts import File, Part, validate
from petsim.spec.quantities import LARGEST
from petsim.spec.reading import read_file
from petsim.spec.variation import Axis, TooManyValuesError, ensure_few

FORMAT = "study 1"


def word_of(*words: str) -> FieldType:
    """The type of a field that takes one of some words."""

    def read(text: str) -> str:
        if text not in words:
            raise MisfitError(choice(text, words))
        return text

    return FieldType(read, str, {"enum": list(words)}, f"expected {' or '.join(words)}")


def _unchanged(value: Any) -> Any:
    return value


VALUES = FieldType(_unchanged, _unchanged, {}, "expected values, or a range", structured=True)


class Sample(Part):
    """Points chosen instead of the whole grid."""

    method: Annotated[str, word_of(*choices.SAMPLES)] = Field(description="how they are chosen")
    points: Annotated[int, count_type(1)] = Field(description="how many")


class Study(File):
    """A sweep."""

    petsim: Annotated[str, word_of(FORMAT)] = Field(
        description="'study 1', the kind and version of the file"
    )
    name: Title = Field(description="the name of the study")
    about: str = Field(default="", description="a sentence about it")
    model: str | None = Field(
        default=None,
        description="name or path of the model; by default the one that its regimes name, or "
        f"{defaults.MODEL}",
    )
    regimes: tuple[str, ...] = Field(description="names or paths of regimes, or FILE.py:CLASS")
    vary: dict[str, Annotated[Any, VALUES]] = Field(
        default={}, description="paths of what varies, and their values"
    )
    sample: Sample | None = Field(default=None, description="points instead of the whole grid")
    lives: Annotated[int, count_type(1)] = Field(default=1_000, description="lives in each cell")
    seed: Annotated[int, count_type(0, LARGEST)] = Field(default=0, description="of the luck")
    until: Annotated[str, word_of(*choices.UNTIL)] | None = Field(
        default=None, description="how long lives are followed"
    )
    days: Annotated[int, count_type(1)] | None = Field(
        default=None, description="days that lives are followed instead"
    )
    aim: str | None = Field(
        default=None,
        description="outcome aimed for, or several, as --aim takes them; the model's if left out",
    )
    keep: Annotated[str, word_of(*choices.KEEP)] = Field(
        default="sums", description="what is kept of lives"
    )

    def __repr__(self) -> str:
        varied = ", ".join(self.vary) or "nothing"
        return f"<study {self.id}: {', '.join(self.regimes)}; varies {varied}>"

    def misfits(self) -> Iterator[MisfitError]:
        """Refuse regimes that come twice, and paths and values that can't be read."""
        if not self.regimes:
            yield MisfitError("expected one or more", "found none", ("regimes",))
        named = set[str]()
        for index, regime in enumerate(self.regimes):
            if regime in named:
                again = f"found {quote(regime)} again"
                yield MisfitError("expected each once", again, ("regimes", index))
            named.add(regime)
        yield from self._misfits_of_axes()

    def _misfits_of_axes(self) -> Iterator[MisfitError]:
        axes: list[Axis] = []
        for path, values in self.vary.items():
            try:
                axes.append(Axis.read(path, values))
                ensure_few(axes)
            except TooManyValuesError as many:
                yield MisfitError(many.expected, many.found, ("vary",))
                return
            except MisfitError as misfit:
                yield MisfitError(misfit.expected, misfit.found, ("vary", path))


def load_study(path: Path) -> Study:
    """The study in a file. Models and regimes that it names are looked for beside it first.

    Raises:
        SpecError: with everything that is wrong with it.
    """
    document = read_file(path)
    study, faults = validate(Study, document.data)
    document.refuse(faults)
    assert study is not None
    located = {
        "model": study.model and _beside(path, study.model),
        "regimes": tuple(_beside(path, regime) for regime in study.regimes),
    }
    return study.model_copy(update=located).read_from(document)


def _beside(path: Path, name: str) -> str:
    """The path, with the class if there is one, of a file beside the study; else the name."""
    file, _, policy = name.partition(":")
    candidate = path.parent / file
    return str(candidate) + (f":{policy}" if policy else "") if is_file(candidate) else name
