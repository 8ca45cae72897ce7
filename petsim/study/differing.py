"""What tells two sweeps apart, in words: options, values, and keys of their files."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from petsim._version import __version__
from petsim.spec.document import Data, Steps, field_name, plain_number
from petsim.spec.reading import read_text
from petsim.spec.variation import Axis, as_read
from petsim.study.design import Design, SweptRegime, content_of, sample_options, values_text

MOST_KEYS = 3
"""Keys of a file that are named where they differ."""
LONGEST_VALUE = 40
"""Characters of a value that is named."""


def differences(file: str, version: str, known: Design, now: Design) -> Iterator[str]:
    """Yield what differs between two sweeps in any other way than that one has more.

    Args:
        file: the name of the file that has one of them.
        version: of the petsim that began that one.
        known: its design. now: the design of the other, which may have more.
    """
    if version != __version__:
        yield f"was made by petsim {version}, and this is petsim {__version__}"
    yield from _of_model(file, known.model, now.model)
    yield from _of_regimes(file, known.regimes, now.regimes)
    yield from _of_axes(file, known, now)
    for one, other in (
        (_points(known), _points(now)),
        (f"--lives {known.lives}", f"--lives {min(known.lives, now.lives)}"),
        (f"--seed {known.seed}", f"--seed {now.seed}"),
        (_followed(known), _followed(now)),
        (f"--aim {known.aim.text}", f"--aim {now.aim.text}"),
        (_kept(known), _kept(now)),
    ):
        if one != other:
            yield f"was made {_with(one)}, not {_with(other, beside=one)}"
    if known.sample is not None and known.sample != now.sample:
        yield "the points of a sample can't be added to"


def _points(design: Design) -> str:
    options = sample_options(design.sample).items()
    return " ".join(f"--{name} {value}" for name, value in options)


def _followed(design: Design) -> str:
    if design.days is not None:
        return f"--days {plain_number(design.days)}"
    return f"--until {design.until or 'outcome'}"


def _kept(design: Design) -> str:
    return f"--keep {'lives' if design.keep else 'sums'}"


def _with(options: str, beside: str = "") -> str:
    """Options in a sentence; beside others that begin with the same one, their values alone."""
    if not options:
        return "with every combination"
    option, _, value = options.partition(" ")
    return value if beside.startswith(f"{option} ") else f"with {options}"


def _of_model(file: str, known: tuple[str, str], now: tuple[str, str]) -> Iterator[str]:
    (name, text), (other, content) = content_of(known), content_of(now)
    if name != other:
        yield f"was made with the model {name}, not {other}"
    elif text != content:
        yield f"model {name}: {_differing_keys(file, text, content)}"


def _of_regimes(
    file: str, known: Sequence[SweptRegime], now: Sequence[SweptRegime]
) -> Iterator[str]:
    """Yield which regimes are missing or other ones."""
    by_name = {regime.name: regime for regime in now}
    missing = [regime.name for regime in known if regime.name not in by_name]
    if missing:
        yield f"was made with {' and '.join(missing)}, which {_are(missing)} not given"
    elif not is_in_order([each.name for each in known], [*by_name]):
        listed = (", ".join(regime.name for regime in regimes) for regimes in (now, known))
        yield "regimes: {} here, in the order {} in {}".format(*listed, file)
    for regime in known:
        other = by_name.get(regime.name, regime)
        (name, text), (other_name, content) = content_of(regime.file), content_of(other.file)
        if name != other_name:
            yield f"regime {regime.name}: of the file {other_name} here, of {name} in {file}"
        elif text != content:
            yield f"regime {regime.name}: {_differing_keys(file, text, content)}"
        if (regime.policy and regime.policy[1]) != (other.policy and other.policy[1]):
            yield f"policy {regime.name}: is other code here than in {file}"


def _are(names: Sequence[str]) -> str:
    return "is" if len(names) == 1 else "are"


def _of_axes(file: str, known: Design, now: Design) -> Iterator[str]:
    """Yield what varies that is missing, has fewer values, or can't be added."""
    axes = {axis.path: axis for axis in now.axes}
    for axis in known.axes:
        there = f"{values_text(axis.as_data())} in {file}"
        other = axes.get(axis.path)
        if other is None:
            yield f"{axis.path}: not varied here, {there}"
        elif not _has_all(axis, other):
            yield f"{axis.path}: {values_text(other.as_data())} here, {there}"
        elif known.sample is not None and _read(axis) != _read(other):
            yield f"{axis.path}: {values_text(other.as_data())} here, {there}, which is a sample"
    order = [axis.path for axis in known.axes]
    if {*order} <= axes.keys() and not is_in_order(order, [*axes]):
        yield f"varies {', '.join(axes)} here, in the order {', '.join(order)} in {file}"
    for axis in now.axes:
        if known.sample is not None and axis.path not in order:
            yield f"{axis.path}: {values_text(axis.as_data())} here, not varied in {file}"


def _has_all(axis: Axis, other: Axis) -> bool:
    """Whether an axis has all values of one, in their order, or is the same range."""
    if axis.range is not None or other.range is not None:
        return axis.range == other.range
    return is_in_order(_read(axis), _read(other))


def _read(axis: Axis) -> list[object]:
    """The values of an axis, however they are written."""
    return [*map(as_read, axis.values)]


def is_in_order(few: Iterable[object], many: Iterable[object]) -> bool:
    """Whether all of few things are among many, in the same order."""
    rest = iter(many)
    return all(any(one == other for other in rest) for one in few)


def _differing_keys(file: str, known: str, now: str) -> str:
    """The first keys of two texts of files whose values differ, with both values."""
    differing = [*_differing(read_text(known, "").data, read_text(now, "").data)]
    keys = [
        f"{field_name(steps)} {_brief(other)} here, {_brief(one)} in {file}"
        for steps, one, other in differing[:MOST_KEYS]
    ]
    more = len(differing) - MOST_KEYS
    return ", ".join([*keys, *([f"and {more} more"] if more > 0 else [])])


def _differing(
    one: Data | None, other: Data | None, steps: Steps = ()
) -> Iterator[tuple[Steps, Data | None, Data | None]]:
    """Yield the places at which two documents differ, and what each has there."""
    if isinstance(one, dict) and isinstance(other, dict):
        for key in one | other:
            yield from _differing(one.get(key), other.get(key), (*steps, key))
    elif isinstance(one, list) and isinstance(other, list) and len(one) == len(other):
        for place, pair in enumerate(zip(one, other, strict=True)):
            yield from _differing(*pair, (*steps, place))
    elif one != other:
        yield steps, one, other


def _brief(value: Data | None) -> str:
    """A value in a few words."""
    if isinstance(value, str):
        return value if len(value) <= LONGEST_VALUE else f"{value[: LONGEST_VALUE - 1]}…"
    if isinstance(value, list):
        return f"{len(value)} entries"
    return "not set" if value is None else "another"
