"""Lives on other machines: a cluster that someone started with Dask's own commands."""

from __future__ import annotations

import logging
import time
from collections.abc import Callable, Iterator
from concurrent.futures import CancelledError, Executor, Future
from contextlib import contextmanager, suppress
from typing import Any, TypeVar

from petsim._version import __version__
from petsim.errors import ArgumentError, PolicyError

T = TypeVar("T")

PATIENCE = 10.0
"""Seconds to wait for a scheduler that does not answer, and for a worker where there is none."""
LOOK = 1.0
"""Seconds between two looks whether there are still a scheduler and workers."""
KEPT = "what is done is kept, and the same goes on"


@contextmanager
def cluster(address: str) -> Iterator[Executor]:
    """The workers of a Dask scheduler as an executor.

    Raises:
        ArgumentError: Dask is not installed; nothing answers at the address, or no longer; there is
            no worker, or no longer; a worker has another version of petsim.
    """
    try:
        from distributed import Client
    except ImportError:
        raise ArgumentError("--on: needs Dask; expected pip install 'petsim[cluster]'") from None
    try:
        client: Any = Client(address, timeout=PATIENCE)  # type: ignore[no-untyped-call]
    except TypeError as error:
        raise ArgumentError(
            f"--on: {address}: lacks its settings ({error}); expected those that Dask has for it, "
            "for tls in distributed.comm.tls"
        ) from error
    except (OSError, ValueError) as error:
        raise ArgumentError(f"--on: {address}: no scheduler answers ({error})") from error
    # what goes wrong is told once, by us
    for name in ("distributed.client", "tornado.application"):
        logging.getLogger(name).setLevel(logging.CRITICAL)
    logging.getLogger("asyncio").addFilter(_is_not_of_dask)
    executor = _Executor(client, address)
    try:
        executor.ensure_same_version()
        yield executor
    finally:
        with suppress(Exception):
            client.close(timeout=LOOK)


def _is_not_of_dask(record: logging.LogRecord) -> bool:
    """Whether what asyncio says is of other tasks than those that Dask's client leaves behind."""
    return "/distributed/client.py" not in record.getMessage().replace("\\", "/")


class _Executor(Executor):
    """The workers of a client, whose results are waited for only as long as there are any.

    Args:
        client: of Dask's scheduler.
        address: as the user gave it.
    """

    def __init__(self, client: Any, address: str) -> None:
        self._client, self._address = client, address
        self.wait_anew()

    def wait_anew(self) -> None:
        """Begin to wait: whether there were workers before is not known, as nobody looked."""
        self._had_workers = time.monotonic()

    def submit(self, work: Callable[..., T], /, *args: Any, **named: Any) -> Future[T]:
        """Have a worker call a function.

        Raises:
            ArgumentError: the scheduler is gone.
        """
        with self.gone_if_closed():
            remote = self._client.submit(work, *args, pure=False, **named)
        return _Result(remote, self, args)

    def ensure_same_version(self) -> None:
        """Wait for the first worker, and see that all have the version that is running here.

        Raises:
            ArgumentError: one has another, or none; or there is no worker.
        """

        # of a function that is sent by value, as theirs may not have this one
        def version() -> str:
            try:
                from petsim._version import __version__ as theirs
            except ImportError:
                return ""
            return theirs

        while not self.workers():
            time.sleep(min(LOOK, PATIENCE / 10))
        for worker, theirs in self._client.run(version).items():
            if theirs != __version__:
                raise ArgumentError(
                    f"--on: {self._address}: worker {worker} has "
                    f"{f'petsim {theirs}' if theirs else 'no petsim'}; expected petsim "
                    f"{__version__}, as here"
                )

    def workers(self) -> int:
        """The number of workers.

        Raises:
            ArgumentError: the scheduler is gone, or a worker has been waited for in vain.
        """
        try:
            workers = self._client.sync(self._client.scheduler.ncores, callback_timeout=PATIENCE)
        except (OSError, TimeoutError, RuntimeError) as error:
            raise self.gone() from error
        now = time.monotonic()
        if workers:
            self._had_workers = now
        elif now - self._had_workers > PATIENCE:
            raise ArgumentError(
                f"--on: {self._address}: there is no worker; expected dask worker {self._address} "
                f"on one machine or more; {KEPT}"
            )
        return len(workers)

    @contextmanager
    def gone_if_closed(self) -> Iterator[None]:
        """Raise the error of a scheduler that is gone, if the client has closed by itself.

        Such a client raises all kinds of errors, depending on how far it has come.
        """
        try:
            yield
        except Exception:
            if self._client.status in ("closing", "closed"):
                raise self.gone() from None
            raise

    def gone(self) -> ArgumentError:
        """The error of a scheduler that no longer answers."""
        return ArgumentError(f"--on: {self._address}: the scheduler is gone; {KEPT}")


class _Result(Future[T]):
    """What a worker will return."""

    def __init__(self, remote: Any, executor: _Executor, args: tuple[Any, ...]) -> None:
        super().__init__()
        self._remote, self._executor, self._args = remote, executor, args

    def result(self, timeout: float | None = None) -> T:
        """Wait for it, whatever the time, as long as there is someone to wait for.

        Raises:
            PolicyError: the call ended one worker after another.
            ArgumentError: the scheduler or all workers are gone; and whatever the call raises.
        """
        from distributed import KilledWorker

        patience = LOOK
        self._executor.wait_anew()
        while True:
            try:
                with self._executor.gone_if_closed():
                    value: T = self._remote.result(timeout=patience)
            except TimeoutError:
                if self._remote.status == "error":  # it is the call that raised this
                    raise
                self._executor.workers()
                if self._remote.status == "finished":
                    # what takes longer to come here is broken off, and begins anew
                    patience *= 2
            except CancelledError:
                raise self._executor.gone() from None
            except KilledWorker:
                [numbers] = [given for given in self._args if isinstance(given, range)]
                raise PolicyError(
                    f"lives {numbers.start} to {numbers.stop - 1} ended one worker after another"
                ) from None
            else:
                return value
