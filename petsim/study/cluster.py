"""Lives on other machines: a cluster that someone started with Dask's own commands."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import Executor
from contextlib import contextmanager
from typing import Any

from petsim.life.simulation import ArgumentError

PATIENCE = "10s"
"""How long to wait for a scheduler that does not answer."""


@contextmanager
def cluster(address: str) -> Iterator[Executor]:
    """The workers of a Dask scheduler as an executor.

    Each of them needs the same version of petsim.

    Raises:
        ArgumentError: Dask is not installed, or nothing answers at the address.
    """
    try:
        from distributed import Client
    except ImportError:
        raise ArgumentError("--on: needs Dask; expected pip install 'petsim[cluster]'") from None
    try:
        client: Any = Client(address, timeout=PATIENCE)  # type: ignore[no-untyped-call]
    except (OSError, ValueError) as error:
        raise ArgumentError(f"--on: {address}: no scheduler answers ({error})") from error
    with client:
        executor: Executor = client.get_executor()
        yield executor
