"""Pictures that a process beside this one draws are those that this one would draw."""

from concurrent.futures import Future
from types import SimpleNamespace

import pytest

import petsim
from petsim.study.processes import WorkerGoneError
from petsim.view import beside
from petsim.view.picture import Picture

MODEL = "lamplet-quick"


class Answering:
    """A helper of which it is known what comes of a picture that it was to draw."""

    def __init__(self, result=None, error=None):
        self.shown, self.begun, self._result, self._error = [], Future(), result, error

    def show(self, result):
        self.shown.append(result)

    def begin(self, kind):
        if self._error is not None:
            self.begun.set_exception(self._error)
        elif self._result != "not begun":
            self.begun.set_result(self._result)
        return self.begun


@pytest.fixture(scope="module")
def comparison():
    return petsim.compare(MODEL, ["ten-minute", "hourly"], lives=12)


def test_a_picture_is_the_same_whoever_draws_it(comparison, monkeypatch):
    here = beside.pictures(comparison, ["differences"], None)["differences"]()
    monkeypatch.setattr("petsim.view.beside.processors", lambda: 2)
    with beside.helper() as helper:
        helper.show(comparison)
        there = helper.begin("differences").result()
    assert there == here
    assert "<svg" in there.svg


def test_where_there_is_one_processor_there_is_no_helper(monkeypatch):
    monkeypatch.setattr("petsim.view.beside.processors", lambda: 1)
    with beside.helper() as helper:
        assert helper is None


def test_what_a_helper_has_not_begun_is_drawn_here_alone(comparison, monkeypatch):
    drawn, helper = Picture("here", "", "<svg/>"), Answering("not begun")
    monkeypatch.setattr("petsim.view.beside._drawn", lambda result, kind: drawn)
    assert beside.pictures(comparison, ["odds"], helper)["odds"]() is drawn
    assert helper.begun.cancelled()


@pytest.mark.parametrize("lost", [Answering(error=WorkerGoneError("killed")), Answering()])
def test_what_a_helper_was_to_draw_is_drawn_here_if_it_is_gone(comparison, lost, monkeypatch):
    drawn = Picture("here", "", "<svg/>")
    monkeypatch.setattr("petsim.view.beside._drawn", lambda result, kind: drawn)
    assert beside.pictures(comparison, ["odds"], lost)["odds"]() is drawn
    assert lost.shown == [comparison]
    had = Picture("there", "", "<svg/>")
    assert beside.pictures(comparison, ["odds"], Answering(had))["odds"]() is had


def test_a_process_that_was_shown_nothing_draws_nothing():
    assert beside._drawn_of_shown("odds") is None


def test_a_python_policy_is_sent_to_no_helper():
    under_policy = SimpleNamespace(caretaker=SimpleNamespace(make=object))
    helper = Answering()
    beside.pictures(SimpleNamespace(batches=[under_policy]), ["odds"], helper)
    assert not helper.shown
