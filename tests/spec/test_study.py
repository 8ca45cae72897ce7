"""Study files: what they say, what they leave out, and what is said of those that are wrong."""

import pytest

from petsim.errors import SpecError
from petsim.spec.study import Sample, load_study

LEAST = """\
petsim: study 1
name: How often
regimes: [hourly]
"""
WHOLE = """\
petsim: study 1
name: How often to look
about: An invented study.
model: lamplet-quick
regimes: [hourly, ten-minute]
vary:
  checks.every: 2 min..60 min/2 min
  passes: [1, 2]
sample: {method: latin, points: 12}
lives: 50
seed: 7
until: death
aim: lantern
keep: lives
"""


@pytest.fixture
def file(tmp_path):
    """A study file of some text."""

    def write(text):
        path = tmp_path / "often.yaml"
        path.write_text(text)
        return path

    return write


def test_a_study_says_all_of_a_sweep(file):
    study = load_study(file(WHOLE))
    assert (study.name, study.about) == ("How often to look", "An invented study.")
    assert (study.model, study.regimes) == ("lamplet-quick", ("hourly", "ten-minute"))
    assert study.vary == {"checks.every": "2 min..60 min/2 min", "passes": ["1", "2"]}
    assert study.sample == Sample(method="latin", points="12")
    assert (study.sample.method, study.sample.points) == ("latin", 12)
    assert (study.lives, study.seed, study.until, study.days) == (50, 7, "death", None)
    assert (study.aim, study.keep) == ("lantern", "lives")


def test_what_a_study_leaves_out_is_as_on_the_command_line(file):
    study = load_study(file(LEAST))
    assert (study.model, study.vary, study.sample) == (None, {}, None)
    assert (study.lives, study.seed, study.until, study.days) == (1_000, 0, None, None)
    assert (study.aim, study.keep) == (None, "sums")


def test_files_of_a_study_are_looked_for_beside_it(file, tmp_path):
    (tmp_path / "mine.yaml").write_text("a: b\n")
    (tmp_path / "policy.py").write_text("class Mine: pass\n")
    text = LEAST.replace("[hourly]", "[mine.yaml, ./mine.yaml, policy.py:Mine, hourly, no.yaml]")
    study = load_study(file(text + "model: mine.yaml\n"))
    beside = str(tmp_path / "mine.yaml")
    assert study.model == beside
    assert study.regimes == (
        beside,
        beside,
        f"{tmp_path / 'policy.py'}:Mine",
        "hourly",
        "no.yaml",
    )


@pytest.mark.parametrize(
    ("line", "instead", "said"),
    [
        (1, "petsim: study 2", "1:9: petsim: found 'study 2'; did you mean 'study 1'?"),
        (5, "regimes: hourly",
         "5:10: regimes: found 'hourly'; expected a list, such as [first, second]"),
        (6, "vari:", "6:1: vari: found the unknown key 'vari'; did you mean 'vary'?"),
        (9, "sample: {method: latine, points: 12}",
         "9:18: sample.method: found 'latine'; did you mean 'latin'?"),
        (9, "sample: {method: latin, points: 0}",
         "9:33: sample.points: found '0'; expected at least 1"),
        (9, "sample: {method: latin}",
         "9:1: sample.points: missing; expected how many"),
        (9, "sample: latin", "9:9: sample: found 'latin'; expected keys and values"),
        (10, "lives: many", "10:8: lives: found 'many'; expected a whole number, 1 or more"),
        (10, "lives: 0", "10:8: lives: found '0'; expected at least 1"),
        (11, "seed: -1", "11:7: seed: found '-1'; expected a whole number, 0 or more"),
        (12, "until: deth", "12:8: until: found 'deth'; did you mean 'death'?"),
        (12, "days: 1.5", "12:7: days: found '1.5'; expected a whole number, 1 or more"),
        (7, "  checks.every: 2 min..1 min/1 min",
         "7:17: vary.checks.every: found '2 min..1 min/1 min'; "
         "expected a range from less to more, in one kind of unit"),
        (7, "  .every: [1, 2]",
         "7:3: vary..every: found a list; expected a path such as checks.every or "
         "routine[3].repeat"),
        (7, "  checks.every: 1..99999/1\n  x: 1..99999/1",
         "6:1: vary: found more; expected at most 100000 values in all"),
        (5, "regimes: []", "5:1: regimes: found none; expected one or more"),
        (5, "regimes: [hourly, hourly]",
         "5:19: regimes[1]: found 'hourly' again; expected each once"),
        (14, "keep: all", "14:7: keep: found 'all'; expected one of 'sums', 'lives'"),
    ],
)  # fmt: skip
def test_a_field_that_is_wrong_is_told_with_its_line(line, instead, said, file):
    lines = WHOLE.splitlines()
    lines[line - 1] = instead
    path = file("\n".join(lines) + "\n")
    with pytest.raises(SpecError) as caught:
        load_study(path)
    assert str(caught.value) == f"{path}:{said}"


def test_all_that_is_wrong_is_told_at_once(file):
    path = file("petsim: study 1\nlives: 0\nseed: x\n")
    with pytest.raises(SpecError) as caught:
        load_study(path)
    fields = [(problem.line, problem.field) for problem in caught.value.problems]
    assert (2, "lives") in fields and (3, "seed") in fields
    said = str(caught.value)
    assert "name: missing; expected the name of the study" in said
    assert "regimes: missing; expected names or paths of regimes, or FILE.py:CLASS" in said
