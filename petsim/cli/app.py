"""All commands, by the question that each answers."""

from __future__ import annotations

import click

from petsim._version import __version__
from petsim.cli import ask, files, real_pet, sweeps
from petsim.cli.choose import choose
from petsim.cli.expect import expect
from petsim.cli.explain import explain
from petsim.cli.output import Questions
from petsim.cli.run import run
from petsim.cli.tolerance import tolerance

program = Questions(
    "petsim",
    {
        "Ask": [
            ask.compare,
            run,
            sweeps.sweep,
            sweeps.sensitivity,
            ask.plot,
            ask.report,
            sweeps.export,
        ],
        "Decide": [explain, choose, tolerance, expect],
        "Your real pet": [real_pet.trials, real_pet.import_, real_pet.fit],
        "Files and trust": [
            files.show,
            files.check,
            files.new,
            files.list_,
            files.schema,
            files.verify,
            files.help_,
        ],
    },
    help="Try out how a virtual pet is looked after, before touching hardware.",
    no_args_is_help=False,
    context_settings={"help_option_names": ["-h", "--help"], "show_default": True},
)
"""The group of all commands."""

click.version_option(__version__, message="%(prog)s %(version)s")(program)
