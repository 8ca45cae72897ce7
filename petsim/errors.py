"""The errors that a user's input can lead to, and the words that explain them."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

LONGEST_QUOTE = 60
LONGEST_LIST = 12


class PetsimError(Exception):
    """What a user gave can't be used; the message, which is for them, says what would be right."""


class ArgumentError(PetsimError, ValueError):
    """An argument is out of its range; the message names it and says what would be right."""


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
        return f"{place}: {field}{self.found}; {self.expected}"


class SpecError(PetsimError):
    """A model or regime cannot be used; `problems` holds everything that is wrong with it."""

    def __init__(self, problems: Sequence[Problem]) -> None:
        super().__init__(tuple(problems))
        self.problems = tuple(problems)

    def __str__(self) -> str:
        return "\n".join(str(problem) for problem in self.problems)


class MisfitError(ValueError):
    """A value that does not fit its place, before the file and line are known.

    `at` leads from the value that was checked to the key inside it that is to blame; without
    `found` the value itself is shown.
    """

    def __init__(self, expected: str, found: str = "", at: tuple[str | int, ...] = ()) -> None:
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


def near_miss(name: str, known: Iterable[str]) -> str | None:
    """Return the known name closest to a misspelt one, if one is close enough; of no text, none."""
    if not isinstance(name, str) or len(name) > LONGEST_QUOTE:
        return None
    folded = {other.casefold().replace("_", " "): other for other in known}
    close = difflib.get_close_matches(name.casefold().replace("_", " "), folded, n=1)
    return folded[close[0]] if close else None


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


def ensure_known(argument: str, value: str, known: Iterable[str]) -> None:
    """Refuse an argument's value that is none of those there are.

    Raises:
        ArgumentError: it is none of them; the message says which may have been meant.
    """
    names = list(known)
    if value not in names:
        raise ArgumentError(f"{argument}: {value!r}; {choice(value, names)}")


def unknown(kind: str, name: str, known: Iterable[str]) -> MisfitError:
    """Return the misfit of a name that nothing bears."""
    return MisfitError(choice(name, known), f"found the unknown {kind} {quote(name)}")
