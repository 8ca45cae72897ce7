"""What holds for all tests."""

import signal
import sys
import time

import pytest

import petsim
from petsim.cli import main
from tests import slow

LONGEST_COMPILATION = 120
"""Seconds after which a worker no longer waits for another one to compile the engine."""


def pytest_addoption(parser):
    parser.addoption(
        "--long", action="store_true", help="live 100 times as many lives in tests/theory"
    )
    parser.addoption(
        "--share",
        type=slow.share,
        metavar="K/N",
        help="run only the K-th of N shares of the tests",
    )


def pytest_configure() -> None:
    """Let Ctrl-C reach what tests start, also where the tests themselves are in the background.

    There it is ignored, as for all that `nohup` or a script starts with `&`, and children inherit
    that.
    """
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Mark the tests that `-m "not slow"` leaves out, and leave out those of other shares."""
    listed = slow.listed()
    for item in items:
        if slow.function_of(item.nodeid) in listed:
            item.add_marker(pytest.mark.slow)
    if share := config.getoption("--share"):
        chosen, others = [], []
        for item in items:
            (chosen if slow.is_in_share(item.nodeid, *share) else others).append(item)
        config.hook.pytest_deselected(items=others)
        items[:] = chosen


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config, log):
    """Give each worker a stretch of the tests, so that one sets up what tests of a file share."""
    if config.getoption("dist") != "load":
        return None
    from xdist.scheduler import WorkStealingScheduling

    return WorkStealingScheduling(config, log)


@pytest.fixture(scope="session", autouse=True)
def _engine_is_compiled(request, tmp_path_factory) -> None:
    """The notice that the engine is being compiled comes before any test that looks at output.

    Of several workers one compiles it, and the others wait for what it leaves on the disk.
    """
    if not hasattr(request.config, "workerinput"):
        _use_engine()
        return
    of_all_workers = tmp_path_factory.getbasetemp().parent
    compiled = of_all_workers / "compiled"
    try:
        (of_all_workers / "compiling").mkdir()
    except FileExistsError:
        ends = time.monotonic() + LONGEST_COMPILATION
        while not compiled.exists() and time.monotonic() < ends:
            time.sleep(0.1)
        _use_engine()
    else:
        try:
            _use_engine()
        finally:
            compiled.touch()


def _use_engine() -> None:
    petsim.batch("lamplet-quick", "hands-off", lives=1, engine="compiled")


@pytest.fixture(autouse=True)
def _pictures_are_closed():
    """Close what a test drew: pyplot keeps it, and warns of many."""
    yield
    if pyplot := sys.modules.get("matplotlib.pyplot"):
        pyplot.close("all")


@pytest.fixture
def told(capsys):
    """Run a command here: its exit code, what it printed, and what it complained of."""

    def run(*arguments):
        try:
            main(arguments)
            code = 0
        except SystemExit as end:
            code = end.code or 0
        return code, *capsys.readouterr()

    return run
