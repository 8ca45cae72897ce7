"""Compiled code on the disk: it is used if it is as it was left, and made anew if not."""

from __future__ import annotations

import errno
import os
import random
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from numba.core import config

from petsim.life.compiled.compiling import kept
from petsim.life.compiled.kept import Sealed


def threefold(x):  # type: ignore[no-untyped-def]
    return 3 * x


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr(config, "CACHE_DIR", str(tmp_path))
    return tmp_path


def compiles(argument: Any = 2) -> bool:
    """Whether a process that begins, as far as numba knows, compiles the function."""
    dispatcher = kept(threefold, "a test")
    assert dispatcher(argument) == 3 * argument
    return not dispatcher.stats.cache_hits


def files(folder: Path) -> list[Path]:
    return sorted(path for path in folder.rglob("*") if path.is_file())


def test_what_was_compiled_is_used_again(folder: Path) -> None:
    assert [compiles(), compiles(), compiles(2.5), compiles(2.5), compiles()] == [1, 0, 1, 0, 0]
    assert len(files(folder)) == 2


def flipped(content: bytes) -> bytes:
    """With a byte in the middle that is another: in the machine code."""
    middle = len(content) // 2
    return content[:middle] + bytes([content[middle] ^ 1]) + content[middle + 1 :]


DAMAGES: dict[str, Callable[[bytes], bytes]] = {
    "a byte flipped": flipped,
    "half of it": lambda content: content[: len(content) // 2],
    "nothing in it": lambda _: b"",
    "zeros": lambda content: bytes(len(content)),
    "another file's": lambda _: Path(__file__).read_bytes(),
    "something after it": lambda content: content + b"x",
}


@pytest.mark.parametrize("damage", DAMAGES)
def test_damaged_it_is_made_anew(damage: str, folder: Path) -> None:
    assert compiles()
    [file] = files(folder)
    whole = file.read_bytes()
    file.write_bytes(DAMAGES[damage](whole))
    assert compiles()
    assert not compiles()
    assert files(folder) == [file]


def test_whatever_byte_is_changed_it_is_noticed(folder: Path) -> None:
    cache, key = Sealed(folder / "code", "stamp"), ("signature", "machine", "sources")
    cache.save(key, random.Random(5).randbytes(300))
    [file] = files(folder)
    whole = file.read_bytes()
    assert cache.load(key) is not None
    for place in range(len(whole)):
        file.write_bytes(whole[:place] + bytes([whole[place] ^ 1]) + whole[place + 1 :])
        assert cache.load(key) is None, place
        file.write_bytes(whole[:place])
        assert cache.load(key) is None, place


def test_another_version_s_is_made_anew(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert compiles()
    monkeypatch.setattr("petsim.life.compiled.kept.VERSIONS", ("0.0",))
    assert compiles()
    assert not compiles()
    assert len(files(folder)) == 1


def test_what_cannot_be_opened_is_compiled_each_time_and_that_is_said(
    folder: Path, caplog: pytest.LogCaptureFixture
) -> None:
    assert compiles()
    [file] = files(folder)
    file.unlink()
    file.mkdir()
    caplog.clear()
    assert compiles()
    [_, words] = caplog.messages
    assert words.startswith("petsim: the compiled code can't be kept, so it will be compiled ")
    assert str(file) in words
    assert not files(folder)


def test_with_a_full_disk_it_is_compiled_each_time_and_that_is_said(
    folder: Path, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(path: Path, content: bytes) -> int:
        with path.open("wb") as stream:
            stream.write(content[:100])
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with monkeypatch.context() as context:
        context.setattr(Path, "write_bytes", full)
        assert compiles()
    assert caplog.messages[1:] == [
        "petsim: the compiled code can't be kept, so it will be compiled again: "
        "[Errno 28] No space left on device"
    ]
    assert not files(folder)
    assert compiles()
    assert not compiles()


def test_it_is_said_once_what_is_compiled(caplog: pytest.LogCaptureFixture, folder: Path) -> None:
    twice = kept(threefold, "a test of notices")
    twice(2)
    twice(3)
    assert [record.message for record in caplog.records] == [
        "petsim: compiling a test of notices, once on this machine; takes up to a minute"
    ]
