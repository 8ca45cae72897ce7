"""The forms of a log and when they began and ended, from logs made by hand."""

import pytest

from petsim.errors import LogError
from petsim.evidence.timeline import form_at, form_spans
from petsim.spec.clocks import Begins
from petsim.spec.library import load_model
from tests.evidence.logs import act, log, look

SPARK, GLINT, FLICKER, SHIMMER = "spark", "glint", "flicker", "shimmer"


@pytest.fixture(scope="module")
def lamplet():
    return load_model("lamplet")


def spans(life, model):
    return [tuple(span) for span in form_spans(life, model)]


def test_a_growth_is_between_two_looks(lamplet):
    life = log(
        look(100, form=SPARK),
        look(200, form=SPARK, hunger=3),
        look(260, form=GLINT),
        look(7000, form=GLINT),
        look(7600, form=FLICKER),
    )
    assert spans(life, lamplet) == [
        (SPARK, (0, 0), (200, 260)),
        (GLINT, (200, 260), (7000, 7600)),
        (FLICKER, (7000, 7600), None),
    ]


def test_the_form_is_sure_but_for_the_time_in_which_it_grew(lamplet):
    found = form_spans(log(look(200, form=SPARK), look(260, form=GLINT)), lamplet)
    at = {t: form_at(found, t) for t in (0, 200, 201, 259, 260, 9000)}
    assert at == {0: SPARK, 200: SPARK, 201: None, 259: None, 260: GLINT, 9000: GLINT}


def test_a_look_that_shows_no_form_bounds_no_growth(lamplet):
    life = log(look(200, form=SPARK), look(230, hunger=3), look(260, form=GLINT))
    assert spans(life, lamplet) == [(SPARK, (0, 0), (200, 260)), (GLINT, (200, 260), None)]


def test_forms_too_brief_to_be_seen_have_both_looks_around_them(lamplet):
    life = log(look(600, form=GLINT), look(9000, form=SHIMMER))
    assert spans(life, lamplet) == [
        (SPARK, (0, 0), (0, 600)),
        (GLINT, (0, 600), (600, 9000)),
        (FLICKER, (600, 9000), (600, 9000)),
        (SHIMMER, (600, 9000), None),
    ]


def test_of_several_forms_that_may_have_been_unseen_none_is_told(lamplet):
    life = log(look(600, form=FLICKER), look(900, form="candle"), is_born=False)
    assert spans(life, lamplet) == [
        (FLICKER, (600, 600), (600, 900)),
        ("candle", (600, 900), None),
    ]


def test_a_log_that_begins_later_begins_with_what_it_saw_first(lamplet):
    life = log(look(50, form=SHIMMER), look(700, form="lantern"), is_born=False)
    assert spans(life, lamplet) == [(SHIMMER, (50, 50), (50, 700)), ("lantern", (50, 700), None)]


def test_a_log_without_a_look_at_the_form_knows_that_of_birth_alone(lamplet):
    assert spans(log(look(50, hunger=1)), lamplet) == [(SPARK, (0, 0), None)]
    assert spans(log(look(50, hunger=1), is_born=False), lamplet) == []


def test_a_form_that_the_last_one_cannot_become_is_refused(lamplet):
    life = log(
        look(60, form=FLICKER),
        look(86_465.4, form=SPARK),
        is_born=False,
        begins=Begins(0, 9 * 3600),
    )
    with pytest.raises(LogError) as caught:
        form_spans(life, lamplet)
    assert str(caught.value) == (
        "by-hand.log: day 2 09:01:05: found the form 'spark' after 'flicker'; "
        "by the model expected 'glow' or 'shimmer' or 'gutter'"
    )


def test_a_form_that_grows_no_more_has_none_after_it(lamplet):
    with pytest.raises(LogError, match="expected none, as it grows no more"):
        form_spans(log(look(1, form="ash"), look(2, form=GLINT), is_born=False), lamplet)


def test_an_unknown_form_is_refused(lamplet):
    with pytest.raises(LogError, match=r"unknown form 'glimt'; did you mean 'glint'\?"):
        form_spans(log(look(60, form="glimt")), lamplet)


def test_an_unknown_action_is_refused(lamplet):
    with pytest.raises(LogError, match=r"day 1 00:01:00: found the unknown action 'fed'; did you"):
        form_spans(log(act(60, "fed")), lamplet)
