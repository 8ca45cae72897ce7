"""A fit as text: what logs tell of a pet and a rig, what they can't tell, and how well it fits."""

from __future__ import annotations

import math
import re
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING, NamedTuple

from petsim.evidence.estimate import Estimate
from petsim.evidence.posterior import PRIORS
from petsim.life.policy import clock_at
from petsim.spec.document import field_name
from petsim.spec.model import Model
from petsim.spec.variation import path_steps
from petsim.view.estimates import in_words
from petsim.view.numbers import decimals, p_value
from petsim.view.tables import Row, counted, paragraph, table

if TYPE_CHECKING:
    from petsim.evidence.fit import ChainFit, Fit
    from petsim.evidence.goodness import Part

HEAD = ("guess", "estimate", "95 % interval", "told")
"""The head of the columns of an estimate, beside what it is of."""
WEAK = "Weak, and what to record for more"
UNTOLD = "Kept as guessed: why, and what to record instead"
GOODNESS = "How well the fit predicts the first look of each check"
ROW = ("", "estimate, 95 % interval", "told", "guess")
"""The head of the same where there is little room across."""
LEAST_P = 0.01
"""The chance of looks as odd as those there were below which a chain does not predict well: of
five chains that do, one is below it in one fit of twenty."""
FEW = 2
"""Parameters that are named one by one where they can't be told; more are counted by their kind."""
MOST_IMPOSSIBLE = 3
"""Looks that can't be whose times are told."""
PLACES = ("stages", "forms", "spells", "windows")
"""Keys below which a file has several places of the same parameters."""
PRIOR_OF = {
    "mean": "means of times",
    "rate": "rates",
    "shape": "shapes",
    "error": "chances of an error",
    "dark": "chances of an error in bad light",
    "works": "chances that an action works",
    "refuses": "the chance of a check in which the pet refuses",
}
"""What each prior is of."""
_SUBJECTS = (
    (r"(?:stages|forms)\.[^.]+\.drops\.(.+)", r"\1"),
    (r".*\.(waste|misbehaviour)\.every", r"\1"),
    (r".*\.illness\.base", "illness"),
    (r"forms\.[^.]+\.lasts", "how long forms last"),
    (r"outages\..+", "power cuts"),
    (r"eyes\.spells\.(?:clear|lasts)", "spells of bad light"),
)
"""What laws are of, by their paths."""


def fit(found: Fit, width: int = 80) -> str:
    """Return what a fit found, the answer first, in lines of a width."""
    parts = [
        paragraph(gist(found), width),
        *_tables(found, width),
        _listed(f"{WEAK}:", map(": ".join, remedies(found)), width),
        _listed(f"{UNTOLD}:", (": ".join(each.row) for each in untold(found)), width),
        _listed(f"{GOODNESS}:", map(": ".join, predictions(found)), width),
        paragraph(oddities(found), width),
        paragraph(priors(), width),
    ]
    return "\n\n".join(filter(None, parts))


def _listed(title: str, items: Iterable[str], width: int) -> str:
    """Texts below a title, each with its later lines indented further; nothing if there is none."""
    hung = [paragraph(item, width - 4).replace("\n", "\n    ") for item in items]
    lines = (paragraph(title, width), *(f"  {item}" for item in hung))
    return "\n".join(lines) if hung else ""


# The answer


def gist(found: Fit) -> str:
    """Return in a sentence what is told well, what is weak, and how much stays as guessed."""
    by_subject: dict[str, list[Estimate]] = defaultdict(list)
    for each in found.estimates:
        if subject := _subject(each):
            by_subject[subject].append(each)
    verdicts = {name: {each.verdict for each in own} for name, own in by_subject.items()}
    well = [name for name, told in verdicts.items() if "well" in told]
    weak = [name for name, told in verdicts.items() if "weak" in told and "well" not in told]
    guessed = [name for name, told in verdicts.items() if told == {"refused"}]
    says = [f"fix {_and(well)}"] if well else []
    says += [f"say little of {_and(weak)}"] if weak else []
    says = says or ["fix nothing of the pet's pace"]
    return f"{evidence(found)} {', and '.join(says)}. {_guessed(found, guessed)}"


def evidence(found: Fit) -> str:
    """Return how much was logged, such as `6.0 days of 1 life`."""
    return f"{found.days:.1f} days of {counted(len(found.lives))}"


def _guessed(found: Fit, subjects: Sequence[str]) -> str:
    refused = sum(each.verdict == "refused" for each in found.estimates)
    if not refused:
        return "All that was asked is told."
    of_them = f", {_and(subjects)} among them" if subjects else ""
    stay = "parameter stays" if refused == 1 else "parameters stay"
    return f"{refused} {stay} as guessed{of_them}."


def _subject(estimate: Estimate) -> str | None:
    """What a law that a pet or a rig goes by is of; None of a parameter that is no such law."""
    if estimate.of in ("mean", "rate"):
        for pattern, subject in _SUBJECTS:
            if found := re.fullmatch(pattern, estimate.path):
                return found.expand(subject)
    return None


def _and(names: Sequence[str]) -> str:
    return " and ".join(filter(None, (", ".join(names[:-1]), *names[-1:])))


# What is told


class Told(NamedTuple):
    """Parameters of one file that are told, by where they are in it."""

    title: str
    places: dict[str, list[Estimate]]

    @property
    def estimates(self) -> list[Estimate]:
        """All of them, in order."""
        return [each for own in self.places.values() for each in own]

    @property
    def rows(self) -> list[Row]:
        """A row for each under ROW, begun by its path."""
        return [_row(each) for each in self.estimates]


def told(found: Fit) -> list[Told]:
    """Return what is told of the pet and of the rig, where anything is."""
    of_files = []
    for file, title in (("model", "Values of the pet"), ("regime", "Values of the rig")):
        places: dict[str, list[Estimate]] = defaultdict(list)
        for each in found.estimates:
            if each.file == file and each.estimate is not None:
                places[place_of(each)].append(each)
        if places:
            of_files.append(Told(title, places))
    return of_files


def _row(estimate: Estimate) -> Row:
    words = in_words(estimate)
    return (key_of(estimate), str(words), estimate.verdict, words.guess)


def place_of(estimate: Estimate) -> str:
    """Return where in a file a parameter is: `stages.infant`, `eyes.spells` or `hands`."""
    steps = path_steps(estimate.path)
    if steps[0] in ("stages", "forms") or steps[1] == "spells":
        return field_name(steps[:2])
    return field_name(steps[:3] if steps[1] == "windows" else steps[:1])


def key_of(estimate: Estimate, place: str = "") -> str:
    """Return how a parameter is named at its place; of a law the mean has no name of its own."""
    key = estimate.path.removeprefix(place).removeprefix(".")
    return f"{key}, shape" if estimate.of == "shape" else key


def _name(estimate: Estimate) -> str:
    """How a parameter is named in a sentence."""
    return f"shape of {estimate.path}" if estimate.of == "shape" else estimate.path


def cells(estimate: Estimate) -> Row:
    """Return the cells of a parameter under HEAD."""
    words = in_words(estimate)
    return (words.guess, words.estimate, words.interval, estimate.verdict)


def _tables(found: Fit, width: int) -> Iterator[str]:
    """What is told, a table a file; where one is too wide, a paragraph a parameter."""
    for of_file in told(found):
        text = table((of_file.title, *HEAD), [*_by_place(of_file)])
        if max(map(len, text.split("\n"))) > width:
            lines = map(_in_a_line, of_file.estimates)
            text = _listed(f"{of_file.title}, with 95 % intervals:", lines, width)
        yield text


def _by_place(of_file: Told) -> Iterator[Row]:
    """A row for each parameter, below one for its place."""
    for place, estimates in of_file.places.items():
        yield (place, *("" for _ in HEAD))
        for each in estimates:
            yield (f"  {key_of(each, place)}", *cells(each))


def _in_a_line(estimate: Estimate) -> str:
    words = in_words(estimate)
    guess = f", guess {words.guess}" if words.guess else ""
    return f"{_name(estimate)}: {words}{guess}: {estimate.verdict}"


# What is weak or can't be told


def remedies(found: Fit) -> list[Row]:
    """Return weak parameters, and what to record for these to be told well."""
    by_remedy: dict[str, list[Estimate]] = defaultdict(list)
    for each in found.estimates:
        if each.verdict == "weak":
            by_remedy[each.record].append(each)
    return [(_kinds(own, found.model), remedy) for remedy, own in by_remedy.items()]


class Untold(NamedTuple):
    """Parameters that can't be told for one reason, and what to record instead."""

    what: str
    why: str
    record: str

    @property
    def row(self) -> Row:
        """What it is, and why it can't be told with the remedy."""
        return (self.what, f"{self.why}. Remedy: {self.record}" if self.record else self.why)


def untold(found: Fit) -> list[Untold]:
    """Return what can't be told, by reason; of reasons that differ in their figures, one."""
    alike: dict[tuple[str, str], list[Estimate]] = defaultdict(list)
    for each in found.estimates:
        if each.verdict == "refused":
            alike[each.record, re.sub(r"[\d.]+", "", each.why)].append(each)
    return [
        Untold(_kinds(own, found.model), _why(own), record) for (record, _), own in alike.items()
    ]


def _why(estimates: Sequence[Estimate]) -> str:
    """The reason of parameters whose reasons differ in their figures at most."""
    first = estimates[0]
    if len({each.why for each in estimates}) == 1:
        return first.why
    others = "the other" if len(estimates) == FEW else "the others"
    return f"{first.why} (so {first.path}, and {others} likewise)"


def _kinds(estimates: Sequence[Estimate], model: Model) -> str:
    """Parameters by their paths, or where many are of one kind by that, with their number."""
    kinds: dict[str, list[str]] = defaultdict(list)
    for each in estimates:
        kinds[kind_of(each, model)].append(_name(each))
    parts = []
    for kind, paths in kinds.items():
        parts += paths if len(paths) <= FEW else [f"{kind} of {len(paths)} parts"]
    return _and(parts)


def kind_of(estimate: Estimate, model: Model) -> str:
    """Return what a parameter is called in its file, wherever that is: `grace`, `slips`."""
    names = {*model.needs, *model.care, *model.forms, *model.stages}
    steps = [s for s in path_steps(estimate.path) if isinstance(s, str) and s not in names]
    if steps[-1] in ("every", "base", "window") or steps[0] in ("care", "hands", "needs"):
        key = " ".join(steps[-2:])
    else:
        key = steps[-1]
    return f"shape of {key}" if estimate.of == "shape" else key


# How well it predicts


def predictions(found: Fit) -> list[Row]:
    """Return each chain that was tested, and how well it predicts."""
    return [(chain.name, _predicted(chain, chain.goodness.p)) for chain in found.chains
            if chain.goodness is not None]  # fmt: skip


def _predicted(chain: ChainFit, p: float) -> str:
    text = p_value(p)
    well = "well" if p >= LEAST_P else "badly"
    rough = "" if chain.posterior.converged else "; its search found no end, so intervals are rough"
    return f"predicted {well} (p {text if text.startswith('<') else f'= {text}'}){rough}"


def oddities(found: Fit) -> str:
    """Return sentences on the largest difference, and on what can't be by the model."""
    chains = [chain for chain in found.chains if chain.goodness is not None]
    odd = [_impossible(found, chain) for chain in chains if chain.impossible]
    return " ".join(filter(None, [_largest(chains), *odd]))


def _largest(chains: Sequence[ChainFit]) -> str:
    """The part of all chains that is farthest from what was expected."""
    parts = [(chain, part) for chain in chains if chain.goodness for part in chain.goodness.parts]
    if not parts:
        return ""
    chain, part = max(parts, key=lambda each: abs(each[1].z))
    excess = "excess" if part.z > 0 else "lack"
    return (
        f"Largest {excess}: {chain.name} {when(part)}, {seen_and_expected(chain.name, part)} "
        f"(z = {part.z:+.1f}, of {len(parts)} sums)."
    )


def when(part: Part) -> str:
    """Return at which hours, or as which form, looks were."""
    return f"from {part.what}" if ":" in part.what else f"as {part.what}"


def seen_and_expected(chain: str, part: Part) -> str:
    """Return the mean that was seen and that was expected, of yes/no signals as shares."""
    by, unit = (100, " %") if is_share(chain) else (1, "")
    error = by * standard_error(part)
    digits = decimals(error) if error > 0 else FEW
    return f"seen {by * part.seen:.{digits}f}{unit}, expected {by * part.expected:.{digits}f}{unit}"


def is_share(chain: str) -> bool:
    """Whether looks at a chain say yes or no, so that their mean is a share."""
    return chain in ("illness", "misbehaviour")


def standard_error(part: Part) -> float:
    """Return the standard deviation that the mean of a part was expected to have; 0 if unknown."""
    return abs((part.seen - part.expected) / part.z) if part.z else 0.0


def _impossible(found: Fit, chain: ChainFit) -> str:
    times = [
        f"life {number + 1} on {clock_at(int(t), found.lives[number].begins)}"
        for number, t in chain.impossible[:MOST_IMPOSSIBLE]
    ]
    more = ", …" if len(chain.impossible) > MOST_IMPOSSIBLE else ""
    looks = counted(chain.looks, "look")
    return (
        f"{len(chain.impossible)} of {looks} at {chain.name} can't be by the model: "
        f"{', '.join(times)}{more}."
    )


def priors() -> str:
    """Return what was assumed before the logs, in a sentence."""
    kinds: dict[str, list[str]] = defaultdict(list)
    for kind, (centre, spread) in PRIORS.items():
        is_chance = kind not in ("mean", "rate", "shape")
        scale = "logit" if is_chance else "log"
        kinds[f"{_centre(centre, is_chance=is_chance)}, SD {spread:g} of the {scale}"].append(
            PRIOR_OF[kind]
        )
    each = "; ".join(f"{_and(names)} {law}" for law, names in kinds.items())
    return f"Priors, weak: {each}."


def _centre(centre: float | None, *, is_chance: bool) -> str:
    if centre is None:
        return "around the guess"
    middle = 100 / (1 + math.exp(-centre)) if is_chance else math.exp(centre)
    return f"around {middle:.2g}{' %' if is_chance else ''}"
