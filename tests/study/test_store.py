"""A sweep's file that is damaged, copied, taken away, or made by a stranger."""

from __future__ import annotations

import base64
import json
import shutil
import sqlite3
import threading
import time
from contextlib import closing
from hashlib import blake2b
from pathlib import Path

import pytest

import petsim
from petsim.errors import ArgumentError
from petsim.study import design, store_writer
from petsim.study import sweep as module
from petsim.study.check import check_sweep
from petsim.study.checksum import checksum
from petsim.study.store import HEAD, PATIENCE, Store, checksum_of
from petsim.study.store_writer import StoreWriter
from tests.study.sweeps import MODEL, POLICY, dump, rows, wait_until
from tests.study.test_sweep import Here, after

LIVES, CHUNK = 30, 10


@pytest.fixture(autouse=True)
def _small_chunks(monkeypatch):
    monkeypatch.setattr(module, "CHUNK", {"compiled": CHUNK, "reference": CHUNK})


def small(out: Path, **changed) -> petsim.Sweep:
    asked = {"vary": {"checks.every": ["10 min", "40 min"]}, "lives": LIVES, "keep": True}
    return petsim.sweep(MODEL, ["hourly"], out=out, **{"executor": Here()} | asked | changed)


@pytest.fixture(scope="module")
def whole(tmp_path_factory) -> Path:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "CHUNK", {"compiled": CHUNK, "reference": CHUNK})
        return small(tmp_path_factory.mktemp("whole") / "a").path


@pytest.fixture
def copy(whole, tmp_path) -> Path:
    return Path(shutil.copy(whole, tmp_path / "a.sweep"))


def test_closing_ends_also_just_as_what_was_committed_is_about_to_be_settled(copy, monkeypatch):
    about_to_settle, calls = threading.Event(), []

    class Told(threading.Event):
        def set(self):
            super().set()
            calls.append("set")

        def clear(self):
            about_to_settle.set()
            wait_until(lambda: len(calls) == 3)  # by what was committed, and two by closing
            super().clear()

    monkeypatch.setattr(store_writer, "Event", Told)
    monkeypatch.setattr(store_writer, "SETTLED_WITHIN", 0.01)
    writer = StoreWriter(copy)
    with writer.transaction():
        pass
    assert about_to_settle.wait(10)
    closing_down = threading.Thread(target=writer.close, daemon=True)
    closing_down.start()
    closing_down.join(10)
    assert not closing_down.is_alive()


def test_settling_that_fails_takes_no_patience_with_others_from_what_is_written_next(copy):
    with closing(StoreWriter(copy)) as writer:
        writer._write_ahead()
        with closing(writer._base.execute("SELECT * FROM chunks")) as reading:
            next(reading)  # so that nothing can be settled
            writer._settle()
        assert writer._all("PRAGMA busy_timeout") == [(1000 * PATIENCE,)]


def test_two_that_leave_at_once_clear_up_what_is_beside_the_file(copy, monkeypatch):
    one = StoreWriter(copy)
    one._write_ahead()
    other = sqlite3.connect(copy)
    other.execute("SELECT COUNT(*) FROM chunks").fetchall()
    pauses = []
    monkeypatch.setattr(store_writer, "sleep", lambda _: pauses.append(other.close()))
    began = time.monotonic()
    one.close()
    # not for as long as a writer waits for another one, which is a minute
    assert time.monotonic() - began < PATIENCE / 2 and len(pauses) == 1
    assert [*copy.parent.iterdir()] == [copy]
    versions_to_write_and_read = copy.read_bytes()[18:20]
    assert versions_to_write_and_read == bytes((1, 1))  # 2 with a log: sqlite.org/fileformat2.html


def edit(path: Path, *statements: str) -> None:
    with closing(sqlite3.connect(path)) as base, base:
        for statement in statements:
            base.execute(statement)


def refusal(path: Path) -> str:
    with pytest.raises(ArgumentError) as caught:
        petsim.open_sweep(path)
    return str(caught.value).removeprefix(f"{path}: ")


# Checksums


def test_checksums_are_blake2b_of_parts_with_their_lengths():
    assert checksum(b"ab", "c", 1) == blake2b(b"2:ab3:'c'1:1", digest_size=16).digest()


@pytest.mark.parametrize(
    ("one", "other"),
    [((b"ab", b"c"), (b"a", b"bc")), ((1,), ("1",)), ((None,), (b"",)), ((), (b"",))],
)
def test_other_parts_have_another_checksum(one, other):
    assert checksum(*one) != checksum(*other)


# Damage


@pytest.mark.parametrize(
    "change",
    [
        "UPDATE chunks SET lives = lives + 1 WHERE cell = 0 AND first = 10",
        "UPDATE chunks SET counts = replace(counts, ':', ': ') WHERE cell = 0 AND first = 10",
        "UPDATE chunks SET sums = '{}' WHERE cell = 0 AND first = 10",
        "UPDATE chunks SET checksum = zeroblob(16) WHERE cell = 0 AND first = 10",
    ],
)
def test_a_damaged_chunk_is_named_not_counted_and_lived_again(change, copy, whole, caplog):
    edit(copy, change)
    swept = petsim.open_sweep(copy)
    assert swept.odds()["lives"].tolist() == [LIVES - CHUNK, LIVES]
    assert swept.means("misses")["lives"].tolist() == [LIVES - CHUNK, LIVES]
    assert len(swept.lives()) == 2 * LIVES - CHUNK
    assert not swept.finished
    named = "is damaged: the lives of cell 0 from 10 on are left out; give the petsim sweep command"
    # said once, however often it is read
    assert [named in line for line in caplog.messages] == [True]
    caplog.clear()
    small(copy)
    [line] = caplog.messages
    assert "is damaged: the lives of cell 0 from 10 on are lived again" in line
    assert dump(copy) == dump(whole)


@pytest.mark.parametrize("what", ["outcomes", "rows"])
def test_lives_whose_outcomes_or_rows_are_damaged_are_left_out(what, copy, whole):
    edit(copy, f"UPDATE chunks SET {what} = zeroblob(length({what})) WHERE cell = 1 AND first = 0")
    swept = petsim.open_sweep(copy)
    assert len(swept.differences()) == 2
    assert len(swept.lives()) == 2 * LIVES - (CHUNK if what == "rows" else 0)
    small(copy)
    assert dump(copy) == dump(whole)


def test_a_chunk_of_another_sweep_is_not_counted(copy, tmp_path):
    other = small(tmp_path / "other", seed=1).path
    edit(copy, f"ATTACH '{other}' AS other", "DELETE FROM chunks WHERE cell = 0",
         "INSERT INTO chunks SELECT * FROM other.chunks WHERE cell = 0")  # fmt: skip
    assert petsim.open_sweep(copy).odds().index.tolist() == [1]


@pytest.mark.parametrize(
    "change",
    [
        "UPDATE cells SET regime = 'another'",
        "UPDATE parameters SET number = 1",
        "UPDATE sessions SET began = '1999-01-01T00:00:00Z'",
        "INSERT INTO failures VALUES (0, 'no reason', zeroblob(16))",
        "DROP VIEW odds",
        "DROP TABLE failures",
    ],
)
def test_other_damage_is_mended_by_the_same_sweep(change, copy, whole, caplog):
    edit(copy, change)
    small(copy)
    assert "; what was whole in it is kept, and the rest is lived again" in caplog.text
    assert dump(copy) == dump(whole)
    assert len(petsim.open_sweep(copy).sessions) == ("sessions" not in change)


def test_a_file_whose_pages_are_damaged_keeps_what_can_be_read(tmp_path, caplog):
    larger = {"vary": {"checks.every": "10 min..120 min/10 min"}}
    path = small(tmp_path / "a", **larger).path
    before, content = dump(path), bytearray(path.read_bytes())
    leaves = [page for page in range(4096, len(content), 4096) if content[page] == 10]
    content[leaves[-1]] = 0  # which is no kind of page
    path.write_bytes(content)
    lived = []
    small(path, executor=Here(handed=lambda: lived.append(1)), **larger)
    assert "what was whole in it is kept" in caplog.text
    assert 1 <= len(lived) < 12
    assert dump(path) == before


def test_a_damaged_file_with_nothing_of_this_sweep_is_left_alone(copy):
    edit(copy, "UPDATE about SET value = '{}' WHERE key = 'design'")
    before = copy.read_bytes()
    with pytest.raises(ArgumentError, match="no lives of this sweep can be read from it"):
        small(copy, seed=1)
    assert copy.read_bytes() == before


@pytest.mark.parametrize(
    ("change", "kind"),
    [
        ("DELETE FROM chunks WHERE cell = 0 AND first = 10", "chunks"),
        ("DELETE FROM chunks", "chunks"),
        ("DELETE FROM failures", "failures"),
        ("DELETE FROM sessions", "sessions"),
        ("UPDATE sessions SET command = 'another'", "sessions"),
        ("UPDATE failures SET reason = 'another'", "failures"),
    ],
)
def test_what_has_vanished_is_missed_and_lived_again(change, kind, copy, whole, caplog):
    if kind == "failures":
        with closing(StoreWriter(copy)) as store:
            store.fail(1, "the policy did it")
    edit(copy, change)
    swept = petsim.open_sweep(copy)
    message = f"a.sweep: is damaged: its {kind} are not those that were written; give the petsim"
    with pytest.raises(ArgumentError, match=message):
        swept.sessions if kind == "sessions" else swept.as_dict()
    [problem] = check_sweep(str(copy)).problems
    assert f"its {kind} are not those that were written" in problem
    small(copy)
    assert "what was whole in it is kept" in caplog.text
    assert dump(copy) == dump(whole)


def test_values_written_otherwise_are_no_damage(copy, caplog):
    before = copy.read_bytes()
    small(copy, vary={"checks.every": ["600 s", "2400 s"]})
    assert (caplog.messages, copy.read_bytes()) == ([], before)


def test_points_that_other_versions_of_packages_choose_are_told(tmp_path, monkeypatch):
    asked = {"vary": {"checks.every": "10 min..40 min"}, "sample": "latin", "points": 2}
    path = small(tmp_path / "a", **asked).path
    before = path.read_bytes()
    monkeypatch.setattr(design, "_spread", lambda *_: [[0.25], [0.75]])
    for use in (petsim.open_sweep, lambda path: small(path, **asked)):
        with pytest.raises(
            ArgumentError, match="its points were chosen by other versions of scipy or SALib"
        ):
            use(path)
    assert path.read_bytes() == before


# Files that petsim did not make, or another petsim


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ("PRAGMA user_version = 2", "was written by a newer petsim; expected a petsim as new"),
        ("PRAGMA user_version = 0", "was written by an older petsim; expected that petsim"),
        ("DROP TABLE chunks", "is damaged: its table chunks is not as petsim made it"),
        ("DROP VIEW totals", "is damaged: its view totals is not as petsim made it"),
        (
            "CREATE TRIGGER t AFTER INSERT ON chunks BEGIN DELETE FROM chunks; END",
            "has a trigger, which would change what petsim writes",
        ),
    ],
)
def test_what_is_not_as_petsim_made_it_is_told(change, message, copy):
    edit(copy, change)
    assert refusal(copy).startswith(message)


def test_a_view_that_never_ends_is_not_read(copy):
    forever = "WITH RECURSIVE n(x) AS (SELECT 1 UNION ALL SELECT x + 1 FROM n) SELECT * FROM n"
    edit(copy, "DROP TABLE chunks", f"CREATE VIEW chunks AS {forever}")
    assert refusal(copy).startswith("is damaged: its table chunks")


def test_nothing_is_rescued_from_a_view(copy, tmp_path):
    own = checksum("1999", None, "a command")
    view = (
        f"SELECT '1999' AS began, NULL AS ended, 'a command' AS command, x'{own.hex()}' AS checksum"
    )
    edit(copy, "DROP TABLE sessions", f"CREATE VIEW sessions AS {view}")
    small(copy)
    assert petsim.open_sweep(copy).sessions == []


def forged(path: Path, **changed) -> None:
    """Change what a file says of its sweep, with a checksum that goes with it."""
    facts = dict(rows(path, "SELECT key, value FROM about WHERE key <> 'checksum'"))
    about = json.loads(facts["design"]) | changed.pop("design", {})
    facts |= {"design": json.dumps(about)} | {k: json.dumps(v) for k, v in changed.items()}
    with closing(sqlite3.connect(path)) as base, base:
        for key, value in [*facts.items(), ("checksum", checksum_of(facts))]:
            base.execute("UPDATE about SET value = ? WHERE key = ?", (value, key))


@pytest.mark.parametrize(
    "changed",
    [
        {"design": {"lives": -1}},
        {"design": {"lives": "40"}},
        {"design": {"model": ["m.yaml", "petsim: model 1"]}},
        {"design": {"regimes": []}},
        {"design": {"regimes": [["hourly", ["h.yaml", "a: [b"], None]]}},
        {"design": {"vary": {"checks.every": "1 min..9999999 min/1 s"}}},
        {"design": {"vary": {"nothing": ["1"]}}},
        {"design": {"sample": ["latin", "many"]}},
        {"design": {"days": -3.0}},
        {"design": {"aim": "nobody"}},
        {"design": {"more": 1}},
        {"chunk": 0},
        {"chunk": "all"},
        {"policies": []},
        {"policies": [7]},
    ],
)
def test_an_absurd_design_is_told(changed, copy, whole):
    forged(copy, **changed)
    assert refusal(copy).startswith("is damaged: its design can't be used: ")
    # but whoever has the design finds the lives to be of it
    small(copy)
    assert dump(copy) == dump(whole)


@pytest.mark.parametrize(
    "changed",
    [
        {"cell": 77},
        {"first": 5},
        {"lives": 3, "counts": '{"beacon": 3}'},
        {"counts": '{"beacon": -1}'},
        {"counts": "[" * 100_000},
        {"counts": b"\xff"},
        {"sums": "[]"},
        {"sums": '{"misses": "many"}'},
        {"sums": '{"misses": [1, 2]}'},
        {"outcomes": bytes(4 * CHUNK)},
        {"outcomes": "text"},
        {"rows": bytes(8 * CHUNK)},
        {"rows": None},
    ],
)
def test_an_absurd_chunk_is_told_whatever_its_checksum_says(changed, copy, caplog):
    """What whoever knows how checksums are made may write."""
    with closing(Store(copy)) as store:
        of = store.design_checksum
    [old] = rows(copy, f"SELECT {', '.join(HEAD)} FROM chunks WHERE cell = 0 AND first = 10")
    held = {key: value for key, value in changed.items() if key in ("outcomes", "rows")}
    digests = {f"of_{what}": checksum(value) for what, value in held.items()}
    head = dict(zip(HEAD, old, strict=True)) | changed | digests
    head = {key: head[key] for key in HEAD}
    new = head | held | {"checksum": checksum(of, *head.values())}
    with closing(sqlite3.connect(copy)) as base, base:
        places = ", ".join(f"{key} = ?" for key in new)
        base.execute(f"UPDATE chunks SET {places} WHERE cell = 0 AND first = 10", [*new.values()])
    swept, told = petsim.open_sweep(copy), []
    for read in (swept.as_dict, swept.means, swept.differences, swept.lives):
        try:
            read()
        except ArgumentError as error:
            told.append(str(error))
    told += [*caplog.messages, *check_sweep(str(copy)).problems]
    assert "is damaged" in " ".join(told)


# Code


def test_a_policy_in_a_plain_cell_is_never_unpickled(copy, tmp_path):
    marker = tmp_path / "it ran"
    code = f"cos\nsystem\n(S'touch \"{marker}\"'\ntR.".encode()
    forged(copy, policies=[base64.b64encode(code).decode()])
    assert "a policy without its source" in refusal(copy)
    assert not marker.exists()


def test_nothing_but_run_with_trust_unpickles_a_policy(tmp_path):
    policy = tmp_path / "cleaner.py"
    policy.write_text(POLICY)
    asked = {"regimes": [str(policy)], "lives": CHUNK, "days": 0.02}
    path = petsim.sweep(MODEL, vary={}, out=tmp_path / "a", workers=1, **asked).path
    marker = tmp_path / "it ran"
    code = f"cos\nsystem\n(S'touch \"{marker}\"'\ntR.".encode()
    forged(path, policies=[base64.b64encode(code).decode()])
    swept = petsim.open_sweep(path)
    assert swept.finished
    for read in (swept.odds, swept.means, swept.differences, swept.as_dict):
        assert len(read())
    edit(path, "UPDATE chunks SET lives = 7")
    # the policy of the command itself is what lives the lives
    assert petsim.sweep(MODEL, vary={}, out=path, workers=1, **asked).finished
    with pytest.raises(ArgumentError, match="expected --trust"):
        swept.caretaker(0)
    assert not marker.exists()


# Copies


def test_what_is_committed_is_soon_in_the_file_itself_and_the_log_beside_it_empty(
    tmp_path, monkeypatch
):
    monkeypatch.setattr(store_writer, "SETTLED_WITHIN", 0.01)
    seen = []

    def copied():
        wait_until(lambda: (tmp_path / "a.sweep-wal").stat().st_size == 0)
        alone = tmp_path / f"copy{len(seen)}.sweep"
        shutil.copy(tmp_path / "a.sweep", alone)
        with closing(Store(alone)) as store:
            seen.append(len(store.chunks))

    small(tmp_path / "a", executor=Here(copied))
    assert seen == [*range(6)]


def test_a_copy_by_export_is_whole_while_the_sweep_runs(tmp_path, whole):
    lives = []

    def copied():
        lives.append(petsim.open_sweep(tmp_path / "a").export(tmp_path / "b.sweep"))

    small(tmp_path / "a", executor=Here(after(4, copied)))
    assert lives == [4 * CHUNK]
    assert not (tmp_path / "b.sweep-wal").exists()
    assert dump(small(tmp_path / "b").path) == dump(whole)


def test_a_copy_replaces_no_file(copy, tmp_path):
    (tmp_path / "night.sweep").write_text("mine")
    with pytest.raises(ArgumentError, match=r"night.sweep: is there already; expected the name of"):
        petsim.open_sweep(copy).export(tmp_path / "night.sweep")
    assert (tmp_path / "night.sweep").read_text() == "mine"


# The file goes while the sweep runs


def test_another_sweep_put_in_its_place_is_read_as_it_is(copy, whole, tmp_path):
    running, seen = tmp_path / "night" / "b.sweep", []
    running.parent.mkdir()
    before = petsim.open_sweep(copy).as_dict()["cells"]

    def read():
        seen.append(petsim.open_sweep(running).as_dict()["cells"])

    def replace():
        wait_until(lambda: running.with_name("b.sweep-wal").stat().st_size == 0)
        copy.rename(running)
        read()

    with pytest.raises(ArgumentError, match="was deleted, moved or replaced"):
        small(running, executor=Here(after(3, replace)), seed=1)
    read()
    assert seen == [before, before]
    assert running.with_name("b.sweep-wal").stat().st_size == 0
    assert running.read_bytes() == whole.read_bytes()


@pytest.mark.parametrize("replaced", [False, True])
def test_a_file_that_goes_is_noticed_at_the_next_write(replaced, tmp_path):
    def take_away():
        (tmp_path / "a.sweep").rename(tmp_path / "elsewhere.sweep")
        if replaced:
            (tmp_path / "a.sweep").write_text("mine")

    lived = []
    with pytest.raises(ArgumentError, match=r"a.sweep: was deleted, moved or replaced while"):
        small(tmp_path / "a", executor=Here(after(2, take_away), lambda: lived.append(1)))
    if replaced:
        assert (tmp_path / "a.sweep").read_text() == "mine"
    else:
        assert [file.name for file in tmp_path.iterdir()] == ["elsewhere.sweep"]
    elsewhere = petsim.open_sweep(tmp_path / "elsewhere")
    assert elsewhere.odds()["lives"].sum() == 2 * CHUNK


def test_a_writer_leaves_no_file_beside(tmp_path):
    with closing(StoreWriter(small(tmp_path / "a").path)):
        pass
    assert [file.name for file in tmp_path.iterdir()] == ["a.sweep"]
