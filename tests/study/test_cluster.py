"""Sweeps on a cluster: a real scheduler and workers, started with Dask's own commands."""

from __future__ import annotations

import json
import logging
import os
import re
import signal
import socket
import subprocess
import sys
import time
from contextlib import ExitStack, nullcontext, suppress
from pathlib import Path
from types import SimpleNamespace

import pytest

from petsim import __version__
from petsim.cli import BAD_INPUT, FAILED
from petsim.errors import ArgumentError
from petsim.study.cluster import _Executor, _Result
from petsim.study.cluster import cluster as over
from tests.study.sweeps import MODEL, POLICY, chunks, dump, rows, started, wait_until

pytest.importorskip("distributed")

DASK = [sys.executable, "-m", "dask"]
COMMAND = (
    *("sweep", "hourly", "--model", MODEL, "--lives", "2000", "--keep", "lives"),
    *("--vary", "checks.every=10min..60min/10min", "--vary", "care.play.works=70%,20%"),
)
CHUNKS = 12 * 2


class Cluster:
    """A scheduler and its workers, each a process."""

    def __init__(self, stack: ExitStack, folder: Path) -> None:
        self._stack, self._folder = stack, folder
        about = folder / "scheduler.json"
        place = ("--host", "127.0.0.1", "--port", "0", "--no-dashboard")
        self.scheduler = self._start("scheduler", *place, "--scheduler-file", str(about))
        wait_until(lambda: about.is_file() and about.read_text().endswith("}"))
        self.address = json.loads(about.read_text())["address"]

    def worker(self, **environment: str) -> subprocess.Popen:
        """One more worker, of one thread, that nobody starts anew if it is killed."""
        place = ("--no-dashboard", "--no-nanny", "--nthreads", "1")
        place = (*place, "--local-directory", str(self._folder))
        return self._start("worker", self.address, *place, **environment)

    def _start(self, *arguments: str, **environment: str) -> subprocess.Popen:
        log = self._stack.enter_context((self._folder / "log").open("ab"))
        process = subprocess.Popen(
            [*DASK, *arguments],
            stdout=log,
            stderr=log,
            cwd=self._folder,
            env=os.environ | {"DASK_DISTRIBUTED__SCHEDULER__ALLOWED_FAILURES": "1"} | environment,
            start_new_session=True,
        )
        self._stack.callback(end, process)
        return process


def end(process: subprocess.Popen) -> None:
    with suppress(ProcessLookupError):
        os.killpg(process.pid, signal.SIGKILL)
    process.wait(10)


@pytest.fixture
def cluster(tmp_path):
    folder = tmp_path / "cluster"
    folder.mkdir()
    with ExitStack() as stack:
        yield Cluster(stack, folder)


def finish(*arguments, code=0):
    """What a command said, and what it complained of."""
    with started(*arguments) as running:
        try:
            out, err = running.communicate(timeout=60)
        finally:
            end(running)
    assert running.returncode == code, err
    return out, err


@pytest.fixture(scope="module")
def local(tmp_path_factory):
    """What is found without a cluster."""
    path = tmp_path_factory.mktemp("local") / "a.sweep"
    assert finish(*COMMAND, "--out", str(path), "--quiet") == ("", "")
    return dump(path)


def test_worker_killed_midway_leaves_no_trace(cluster, local, tmp_path):
    workers, path = [cluster.worker(), cluster.worker()], tmp_path / "a.sweep"
    given = (*COMMAND, "--out", str(path), "--on", cluster.address, "--quiet")
    with started(*given) as running:
        try:
            wait_until(lambda: chunks(path) > 1)
            end(workers[0])
            killed = chunks(path)
            out, err = running.communicate(timeout=60)
        finally:
            end(running)
    assert (running.returncode, out, err) == (0, "", "")
    assert killed < CHUNKS
    assert dump(path) == local
    assert [file.name for file in tmp_path.iterdir() if file.suffix != ""] == [path.name]


def test_sweep_killed_midway_goes_on_with_or_without_the_cluster(cluster, local, tmp_path):
    cluster.worker()
    path = tmp_path / "a.sweep"
    given = (*COMMAND, "--out", str(path), "--quiet")
    for how, there in ((signal.SIGKILL, 0), (signal.SIGINT, 8)):
        with started(*given, "--on", cluster.address) as running:
            wait_until(lambda there=there: chunks(path) > there)
            os.killpg(running.pid, how)
            _, err = running.communicate(timeout=30)
        said = f"petsim: interrupted; what is done is in {path}, and the same goes on\n"
        assert err == (said if how == signal.SIGINT else "")
    assert chunks(path) < CHUNKS
    assert finish(*given) == ("", "")
    assert dump(path) == local


def test_policy_fails_there_as_it_does_here(cluster, tmp_path):
    file = tmp_path / "cleaner.py"
    file.write_text(POLICY)
    cluster.worker()
    days = ("--days", "0.13", "--lives", "150", "--quiet")
    given = (
        "sweep",
        f"{file}:Cleaner",
        "--model",
        MODEL,
        *days,
        "--vary",
        "checks.every=5min,25min",
    )
    there, here = tmp_path / "there.sweep", tmp_path / "here.sweep"
    out = finish(*given, "--out", str(there), "--on", cluster.address, code=FAILED)
    assert out == finish(*given, "--out", str(here), code=FAILED) == ("", "")
    assert dump(there) == dump(here)
    [(reason,)] = rows(there, "SELECT reason FROM failures")
    assert reason.endswith("raised ValueError: too much (line 8)")


class Client:
    """A client that has closed by itself, or has not, as far as an executor sees."""

    def __init__(self, status, *, when):
        self.status, self._when = status, when

    def submit(self, *_, pure):
        self._raise("submitting")
        return self

    def result(self, timeout):
        self._raise("waiting")

    def _raise(self, when):
        if self._when == when:
            raise RuntimeError("IOLoop is closed")


@pytest.mark.parametrize("when", ["submitting", "waiting"])
def test_client_that_has_closed_by_itself_is_told_as_a_scheduler_that_is_gone(when):
    with pytest.raises(ArgumentError, match="the scheduler is gone; what is done is kept"):
        _Executor(Client("closed", when=when), "tcp://here").submit(len, "").result()
    with pytest.raises(RuntimeError, match="IOLoop is closed"):
        _Executor(Client("running", when=when), "tcp://here").submit(len, "").result()


class Remote:
    """A result that takes some seconds to come here, begun anew whenever it is asked for."""

    def __init__(self, status, *, takes):
        self.status, self._takes, self._asked = status, takes, 0

    def result(self, timeout):
        self._asked += 1
        assert self._asked < 10
        if timeout < self._takes:
            raise TimeoutError("too late")
        return 7


WITH_WORKERS = SimpleNamespace(
    gone_if_closed=nullcontext, wait_anew=lambda: None, workers=lambda: 1
)


def test_result_that_takes_long_to_come_here_is_not_broken_off_for_ever():
    assert _Result(Remote("finished", takes=20), WITH_WORKERS, ()).result() == 7


def test_call_that_took_too_long_for_something_of_its_own_is_an_error_and_not_waited_for():
    with pytest.raises(TimeoutError, match="too late"):
        _Result(Remote("error", takes=1_000_000), WITH_WORKERS, ()).result()


def test_only_worker_may_begin_anew_also_when_all_results_came_at_once_for_long(monkeypatch):
    looks = [{}, {}, {"tcp://worker": 1}]

    class Restarting(Client):
        scheduler = SimpleNamespace(ncores=None)

        def sync(self, *_, callback_timeout):
            return looks.pop(0)

        def result(self, timeout):
            if looks:
                raise TimeoutError
            return 7

    executor = _Executor(Restarting("running", when="never"), "tcp://here")
    result = executor.submit(len, "")
    hour_later = time.monotonic() + 3600
    monkeypatch.setattr(time, "monotonic", lambda: hour_later)
    assert result.result() == 7


def test_scheduler_that_goes_away_is_told_in_one_line_and_it_goes_on(cluster, local, tmp_path):
    worker = cluster.worker()
    path = tmp_path / "a.sweep"
    given = (*COMMAND, "--out", str(path), "--quiet")
    with started(*given, "--on", cluster.address) as running:
        try:
            wait_until(lambda: chunks(path) > 1)
            # results that are on a worker that is gone are waited for in another way
            end(worker)
            cluster.worker()
            end(cluster.scheduler)
            out, err = running.communicate(timeout=60)
        finally:
            end(running)
    gone = "the scheduler is gone; what is done is kept, and the same goes on"
    told = f"--on: {cluster.address}: {gone}\n"
    assert (running.returncode, out, err) == (BAD_INPUT, "", told)
    assert finish(*given) == ("", "")
    assert dump(path) == local


DEADLY = """
import os, signal


class Deadly:
    regime = {{"petsim": "regime 1", "name": "Deadly", "checks": {{"every": "20 min"}}}}

    def check(self, look):
        waste = look()["waste"]
        if waste >= 2 and os.path.exists({file!r}):
            os.{end}
        return ["clean"] if waste else []
"""


@pytest.mark.parametrize(
    ("end", "reason"),
    [
        (
            "_exit(1)",
            "deadly:Deadly: life 21, day 1 09:35:09: ended its process, twice (exit code 1)",
        ),
        ("kill(os.getppid(), signal.SIGKILL)", "lives 0 to 49 ended one worker after another"),
    ],
    ids=["processes beside the workers", "the workers themselves"],
)
def test_cell_whose_lives_end_worker_after_worker_has_failed_and_the_others_go_on(
    end, reason, cluster, tmp_path
):
    file, policy = tmp_path / "deadly", tmp_path / "deadly.py"
    policy.write_text(DEADLY.format(file=str(file), end=end))
    file.touch()
    # the scheduler lets the same lives end two workers, and then no third
    for _ in range(3):
        cluster.worker()
    # in cell 1 a pet that is looked after every 25 min lets waste pile up
    varied = ("--vary", "checks.every=5min,25min,10min", "--days", "0.13", "--lives", "50")
    given = ("sweep", f"{policy}:Deadly", "--model", MODEL, *varied, "--quiet")
    there = tmp_path / "there.sweep"
    on = ("--out", str(there), "--on", cluster.address)
    assert finish(*given, *on, code=FAILED) == ("", "")
    assert rows(there, "SELECT cell, reason FROM failures") == [(1, reason)]
    assert rows(there, "SELECT cell, lives FROM chunks") == [(0, 50), (2, 50)]


IMPATIENT = "from petsim import cli; from petsim.study import cluster; cluster.PATIENCE = 2; "


def impatient(*given):
    """What is said by a command that waits for two seconds only."""
    return subprocess.run(
        [sys.executable, "-c", f"{IMPATIENT}cli.main()", *given],
        capture_output=True,
        encoding="utf-8",
        check=False,
        timeout=60,
    )


def test_cluster_without_workers_or_with_another_petsim_is_refused(cluster, tmp_path):
    given = (*COMMAND, "--out", str(tmp_path / "a"), "--on", cluster.address)
    none = impatient(*given)
    assert (none.returncode, none.stdout) == (BAD_INPUT, "")
    assert none.stderr == (
        f"--on: {cluster.address}: there is no worker; expected dask worker {cluster.address} on "
        "one machine or more; what is done is kept, and the same goes on\n"
    )
    (tmp_path / "older" / "petsim").mkdir(parents=True)
    (tmp_path / "older" / "petsim" / "__init__.py").touch()
    (tmp_path / "older" / "petsim" / "_version.py").write_text('__version__ = "0.0.9"\n')
    cluster.worker(PYTHONPATH=str(tmp_path / "older"))
    _, err = finish(*given, code=BAD_INPUT)
    assert re.fullmatch(
        rf"--on: {cluster.address}: worker tcp://\S+ has petsim 0\.0\.9; expected petsim "
        rf"{re.escape(__version__)}, as here\n",
        err,
    )
    assert [file.name for file in tmp_path.glob("*.sweep")] == []


def test_tasks_that_dask_leaves_behind_are_not_told_of_but_those_of_others_are(cluster, caplog):
    never = (
        "Task exception was never retrieved\nfuture: <Task finished coro=<wait() done, defined at"
    )
    cluster.worker()
    with over(cluster.address):
        logging.getLogger("asyncio").error(
            f"{never} /a/distributed/client.py:2400> exception=OSError>"
        )
        logging.getLogger("asyncio").error(f"{never} /a/mine.py:24> exception=OSError>")
    assert [record.getMessage().count("mine.py") for record in caplog.records] == [1]


def test_workers_that_are_all_gone_are_told(cluster, tmp_path):
    worker, path = cluster.worker(), tmp_path / "a.sweep"
    code = f"{IMPATIENT}cli.main()"
    given = (*COMMAND, "--out", str(path), "--on", cluster.address, "--quiet")
    running = subprocess.Popen([sys.executable, "-c", code, *given], stderr=subprocess.PIPE)
    with running:
        wait_until(lambda: chunks(path) > 1)
        end(worker)
        _, err = running.communicate(timeout=30)
    assert running.returncode == BAD_INPUT
    assert err.decode().startswith(f"--on: {cluster.address}: there is no worker; ")
    assert chunks(path) > 1


def test_address_that_needs_settings_is_told(tmp_path):
    address = "tls://127.0.0.1:1"
    done = impatient(*COMMAND, "--out", str(tmp_path / "a"), "--on", address)
    assert (done.returncode, done.stdout, done.stderr.count("\n")) == (BAD_INPUT, "", 1)
    assert done.stderr.startswith(f"--on: {address}: lacks its settings (")
    assert not [*tmp_path.iterdir()]


@pytest.mark.parametrize("address", ["tcp://127.0.0.1:{closed}", "tcp://", "mail://nobody:1"])
def test_address_that_is_wrong_is_told_in_one_line(address, tmp_path):
    with socket.socket() as held:
        held.bind(("127.0.0.1", 0))  # and does not listen
        given = (*COMMAND, "--out", str(tmp_path / "a"))
        address = address.format(closed=held.getsockname()[1])
        done = impatient(*given, "--on", address)
    assert (done.returncode, done.stdout) == (BAD_INPUT, "")
    assert done.stderr.startswith(f"--on: {address}: no scheduler answers (")
    assert done.stderr.count("\n") == 1
    assert not [*tmp_path.iterdir()]
