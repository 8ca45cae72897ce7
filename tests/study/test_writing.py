"""Files of results: named before there is a result, and written whole or not at all."""

from __future__ import annotations

import errno
import os
import threading
import time

import pytest

from petsim.errors import ArgumentError
from petsim.study import writing
from petsim.study.writing import alone_in, path_named, written_whole


@pytest.mark.parametrize(
    ("error", "told", "said"),
    [
        (OSError(errno.ENOSPC, os.strerror(errno.ENOSPC)), ArgumentError,
         "can't be written: No space left on device"),
        (KeyboardInterrupt("Ctrl-C"), KeyboardInterrupt, "Ctrl-C"),
        (ImportError("pyarrow"), ImportError, "pyarrow"),
    ],
)  # fmt: skip
def test_what_is_there_stays_until_the_new_is_whole(error, told, said, tmp_path):
    path = tmp_path / "odds.csv"
    path.write_text("old")
    with pytest.raises(told, match=said), written_whole(path) as draft:
        draft.write_text("ne")
        raise error
    assert [*tmp_path.iterdir()] == [path]
    assert path.read_text() == "old"
    with written_whole(path) as draft:
        assert draft.suffix == ".csv"
        draft.write_text("new")
        assert path.read_text() == "old"
    assert [*tmp_path.iterdir()] == [path]
    assert path.read_text() == "new"


def test_a_name_is_refused_before_there_is_a_result(tmp_path):
    there = tmp_path / "a.svg"
    assert path_named(there, ".svg", ".png") == path_named(str(there), ".svg", ".png") == there
    for name, said in (
        ("a.gif", "a.gif: expected a name that ends in .svg, .png or .pdf"),
        ("", "'': expected a name that ends in .svg, .png or .pdf"),
        ("no/a.svg", "no/a.svg: can't be written: No such file or directory"),
    ):
        with pytest.raises(ArgumentError) as refused:
            path_named(name, ".svg", ".png", ".pdf")
        assert str(refused.value) == said


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes with names here")
def test_what_is_no_file_is_not_written_over(tmp_path):
    os.mkfifo(tmp_path / "a.svg")
    (tmp_path / "b.svg").mkdir()
    (tmp_path / "c.svg").symlink_to("/dev/null")
    for name, other in (("a", "a pipe"), ("b", "a directory"), ("c", "a device")):
        path = tmp_path / f"{name}.svg"
        with pytest.raises(ArgumentError) as refused:
            path_named(path, ".svg", ".png")
        assert (
            str(refused.value) == f"{path}: is {other}; expected a file, or the name of a new one"
        )


def test_one_at_a_time_is_alone_in_a_folder(tmp_path):
    seen, inside = [], threading.Lock()

    def enter():
        with alone_in(tmp_path) as let_others_in:
            seen.append(inside.acquire(blocking=False))
            time.sleep(0.01)
            inside.release()
            let_others_in()

    threads = [threading.Thread(target=enter) for _ in range(5)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert seen == [True] * 5


def test_nobody_waits_for_ever_to_be_alone(tmp_path, monkeypatch):
    monkeypatch.setattr(writing, "PATIENCE", 0.05)
    with alone_in(tmp_path), alone_in(tmp_path):
        pass
    with alone_in(tmp_path / "nowhere"):
        pass
