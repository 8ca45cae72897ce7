"""Logs that are damaged, or of another pet, or without looks, are fitted as far as they go."""

import json

import pytest

import petsim
from petsim.errors import LogError
from tests.evidence.logs import act, log, look
from tests.life.worlds import fields, pet

MODEL = pet(young=fields(drops={"hunger": "exponential 40 min"}), lasts="3 days")
RIG = {
    "petsim": "regime 1",
    "name": "A rig",
    "checks": {"every": "10 min"},
    "routine": [{"when": {"hunger": "below 5"}, "do": "feed", "repeat": "until met"}],
    "eyes": {"hunger": {"misreads": "5%"}},
}
HUNGER = "stages.young.drops.hunger"


@pytest.fixture(scope="module")
def lines(tmp_path_factory):
    """The lines of a log of two days."""
    path = tmp_path_factory.mktemp("log") / "whole.jsonl"
    petsim.simulate(MODEL, RIG, days=2).log().write(path)
    return path.read_text(encoding="utf-8").splitlines(keepends=True)


def fitted(path, lines):
    """The mean of the drops of hunger, and the looks at it, of the fit of a log of some lines."""
    path.write_text("".join(lines), encoding="utf-8")
    fit = petsim.fit(path, MODEL, RIG)
    [mean] = [each for each in fit.estimates if (each.path, each.of) == (HUNGER, "mean")]
    [chain] = fit.chains
    return mean, chain.looks


def test_log_whose_last_line_was_cut_off_is_fitted_as_one_without_it(lines, tmp_path):
    path = tmp_path / "a.jsonl"
    whole = fitted(path, lines[:-1])
    assert fitted(path, [*lines[:-1], lines[-1][:20]]) == whole


def test_wall_clock_that_jumps_moves_no_estimate(lines, tmp_path):
    path = tmp_path / "a.jsonl"
    later = [json.loads(line) for line in lines]
    for line in later[len(later) // 2 :]:
        line["at"] = line["at"].replace("2001-01", "2001-03")
    jumped = [json.dumps(line) + "\n" for line in later]
    assert fitted(path, jumped) == fitted(path, lines)


def test_of_a_log_of_which_lines_are_lost_the_rest_counts(lines, tmp_path):
    path = tmp_path / "a.jsonl"
    whole, all_looks = fitted(path, lines)
    gone = lines[1000:1300]
    mean, looks = fitted(path, [line for line in lines if line not in gone])
    assert all_looks - looks == sum('"look"' in line for line in gone) > 0
    assert mean.low < 40 * 60 < mean.high
    # what was fed in the lost lines is not known, and is not taken for not fed
    assert mean.estimate == pytest.approx(whole.estimate, rel=0.05)


# Refused as a whole


def refusal(*entries):
    with pytest.raises(LogError) as caught:
        petsim.fit(log(*entries), MODEL, RIG)
    return str(caught.value)


def test_log_of_another_pet_is_refused_by_its_forms_and_by_its_actions():
    assert refusal(look(60, form="trea", hunger=5)) == (
        "by-hand.log: day 1 00:01:00: found the unknown form 'trea'; did you mean 'tree'?"
    )
    assert refusal(look(60, hunger=5), act(90, "sing")).startswith(
        "by-hand.log: day 1 00:01:30: found the unknown action 'sing'; expected one of 'feed'"
    )
    grown_back = (look(60, form="tree", hunger=5), look(120, form="sprig", hunger=5))
    assert refusal(*grown_back) == (
        "by-hand.log: day 1 00:02:00: found the form 'sprig' after 'tree'; by the model expected "
        "none, as it grows no more"
    )


def test_log_of_a_pet_that_the_model_is_not_is_refused_by_its_looks():
    # four levels more and less within a second, again and again
    entries = [look(60.0 + t, form="sprig", hunger=5 - t % 2 * 4) for t in range(200)]
    assert refusal(*entries).startswith("by-hand.log: found ")
    assert "looks at hunger that can't be by the model, the first after " in refusal(*entries)
    assert refusal(*entries).endswith(" s; expected at most 1%: is it the model of this pet?")


def test_log_of_actions_alone_is_refused():
    assert refusal(act(60, "feed"), act(86_400, "feed"), look(86_401, form="sprig")) == (
        "by-hand.log: found 2 actions and no look at anything in 1.0 days; expected the looks too, "
        "also those that led to nothing"
    )


def test_log_without_a_life_is_refused(lines, tmp_path):
    path = tmp_path / "a.jsonl"
    path.write_text("".join(lines[:3]), encoding="utf-8")  # up to the birth
    with pytest.raises(LogError, match=r"^no life in the log; expected at least one, from `birth`"):
        petsim.fit(path, MODEL, RIG)
