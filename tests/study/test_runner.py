"""Handing lives out: in order, a few ahead, and what is said when they end early."""

from __future__ import annotations

import errno
import os
import signal
import tempfile
import time
from concurrent.futures import BrokenExecutor, Executor, Future, ThreadPoolExecutor
from contextlib import suppress
from itertools import islice
from pathlib import Path
from threading import Barrier, current_thread, main_thread

import pytest

from petsim.errors import ArgumentError
from petsim.life.caretaker import load_caretaker
from petsim.life.simulate import Span, choose_engine
from petsim.life.watch import LENGTH
from petsim.spec.library import load_model
from petsim.study import processes, runner
from petsim.study.processes import Processes
from petsim.study.runner import AHEAD, Chunk, Runner, chunks_of, workers_of
from tests.study.policies import checks_until, copies_and_ends, ends_once
from tests.study.sweeps import wait_until

MODEL = "lamplet-quick"


def test_more_workers_than_any_machine_has_are_refused():
    with pytest.raises(ArgumentError, match=r"^workers: 100000; expected at most \d+$"):
        workers_of(100_000)


def test_of_any_number_of_lives_only_the_chunks_at_hand_are_made():
    engines = [
        choose_engine(load_model(MODEL), load_caretaker(name, None), Span(), "reference")
        for name in ("hourly", "hands-off")
    ]
    chunks = chunks_of(engines, 0, [range(10**15)] * 2, 1)
    size = engines[0].chunk
    assert [(chunk.key, chunk.numbers.start) for chunk in islice(chunks, 4)] == [
        (0, 0),
        (1, 0),
        (0, size),
        (1, size),
    ]


class Squares:
    """A job whose result is the squares of the numbers; it keeps who did them."""

    def __init__(self, place="threads", delay=lambda numbers: 0.0):
        self.place, self.delay, self.threads = place, delay, []
        self.has_policy = False

    def live(self, numbers):
        self.threads.append(current_thread())
        time.sleep(self.delay(numbers))
        return [number**2 for number in numbers]


def chunks(job, number=10):
    return [Chunk(key, job, range(key, key + 2)) for key in range(number)]


@pytest.mark.parametrize("place", ["threads", "here"])
def test_results_come_in_order_whoever_is_done_first(place):
    job = Squares(place, lambda numbers: 0.02 if numbers.start % 2 == 0 else 0.0)
    with Runner(3, lives=20) as runner:
        results = [(chunk.key, result()) for chunk, result in runner.results(chunks(job))]
    assert results == [(key, [key**2, (key + 1) ** 2]) for key in range(10)]
    assert {thread is main_thread() for thread in job.threads} == {place == "here"}


class Counted(Executor):
    """Lives at once, and counts what it was handed."""

    def __init__(self):
        self.handed = 0

    def submit(self, work, *arguments, **named):
        self.handed += 1
        future = Future()
        future.set_result(work(*arguments, **named))
        return future


@pytest.mark.parametrize("place", ["threads", "processes", "here"])
def test_an_executor_is_handed_everything_some_way_ahead(place):
    executor = Counted()
    with Runner(1, executor, lives=2 * (AHEAD + 50)) as runner:
        for done, (_, result) in enumerate(runner.results(chunks(Squares(place), AHEAD + 50))):
            assert executor.handed == min(AHEAD + done, AHEAD + 50)
            result()


def test_an_error_waits_only_for_what_was_handed_out():
    job = Squares()
    with pytest.raises(ZeroDivisionError), Runner(2, lives=2_000) as runner:
        for _ in runner.results(chunks(job, 1_000)):
            raise ZeroDivisionError
    assert len(job.threads) <= 4


def test_ctrl_c_ends_the_context_if_something_is_kept_and_is_raised_if_nothing_is(caplog):
    with Runner(1, lives=20, interrupted=lambda: "interrupted; all is kept") as runner:
        for chunk, _ in runner.results(chunks(Squares())):
            if chunk.key == 3:
                raise KeyboardInterrupt
    assert runner.interrupted
    assert caplog.messages == ["petsim: interrupted; all is kept"]
    for nothing in ({}, {"interrupted": lambda: None}):
        with pytest.raises(KeyboardInterrupt), Runner(1, lives=20, **nothing):
            raise KeyboardInterrupt
    assert len(caplog.messages) == 1


# Processes


class Handed:
    """What interrupts the process that hands it over, while it does."""

    def __reduce__(self):
        os.kill(os.getpid(), signal.SIGINT)
        return int, (7,)


def is_running(pid):
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    return True


POSIX = pytest.mark.skipif(os.name != "posix", reason="signals are held on POSIX only")


class Beside(Counted):
    """Stands for processes; two are made at once."""

    both, open = Barrier(2), []

    def __init__(self, workers, check_limit):
        super().__init__()
        self.open.append(self)
        self.both.wait(10)

    def shutdown(self, wait=True, *, cancel_futures=False):
        self.open.remove(self)


def test_threads_that_begin_at_once_share_the_processes_beside_them(monkeypatch):
    monkeypatch.setattr(runner, "Processes", Beside)
    job, limit = Squares("processes"), 123.0
    with ThreadPoolExecutor(2) as pool:
        results = [pool.submit(runner._live_apart, limit, job, range(2)) for _ in range(2)]
        assert [result.result(20) for result in results] == [[0, 1], [0, 1]]
    [only] = Beside.open
    assert only.handed == 2


@POSIX
def test_a_process_that_is_interrupted_hands_over_what_it_has_done_before_it_ends():
    with Processes(1, 60) as processes:
        assert processes.submit(Handed).result(30) == 7
        with pytest.raises(KeyboardInterrupt):
            processes.submit(signal.raise_signal, signal.SIGINT).result(30)


@POSIX
def test_processes_are_interrupted_only_where_the_parent_is():
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)  # as in the background of a script
    try:
        with Processes(1, 60) as processes:
            assert processes.submit(signal.raise_signal, signal.SIGINT).result(30) is None
    finally:
        signal.signal(signal.SIGINT, before)


def test_a_process_that_is_killed_once_is_replaced_and_one_more_time_is_told(tmp_path):
    with Processes(1, 60) as processes:
        first = processes.submit(os.getpid).result(30)
        assert processes.submit(ends_once, str(tmp_path / "ended")).result(30) != first
        with pytest.raises(BrokenExecutor, match="exit code 3"):
            processes.submit(os._exit, 3).result(30)
        assert processes.submit(int).result(30) == 0


@POSIX
def test_a_process_that_is_gone_is_not_waited_for_though_a_copy_of_it_goes_on(tmp_path):
    with Processes(1, 60) as processes:
        try:
            with pytest.raises(BrokenExecutor, match="exit code 3"):
                processes.submit(copies_and_ends, str(tmp_path)).result(20)
        finally:
            for copy in tmp_path.iterdir():
                os.kill(int(copy.name), signal.SIGKILL)


@POSIX
def test_a_copy_that_a_policy_makes_of_its_process_answers_nothing():
    with Processes(1, 60) as processes:
        copies = [processes.submit(os.fork).result(30) for _ in range(3)]
        assert [processes.submit(pow, 3, n).result(30) for n in range(4)] == [1, 3, 9, 27]
    assert all(copies)


@POSIX
def test_time_in_which_all_is_stopped_is_not_that_of_a_check(monkeypatch, tmp_path):
    class Looked(processes._Worker):
        looks = 0

        def end_if_over(self, limit):
            super().end_if_over(limit)
            self.looks += 1

    monkeypatch.setattr(processes, "LOOK", 0.1)
    monkeypatch.setattr(processes, "_Worker", Looked)
    with Processes(1, 1) as pool:
        pid = pool.submit(os.getpid).result(30)
        [worker] = pool._workers
        checking = pool.submit(checks_until, str(tmp_path / "enough"))
        wait_until(lambda: not worker._page.is_empty)
        with pool._lock:  # so that nobody looks, as if this process were stopped too
            os.kill(pid, signal.SIGSTOP)
            time.sleep(1.2)
            looks = worker.looks
        wait_until(lambda: worker.looks > looks)
        with suppress(ProcessLookupError):
            os.kill(pid, signal.SIGCONT)
        (tmp_path / "enough").touch()
        assert checking.result(30) is None


def test_processes_end_whatever_they_are_at_and_leave_nothing(monkeypatch, tmp_path):
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    with Processes(2, 60) as processes:
        pids = [processes.submit(os.getpid).result(30)]
        processes.submit(time.sleep, 1000)
    assert not [pid for pid in pids if is_running(pid)]
    assert not [*tmp_path.iterdir()]


@pytest.mark.skipif(not Path("/dev/shm").is_dir(), reason="other disks may not say what they hold")
def test_what_a_worker_shares_has_its_room_on_the_disk_before_it_is_used(monkeypatch):
    monkeypatch.setattr(tempfile, "tempdir", "/dev/shm")
    worker = processes._Worker()
    try:
        assert 512 * worker._file.stat().st_blocks >= LENGTH  # 512 B each: Linux, stat(2)
    finally:
        worker.end(limit=60)


def test_a_process_that_cannot_be_begun_is_told_and_leaves_nothing(monkeypatch, tmp_path):
    def refused(*_, **__):
        raise OSError(errno.EAGAIN, "no more processes")

    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    monkeypatch.setattr(processes.subprocess, "Popen", refused)
    with Processes(1, 60) as pool, pytest.raises(BrokenExecutor, match="no more processes"):
        pool.submit(int).result(30)
    assert not [*tmp_path.iterdir()]


def test_both_pipes_of_a_worker_are_closed_also_where_one_has_something_left_to_send():
    worker = processes._Worker()
    worker.kill()
    worker._process.wait()
    worker._process.stdin.write(b"not sent")
    worker.end(limit=60)
    assert worker._process.stdin.closed and worker._process.stdout.closed
