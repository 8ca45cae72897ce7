"""Lives on other machines: a cluster that someone started with Dask's own commands."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from concurrent.futures import CancelledError, Executor
from contextlib import contextmanager
from typing import Any

from petsim.errors import ArgumentError

PATIENCE = "10s"
"""How long to wait for a scheduler that does not answer."""


@contextmanager
def cluster(address: str) -> Iterator[Executor]:
    """The workers of a Dask scheduler as an executor.

    Each of them needs the same version of petsim.

    Raises:
        ArgumentError: Dask is not installed, or nothing answers at the address, or no longer.
    """
    try:
        from distributed import Client, KilledWorker
    except ImportError:
        raise ArgumentError("--on: needs Dask; expected pip install 'petsim[cluster]'") from None
    try:
        client: Any = Client(address, timeout=PATIENCE)  # type: ignore[no-untyped-call]
    except (OSError, ValueError) as error:
        raise ArgumentError(f"--on: {address}: no scheduler answers ({error})") from error
    # what goes wrong is told once, by us
    for name in ("distributed.client", "tornado.application"):
        logging.getLogger(name).setLevel(logging.CRITICAL)
    with client:
        executor: Executor = client.get_executor()
        try:
            yield executor
        except (CancelledError, KilledWorker) as error:
            raise ArgumentError(
                f"--on: {address}: the scheduler is gone, or worker after worker; "
                "what is done is kept, and the same goes on"
            ) from error
