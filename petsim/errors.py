"""The errors that a user's input can lead to, and the words that explain them."""

from __future__ import annotations

import difflib
import re
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field
from heapq import nlargest
from typing import TypeAlias

LONGEST_QUOTE = 60
LONGEST_LIST = 12
MOST_SEARCHED = 1_000
"""Known names among which the one that a misspelt name may mean is looked for."""
MOST_COMPARED = 10
"""Known names that are compared with a misspelt one letter by letter."""


_UNSHOWN = re.compile(
    "[\x00-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ufeff\ud800-\udfff]"
)


def legible(text: str, kept: str = "") -> str:
    """Return a text in which what a terminal would obey, not show, is written out, as `\\x1b`.

    That is control characters, those that turn the direction of writing or end a line or a
    paragraph, byte order marks, and bytes of a file name that are no characters.

    Args:
        text: from a file, a file's name or another's error, say.
        kept: such characters that stay, as the ends of lines in a text of several.
    """
    return _UNSHOWN.sub(
        lambda match: match[0] if match[0] in kept else _written_out(match[0]), text
    )


def _written_out(character: str) -> str:
    return character.encode("unicode_escape", "surrogatepass").decode("ascii")


class PetsimError(Exception):
    """What a user gave can't be used; the message, which is for them, says what would be right."""

    def __str__(self) -> str:
        return legible(super().__str__())


class ArgumentError(PetsimError, ValueError):
    """An argument is out of its range; the message names it and says what would be right."""


class LogError(PetsimError):
    """A log is no log, or not of the pet that it is read for; the message says where and why."""


class PolicyError(PetsimError):
    """A Python policy did something a caretaker can't; the message is for its author."""


@dataclass(frozen=True)
class Problem:
    """One thing wrong with a file.

    `line` and `column` count from 1 and are None where there is no line to show (a file that
    cannot be read, data given from Python); `field` is empty where the whole file is meant;
    `shipped_as` is the name that a file which comes with petsim is asked for by.
    """

    file: str
    line: int | None
    column: int | None
    field: str
    found: str
    expected: str
    shipped_as: str = ""

    def __str__(self) -> str:
        place = self.file if self.line is None else f"{self.file}:{self.line}:{self.column}"
        if self.shipped_as:
            place = f"{self.shipped_as} ({place})"
        field = f"{self.field}: " if self.field else ""
        return legible(f"{place}: {field}{self.found}; {self.expected}")


class SpecError(PetsimError):
    """A model or regime cannot be used.

    `problems` holds what is wrong with it, of very many problems the first ones, in the order of
    the file; `more` is the number of the others.
    """

    def __init__(self, problems: Sequence[Problem], more: int = 0) -> None:
        super().__init__(tuple(problems), more)
        self.problems = tuple(problems)
        self.more = more

    @property
    def lines(self) -> tuple[str, ...]:
        """The message, a line for each problem and one that counts those that are not told."""
        counted = f"{self.more:,} more {'problem' if self.more == 1 else 'problems'}"
        return (*map(str, self.problems), *([counted] if self.more else []))

    def __str__(self) -> str:
        return "\n".join(self.lines)


@dataclass(frozen=True)
class Choice:
    """Says which of some names may have been meant by another, once it is made a text.

    To find that out takes a while, and of the many faults of a file only the first are shown.
    """

    name: str
    known: Collection[str] = field(compare=False)

    def __str__(self) -> str:
        return choice(self.name, self.known)


Words: TypeAlias = str | Choice
"""What is right, in words."""


class MisfitError(ValueError):
    """A value that does not fit its place, before the file and line are known.

    `at` leads from the value that was checked to the key inside it that is to blame; without
    `found` the value itself is shown.
    """

    def __init__(self, expected: Words, found: str = "", at: tuple[str | int, ...] = ()) -> None:
        super().__init__(expected, found, at)
        self.expected = expected
        self.found = found
        self.at = at


class SeveralMisfitsError(ValueError):
    """Several misfits of one value."""

    def __init__(self, misfits: Sequence[MisfitError]) -> None:
        super().__init__(tuple(misfits))
        self.misfits = tuple(misfits)


def quote(text: str) -> str:
    """Return the text in quotes, shortened, with what cannot be printed written out."""
    return repr(text if len(text) <= LONGEST_QUOTE else text[: LONGEST_QUOTE - 1] + "…")


def describe(value: object) -> str:
    """Say what was found, for a value of a document."""
    if isinstance(value, str):
        return f"found {quote(value)}" if value else "found nothing"
    return "found a mapping" if isinstance(value, dict) else "found a list"


SYNONYMS = {
    "s": ("sec", "secs", "second", "seconds"),
    "min": ("m", "mins", "minute", "minutes"),
    "h": ("hr", "hrs", "hour", "hours"),
    "days": ("d",),
    "weeks": ("w",),
    "ill": ("sick", "illness"),
    "asleep": ("sleeping", "sleeps"),
    "waste": ("dirt", "dirty", "mess"),
    "dose": ("medicine", "heal"),
}
"""Words that people use for a name that there may be."""


def near_miss(name: str, known: Iterable[str]) -> str | None:
    """Return the known name that a wrong one means, or the closest; if none is close, none.

    Of many known names those are compared that share the most pairs of letters with it, as in
    Dice's coefficient. Among more than `MOST_SEARCHED` none is looked for.
    """
    short = [other for other in known if len(other) <= LONGEST_QUOTE]
    if not isinstance(name, str) or len(name) > LONGEST_QUOTE or len(short) > MOST_SEARCHED:
        return None
    folded, wanted = {_folded(other): other for other in short}, _folded(name)
    for meant, other in folded.items():
        if wanted in SYNONYMS.get(meant, ()):
            return other
    alike: Iterable[str] = folded
    if len(folded) > MOST_COMPARED:
        pairs = _pairs(wanted)
        alike = nlargest(MOST_COMPARED, folded, key=lambda other: _share(pairs, _pairs(other)))
    close = difflib.get_close_matches(wanted, alike, n=1)
    return folded[close[0]] if close else None


def _folded(name: str) -> str:
    return name.casefold().replace("_", " ")


def _pairs(name: str) -> set[str]:
    """Return the pairs of neighbouring letters of a name, its two ends among them."""
    return {f"{first}{second}" for first, second in zip(f" {name}", f"{name} ", strict=True)}


def _share(one: set[str], other: set[str]) -> float:
    """Return Dice's coefficient of two sets, which are not both empty."""
    return 2 * len(one & other) / (len(one) + len(other))


def choice(name: str, known: Iterable[str], most: int = LONGEST_LIST) -> str:
    """Say which name may have been meant, or list those there are, up to `most` of them."""
    names = list(known)
    close = near_miss(name, names)
    if close is not None:
        return f"did you mean {quote(close)}?"
    if not names:
        return "expected none, as there are none"
    shown = ", ".join(quote(other) for other in names[:most])
    more = ", …" if len(names) > most else ""
    return f"expected {'one of ' if len(names) > 1 else ''}{shown}{more}"


def listed(names: Sequence[str], between: str = ", ") -> str:
    """Return names in a row, of over `LONGEST_LIST` the first ones."""
    more = ["…"] if len(names) > LONGEST_LIST else []
    return between.join([*names[:LONGEST_LIST], *more])


def ensure_known(argument: str, value: str, known: Iterable[str]) -> None:
    """Refuse an argument's value that is none of those there are.

    Raises:
        ArgumentError: it is none of them; the message says which may have been meant.
    """
    names = list(known)
    if value not in names:
        raise ArgumentError(f"{argument}: {value!r}; {choice(value, names)}")


def unknown(kind: str, name: str, known: Collection[str]) -> MisfitError:
    """Return the misfit of a name that nothing bears."""
    return MisfitError(Choice(name, known), f"found the unknown {kind} {quote(name)}")
