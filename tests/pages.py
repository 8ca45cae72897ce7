"""What pages of the manual show of commands, and what these print."""

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path
from typing import NamedTuple

PARTS = re.compile(
    r"<!-- (commands|output|part of the output) -->\n```console\n\$ petsim ([^\n]+)\n(.*?)```\n",
    re.DOTALL,
)


class Shown(NamedTuple):
    """A command as a page shows it: whether with all its output, and the output."""

    kind: str
    command: str
    output: str


def shown_in(text: str) -> list[Shown]:
    """The commands of a page, in order."""
    return [Shown(*match) for match in PARTS.findall(text)]


def printed(command: str, folder: Path) -> str:
    """What a petsim command prints in a folder."""
    done = subprocess.run(
        [sys.executable, "-m", "petsim", *shlex.split(command)],
        cwd=folder,
        env=os.environ | {"COLUMNS": "80"},
        capture_output=True,
        encoding="utf-8",
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def broken_links(page: Path) -> list[str]:
    """The links of a page that lead to no file, or to no heading of one."""
    broken = []
    for target in re.findall(r"\]\(([^)\s]+)\)", page.read_text(encoding="utf-8")):
        path, _, anchor = target.partition("#")
        other = (page.parent / path).resolve() if path else page
        if not other.exists():
            broken.append(target)
        elif anchor:
            headings = re.findall(r"^#+ (.+)$", other.read_text(encoding="utf-8"), re.MULTILINE)
            slugs = [re.sub(r"[^\w -]", "", head.lower()).replace(" ", "-") for head in headings]
            broken += [] if anchor in slugs else [target]
    return broken
