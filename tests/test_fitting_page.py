"""What the manual page of fits shows is what happens.

After a change that is meant, `python -m tests.test_fitting_page` writes whole outputs anew; parts
of outputs are by hand.
"""

import re
from pathlib import Path

import pytest

from petsim.evidence import estimate, fit, levels
from petsim.spec.library import load_model, load_regime
from petsim.view.manual import TOPICS
from tests.pages import broken_links, printed, shown_in

PAGE = TOPICS["fitting"] / "README.md"
TEXT = PAGE.read_text(encoding="utf-8")
SHOWN = [(shown.command, shown.kind, shown.output) for shown in shown_in(TEXT)]
ELSEWHERE = re.findall(r"`petsim ((?:sweep|trials) [^`]+)`", TEXT)
NUMBER = re.compile(r"\d+(?:\.\d+)?")
ROUGHLY = 0.15
"""By how much a figure of a fit may be off: other libraries may end a search a little elsewhere."""


def regime() -> str:
    """The regime of the page."""
    [text] = re.findall(r"<!-- file: recording.yaml -->\n```yaml\n(.*?)```", TEXT, re.DOTALL)
    return str(text)


def outputs(folder: Path) -> dict[str, str]:
    """What the commands of the page print, in its order."""
    (folder / "recording.yaml").write_text(regime(), encoding="utf-8")
    return {command: printed(command, folder) for command, _, _ in SHOWN}


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("page")


@pytest.fixture(scope="module")
def found(folder):
    return outputs(folder)


def alike(shown: str, line: str) -> bool:
    """Whether a line is as shown, but for spaces and a little in each figure."""
    of_both = [NUMBER.split(" ".join(text.split())) for text in (shown, line)]
    figures = [[float(n) for n in NUMBER.findall(text)] for text in (shown, line)]
    return of_both[0] == of_both[1] and all(
        there == pytest.approx(here, rel=ROUGHLY)
        for here, there in zip(figures[0], figures[1], strict=True)
    )


def test_page_shows_each_step():
    assert [command.split()[0] for command, _, _ in SHOWN] == ["run", "check", "fit", "compare"]
    assert TEXT.count("```console") == len(SHOWN)
    assert TEXT.count("```yaml") == 1


def test_outputs_are_as_shown(found):
    for command, kind, shown in SHOWN:
        if kind == "output":
            assert found[command] == shown


def test_parts_of_outputs_are_as_shown(found):
    for command, kind, shown in SHOWN:
        if kind == "part of the output":
            lines = iter(found[command].splitlines())
            for line in filter(None, shown.splitlines()):
                assert line == "…" or any(alike(line, other) for other in lines), line


def test_files_of_a_fit_are_read(found, folder):
    model = load_model(folder / "mypet.yaml")
    assert load_regime(folder / "myrig.yaml", model).eyes.asleep.overlooks > 0


@pytest.mark.parametrize("command", ELSEWHERE, ids=lambda command: command.split()[0])
def test_other_commands_of_the_page_run(command, found, folder):
    assert printed(f"{command} --lives 20", folder)


def test_other_commands_are_there():
    assert len(ELSEWHERE) == 2


def test_limits_of_the_page_are_those_of_the_code():
    for words, limit, is_so in (
        ("less than three tenths of the doubt", estimate.WEAK, 0.3),
        ("more than seven tenths are left", estimate.REFUSED, 0.7),
        ("a factor of 1.5 to either side", estimate.WIDE, 1.5),
        ("gains more than 6 by Akaike's", levels.AIC_GAIN, 6),
        ("thirty waits or more, or for eight", levels.FEWEST_WAITS, 30),
        ("or for eight if the guess is no", levels.FEW_WAITS, 8),
        ("fewer than five waits", levels.FEWEST_DROPS, 5),
        ("more than one look in a hundred that can't be", fit.MOST_IMPOSSIBLE, 0.01),
        ("more than 35 % of the time", fit.MOST_MISREAD, 0.35),
    ):
        assert words in " ".join(TEXT.split())
        assert limit == is_so


def test_links_of_the_page_lead_somewhere():
    assert broken_links(PAGE) == []


if __name__ == "__main__":
    import tempfile

    with tempfile.TemporaryDirectory() as name:
        now = outputs(Path(name))
    for command, kind, shown in SHOWN:
        if kind == "output":
            before = f"$ petsim {command}\n{shown}```"
            TEXT = TEXT.replace(before, f"$ petsim {command}\n{now[command]}```")
    PAGE.write_text(TEXT, encoding="utf-8")
