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


def test_its_timeline_begins_with_when_it_was_taken_over(now) -> None:
    ax = petsim.simulate(now, "ten-minute").plot("timeline")
    assert ax.get_xlabel() == "day of life (ticks: 00:00; taken over 07:40)"


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


# The pet that a life leaves


def test_run_writes_the_pet_of_a_time_which_compare_takes(told, done, tmp_path) -> None:
    file = tmp_path / "later.yaml"
    at_noon = ("run", "camera-rig", "--until", "day 3 12:00", "--write-pet", str(file))
    code, out, complaint = told(*at_noon)
    written = f"{file}: written, the pet as of Wednesday 12:00; try: petsim show {file}\n"
    assert (code, complaint) == (0, written)
    assert unbroken(out).endswith("12:00 followed to here; outcome: undecided")
    state = petsim.state_at("lamplet", "camera-rig", 2 * 86_400 + 3 * 3_600)
    pet = petsim.load_pet(file)
    assert (pet.form, str(pet.at), pet.model) == (state.form, "Wednesday 12:00", "lamplet")
    assert pet == petsim.pet_of(state, petsim.load_model("lamplet"), "lamplet").pet
    done("compare", "ten-minute", "--pet", str(file), "--lives", "20")


def test_what_a_pet_file_cannot_hold_is_said_and_written(told, tmp_path) -> None:
    file = tmp_path / "night.yaml"
    code, _, complaint = told(
        *("run", "camera-rig", "--until", "day 3 02:00", "--write-pet", str(file))
    )
    assert code == 0
    assert "\n  no pet file can hold a spell of bad light\n" in complaint
    head = file.read_text(encoding="utf-8").partition("petsim: ")[0]
    assert head.splitlines()[2:] == ["# No pet file can hold:", "#   a spell of bad light"]


def test_a_regime_of_any_name_is_named_in_a_remark(told, tmp_path, monkeypatch) -> None:
    monkeypatch.chdir(tmp_path)
    regime = Path("odd\nmodel: none.yaml")
    regime.write_text("petsim: regime 1\nname: Odd\nchecks: {every: 1 h}\n", encoding="utf-8")
    code, _, _ = told("run", f"./{regime}", "--days", "0.01", "--write-pet", "now.yaml")
    assert (code, petsim.load_pet("now.yaml").form) == (0, "glint")


def test_it_is_written_again_of_a_life_that_took_one_over(told, now, tmp_path) -> None:
    file = tmp_path / "folder" / "later.yaml"
    file.parent.mkdir()
    told(*("run", "ten-minute", "--pet", now, "--days", "0.1", "--write-pet", str(file)))
    pet, start = petsim.load_pet(file), petsim.simulate(now, "ten-minute").start
    assert pet.model == "lamplet"
    grown = petsim.simulate(now, "ten-minute").summary["entered_s.beacon"]
    assert grown > 8_640 and start is not None
    assert 20 * 3_600 <= pet.form_age.low - 8_640 <= 24 * 3_600
    misses = petsim.simulate(now, "ten-minute", days=0.1).summary["misses"]
    in_form = pet.misses_in_form
    assert sum(each.low for each in in_form.values()) == 1 + misses


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (
            ("--until", "day 3 25:00"),
            "Invalid value for '--until': 'day 3 25:00'; expected a clock time from 00:00 to "
            "23:59:59",
        ),
        (
            ("--until", "noon"),
            "Invalid value for '--until': 'noon'; expected outcome, death, or a time such as "
            '"day 3 12:00"',
        ),
        (
            ("--until", "day 1 09:00"),
            "--until: day 1 09:00 is too early; expected a time after day 1 09:00, when the life "
            "begins",
        ),
        (
            ("--write-pet", "new.yaml"),
            '--write-pet: at which time? expected --until with one, such as --until "day 3 12:00", '
            "or --days",
        ),
        (
            ("--days", "20", "--write-pet", "new.yaml"),
            "--write-pet: the pet died on day 15 09:20:20; expected an earlier time",
        ),
        (
            ("--days", "2", "--write-pet", "there.yaml"),
            "there.yaml: is there already; expected a new file",
        ),
        (
            ("--days", "2", "--write-pet", "no/where.yaml"),
            "no/where.yaml: can't be written: No such file or directory",
        ),
    ],
)
def test_a_pet_that_cannot_be_written_is_told(
    told, tmp_path, monkeypatch, arguments, message
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("there.yaml").write_text("mine\n", encoding="utf-8")
    code, _, complaint = told("run", "ten-minute", *arguments)
    assert code == 2
    assert complaint.endswith(f"{message}\n")
    assert [path.name for path in tmp_path.iterdir()] == ["there.yaml"]
    assert Path("there.yaml").read_text(encoding="utf-8") == "mine\n"
