"""`--pet` in place of `--model`: commands that take a pet over as it is now."""

from __future__ import annotations

from pathlib import Path

import pytest

import petsim

PET = """\
petsim: pet 1
model: lamplet
at: Wed 07:40
form: glow
for: 20 h to 24 h
levels: {hunger: 3, mood: 5}
waste: 1
waste for: 10 min
weight: 40
discipline: 60 to 80
misses in form: {hunger: 1}
misses in life: 2
"""
ASSUMED = (
    "Left out of the file of now, and so assumed: ill: no (as it is not said); since last.waste: "
    "0 s (as at a growth, which is exact only for exponential waits); since last.misbehaviour: 0 s "
    "(as at a growth, which is exact only for exponential waits); misbehaving: no (as it can't be "
    "seen)."
)


@pytest.fixture
def now(tmp_path: Path) -> str:
    path = tmp_path / "now.yaml"
    path.write_text(PET, encoding="utf-8")
    return str(path)


@pytest.fixture
def done(told):
    """What a command prints that does what is asked."""

    def run(*arguments: str) -> str:
        code, out, complaint = told(*arguments)
        assert (code, complaint) == (0, "")
        return out

    return run


def unbroken(text: str) -> str:
    return " ".join(text.split())


def test_compare_takes_it_over_and_says_what_is_assumed(done, now) -> None:
    out = unbroken(done("compare", "ten-minute", "--pet", now, "--lives", "40"))
    assert "now: 40 lives, seed 0, followed to their outcome" in out
    assert ASSUMED in out


def test_what_it_takes_counts_the_misses_it_brings(now) -> None:
    result = petsim.compare(now, ["thirty-minute"], lives=300)
    [batch] = result.batches
    requirements = result.requirements().reset_index()
    [few_enough] = requirements[requirements["what"] == "misses in form at most 4"].itertuples()
    # 4 are allowed in form, of which it brings one
    outgrew = batch.lives[batch.lives.outcome.isin(batch.model.outcome_forms)]
    shares = [(outgrew["misses_in.glow"] <= most).mean() for most in (3, 4)]
    assert shares[0] < shares[1]
    assert few_enough.estimate == pytest.approx(shares[0])


def test_run_begins_with_how_it_was_taken_over(done, now) -> None:
    out = unbroken(done("run", "ten-minute", "--pet", now, "--only", "growth"))
    assert (
        "07:40 taken over as glow (adolescent): hunger 3 of 6, mood 5 of 6, a pile of waste of 1, "
        "1 care miss in form and 2 in life"
    ) in out
    assert ASSUMED in out
    assert "Day 1, Wednesday" in out


def test_a_sweep_keeps_the_pet_and_its_model(done, now, tmp_path) -> None:
    out = str(tmp_path / "of-now")
    arguments = ("--vary", "checks.every=10min,40min", "--lives", "30", "--pet", now, "--out", out)
    done("sweep", "ten-minute", *arguments, "--quiet")
    Path(now).unlink()
    assert "60 of 60 lives" in unbroken(done("show", out))
    assert petsim.open_sweep(out).model(0).pet.form == "glow"


def test_the_command_to_repeat_it_says_pet(done, now) -> None:
    out = unbroken(done("compare", "camera-rig", "--pet", now, "--lives", "60"))
    assert f"petsim run camera-rig --pet {now} --outcome" in out


def test_a_report_says_what_is_assumed(done, now, tmp_path) -> None:
    page = tmp_path / "life.html"
    done("report", "ten-minute", "--pet", now, "--life", "3", "--out", str(page))
    assert "Left out of the file of now, and so assumed" in page.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (
            ("ten-minute", "--model", "lamplet-quick"),
            "--pet: {now} is a pet of lamplet, but --model says lamplet-quick; expected one model",
        ),
        (
            ("of-another.yaml",),
            "--pet: {now} is a pet of lamplet, but of-another.yaml is for lamplet-quick; "
            "expected one model",
        ),
    ],
)
def test_another_model_beside_it_is_refused(
    told, now, tmp_path, monkeypatch, arguments, message
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("of-another.yaml").write_text(
        "petsim: regime 1\nname: of another\nmodel: lamplet-quick\nchecks: {every: 1 h}\n",
        encoding="utf-8",
    )
    assert told("compare", *arguments, "--pet", now) == (2, "", f"{message.format(now=now)}\n")


def test_its_own_model_beside_it_is_as_good_as_none(done, now) -> None:
    both = done("compare", "ten-minute", "--pet", now, "--model", "lamplet", "--lives", "20")
    assert both == done("compare", "ten-minute", "--pet", now, "--lives", "20")
