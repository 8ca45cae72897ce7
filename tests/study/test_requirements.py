"""What the aim takes, and how many lives had it."""

from __future__ import annotations

import numpy as np
import pytest

import petsim
from petsim.study.aims import read_aim
from petsim.study.measures import funnel, what_it_takes
from petsim.study.requirements import untold
from petsim.study.stats import Interval, wilson
from petsim.view.comparison import comparison, left_out, sections
from tests.life.worlds import care, fields, needs, regime


@pytest.fixture(scope="module")
def batch() -> petsim.Batch:
    return petsim.batch("lamplet-quick", "camera-rig", lives=600)


def shares(batch: petsim.Batch, aim: str) -> list[tuple[str, str, Interval]]:
    """What the aim takes: the form, the condition, and the share of lives that had it."""
    return [
        (*m.path[1:], m.of(batch.values))
        for m in what_it_takes(batch.model, read_aim(batch.model, aim))
    ]


def test_shares_are_those_counted_life_by_life(batch: petsim.Batch) -> None:
    came = misses = discipline = grown = both = 0
    for _, life in batch.lives.iterrows():
        came += life["entered_s.glow"] >= 0
        if life["entered_s.glow"] >= 0 and life["outcome"] in batch.model.forms:
            grown += 1
            few = life["misses_in.glow"] <= 2
            learnt = life[f"discipline_at.{life['outcome']}"] >= 75
            misses, discipline, both = misses + few, discipline + learnt, both + (few and learnt)
    assert 0 < discipline < grown
    assert 0 < misses < grown
    assert shares(batch, "beacon") == [
        ("glow", "", wilson(came, 600)),
        ("glow", "misses in form at most 2", wilson(misses, grown)),
        ("glow", "discipline at least 75", wilson(discipline, grown)),
    ]
    # the rules of growth are read from the top: those that have all of it become the aim
    assert both == batch.counts["beacon"]


def test_table_has_those_of_each_regime() -> None:
    found = petsim.compare("lamplet-quick", ["ten-minute", "camera-rig"], lives=50)
    table = found.requirements()
    for batch in found.batches:
        for form, what, met in shares(batch, "beacon"):
            assert tuple(table.loc[(batch.regime, form, what)]) == met
    assert [*table.index.unique("regime")] == ["ten-minute", "camera-rig"]
    assert len(table) == 6


def test_pet_that_begins_as_its_aim_takes_nothing() -> None:
    born = pet()
    born["forms"] = {"aim": {"stage": "adult", "lasts": "1 h"}}
    born["stages"] = {"adult": {"weight min": 1}}
    found = petsim.compare(born, [regime({"do": "snack"})], lives=2)
    assert found.requirements().empty
    assert found.as_dict()["regimes"][0]["aim_takes"] == []


def test_no_life_that_got_there_is_told_as_such() -> None:
    early = petsim.compare("lamplet-quick", ["hourly"], lives=20, days=0.1)
    assert early.requirements()["estimate"].isna().tolist() == [False, True, True]
    [column] = next(c for title, c in sections(early).items() if "takes" in title)
    assert [*column.values()][1:] == ["no life got there"] * 2
    assert early.as_dict()["regimes"][0]["aim_takes"][1]["met"] is None


def pet(**grows: object) -> dict[str, object]:
    """Two ways to the aim, one of them over a form that can also grow into it."""
    stages = {"young": {"weight min": 1}, "old": {"weight min": 1}, "adult": {"weight min": 1}}
    forms = {
        "one": {"stage": "young", "lasts": "uniform 1 h to 3 h",
                "grows into": [{"two": {"weight": "above 6"}}, {"aim": "otherwise"}]},
        "two": {"stage": "old", "lasts": "2 h",
                "grows into": [{"aim": {"weight": "exactly 9"}}, {"other": "otherwise"}]},
        "aim": {"stage": "adult", "lasts": "1 h"},
        "other": {"stage": "adult", "lasts": "1 h"},
    }  # fmt: skip
    return fields(
        petsim="model 1", name="Fork", begins="00:00", outcome_stage="adult", aim="aim",
        needs=needs(), weight={"starts": 5}, care=care(snack={"weight": 1}),
        stages=stages, forms=forms,
    )  # fmt: skip


def test_each_form_before_the_aim_has_its_own() -> None:
    caretaker = regime({"do": "snack"}, every=3600, first="1800 s")
    found = petsim.compare(pet(), [caretaker], lives=200, until="outcome", engine="compiled")
    [batch] = found.batches
    by_form = [(form, what) for form, what, _ in shares(batch, "aim")]
    assert by_form == [("one", ""), ("two", ""), ("two", "weight exactly 9")]
    [columns] = [c for title, c in sections(found).items() if "takes" in title]
    assert [*columns[0]] == ["became one", "became two", "as two: weight exactly 9"]
    _, (_, _, two), (_, _, exact) = shares(batch, "aim")
    weights = batch.values["weight_at.aim"], batch.values["weight_at.other"]
    entered = batch.values["entered_s.two"] >= 0
    assert two == wilson(int(entered.sum()), 200)
    nine = np.maximum(*weights)[entered] == 9
    assert 0 < nine.sum() < entered.sum()
    assert exact == wilson(int(nine.sum()), int(entered.sum()))


def test_steps_to_the_aim_are_counted_life_by_life(batch: petsim.Batch) -> None:
    came = few = learnt = 0
    for _, life in batch.lives.iterrows():
        if life["entered_s.glow"] >= 0:
            came += 1
            if life["outcome"] in batch.model.forms and life["misses_in.glow"] <= 2:
                few += 1
                learnt += life[f"discipline_at.{life['outcome']}"] >= 75
    assert 600 > came > few > learnt > 0
    aim = batch.counts["beacon"]
    found = petsim.Comparison(batch.model, batch.aim, (batch,)).funnel()
    assert [*found.index] == [
        ("camera-rig", "came to glow"),
        ("camera-rig", "misses in form at most 2"),
        ("camera-rig", "discipline at least 75"),
        ("camera-rig", "became beacon"),
    ]
    assert [*map(tuple, found.to_numpy())] == [wilson(n, 600) for n in (came, few, learnt, aim)]
    assert learnt == aim


def test_steps_by_several_ways_are_taken_by_any_of_them() -> None:
    caretaker = regime({"do": "snack"}, every=3600, first="1800 s")
    [batch] = petsim.compare(pet(), [caretaker], lives=200, until="outcome").batches
    steps = [(step.label, step.of(batch.values)) for step in funnel(batch.model, batch.aim)]
    assert [label for label, _ in steps] == [
        "came to one or two", "the weight for it", "became aim",
    ]  # fmt: skip
    # by the way over form one no weight is asked for, but the rule before takes the heavy ones:
    # so all that outgrew form one have what its own rule asks
    assert [share.estimate for _, share in steps[:2]] == [1, 1]
    assert steps[-1][1] == wilson(batch.counts["aim"], 200)


def test_conditions_that_no_summary_tells_are_named() -> None:
    model = petsim.load_model("lamplet")
    assert untold(model, "beacon") == []
    assert untold(model, "lantern") == ["misses of lights in form at most 3"]
    assert untold(model, "candle") == [
        "misses of hunger in form at most 6",
        "misses of mood in form at most 6",
        "misses in life at most 16",
    ]
    result = petsim.compare(model, ["hourly"], lives=2, aim="lantern")
    assert left_out(result) == (
        "What lantern takes is not all shown: not misses of lights in form at most 3, as the "
        "summary of a life does not say how many there were then."
    )
    assert left_out(result) in " ".join(comparison(result).split("\n"))
