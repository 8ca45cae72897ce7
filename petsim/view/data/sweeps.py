"""Schemas of a sweep and of what it says of each parameter."""

from __future__ import annotations

from petsim.spec.choices import SAMPLE_OF, SAMPLES
from petsim.view.data.parts import (
    NUMBER,
    SHARE,
    Schema,
    by_name,
    either,
    ends,
    flag,
    list_of,
    number,
    or_null,
    record,
    row_of,
    seed,
    text,
    version,
    whole,
)


def sweep(*optional: str, **more: Schema) -> Schema:
    """Return the schema of a sweep, with further fields of whoever says more of one."""
    file = (text("Its name"), text("Its text"))
    policy = or_null(text("What its Python policy was made from"), "if it has none")
    regime = row_of("A regime", text("Its name, as given"), row_of("Its file", *file), policy)
    points = row_of(
        "How points are chosen, and how many",
        text("The method", *SAMPLES, *SAMPLE_OF.values()),
        whole("Points", least=1),
    )
    values = list_of("Each value", text("As files have it"))
    cell = record(
        "A cell",
        cell=whole("Number of the cell", NUMBER),
        regime=text("Name of its regime"),
        parameters=by_name("What varies, by its path", text("Its value, as files have it")),
        lives=whole("Lives so far"),
        odds=or_null(
            record("Odds of the aim, or the expected worth", **ends(SHARE)),
            "if nothing was lived",
        ),
        failed=or_null(text("Why it failed"), "if it did not"),
    )
    return record(
        "A sweep, which is unfinished if cells without failure have fewer lives than wanted",
        *optional,
        file=text("Path of its file"),
        petsim=version(),
        model=row_of("The model", *file),
        regimes=list_of("The regimes", regime),
        vary=by_name("What varies, by its path", either("Its values", values, text("A range"))),
        sample=or_null(points, "if all combinations are simulated"),
        lives=whole("Lives wanted in each cell", least=1),
        seed=seed(),
        until=or_null(text("What each life is followed to"), "if to its outcome or for days"),
        days=or_null(number("Time that each life is followed", "days"), "if to its end"),
        aim=text("What is hoped for, as --aim takes it, whose odds or worth are found"),
        keep=flag("Whether the row of every life is kept"),
        chunk=whole("Lives that are simulated and written together", least=1),
        cells=list_of("The cells, in order", cell),
        **more,
    )


def sensitivity() -> Schema:
    """Return the schema of what each parameter of a sweep changes."""
    change = "difference of shares, -1..1"
    moved = record(
        "By Morris's method, what going through its whole range does to the odds",
        effect=number("On average", change),
        size=number("On average, whichever way it goes", "difference of shares, 0..1"),
        low=number("Lower end of the 95 % interval of size", change),
        high=number("Upper end of the 95 % interval of size", change),
        spread=number("How much it depends on the other unknowns, standard deviation", change),
    )
    share = record(
        "By Sobol indices, its share of the variance of the odds",
        **_share_of_variance("alone", "Due to it alone"),
        **_share_of_variance("in_all", "Due to it with all others"),
    )
    by_path = by_name(
        "What each unknown does, by its path; missing until all cells are lived",
        either("By the method of the sample", moved, share),
    )
    return sweep("sensitivity", sensitivity=by_path)


def _share_of_variance(name: str, about: str) -> dict[str, Schema]:
    """The fields of an index with its interval."""
    ends = {
        name: about,
        f"{name}_low": f"{about}, lower end of its 95 % interval",
        f"{name}_high": f"{about}, upper end of its 95 % interval",
    }
    unknown = "if the odds are the same in all cells"
    return {
        key: or_null(number(what, "share of the variance"), unknown) for key, what in ends.items()
    }
