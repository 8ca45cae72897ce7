"""What has been compiled, as it is kept on the disk: used again only if it is as it was left.

numba reads back whatever it finds. A byte that has changed in machine code makes other lives, or a
crash, and half a file a traceback; two processes that compile at once may each take the other's
code for theirs. So what it compiles is kept here, a file for each kernel, which holds all that it
was compiled from and a digest of the whole. Anything else in its place is written over.
"""

from __future__ import annotations

import logging
import os
import pickle
from contextlib import suppress
from hashlib import blake2b
from pathlib import Path
from typing import Any

import llvmlite
import numba
import numpy as np
from numba.core.caching import FunctionCache
from numba.core.runtime.nrt import rtsys
from numba.core.serialize import dumps

VERSIONS = (numba.__version__, llvmlite.__version__, np.__version__)
DIGEST_SIZE = 32


class Sealed:
    """The files of one function, by what it was compiled for.

    Args:
        start: folder of the files, and how their names start.
        stamp: of the source of the function.
    """

    def __init__(self, start: Path, stamp: Any) -> None:
        self._start, self._stamp = start, stamp

    def load(self, key: Any) -> Any:
        """Return what was saved under a key; None if there is nothing, or it is damaged."""
        try:
            content = self._path(key).read_bytes()
        except OSError:
            return None
        digest, sealed = content[:DIGEST_SIZE], content[DIGEST_SIZE:]
        if digest != _digest(sealed):
            return None
        made_from, data = pickle.loads(sealed)
        return data if made_from == (VERSIONS, self._stamp, key) else None

    def save(self, key: Any, data: Any) -> None:
        """Save data under a key: whole or not at all, whoever else does."""
        made_from, path = (VERSIONS, self._stamp, key), self._path(key)
        sealed = dumps((made_from, data))  # type: ignore[no-untyped-call]
        draft = path.with_name(f"{path.name}.{os.getpid()}")
        try:
            draft.write_bytes(_digest(sealed) + sealed)
            draft.replace(path)
        finally:
            with suppress(OSError):
                draft.unlink()

    def _path(self, key: Any) -> Path:
        """Return the file of a signature on a machine, whatever sources it was compiled from."""
        signature, machine, _ = key
        name = _digest(repr((signature, machine)).encode()).hex()[:16]
        return self._start.with_name(f"{self._start.name}-{name}.kept")


def _digest(content: bytes) -> bytes:
    return blake2b(content, digest_size=DIGEST_SIZE).digest()


class Kept(FunctionCache):
    """What numba asks for a compiled function, and gives one to keep.

    Args:
        function: the one that is compiled.
        made_of: a number that stands for what it is made of besides the file that it is in.

    Raises:
        RuntimeError: there is no folder that can be written to.
    """

    def __init__(self, function: Any, made_of: int = 0) -> None:
        super().__init__(function)  # type: ignore[no-untyped-call]
        locator = self._impl.locator
        start = Path(locator.get_cache_path(), self._impl.filename_base)
        self._cache_file: Any = Sealed(start, (locator.get_source_stamp(), made_of))

    def load_overload(self, sig: Any, target_context: Any) -> Any:
        """Return a compiled function that was kept; None if there is none.

        Machine code needs numba's runtime and nothing else. What numba would load besides serves to
        compile alone, and takes three times as long as the code.
        """
        rtsys.initialize(target_context)
        return self._load_overload(sig, target_context)  # type: ignore[no-untyped-call]

    def save_overload(self, sig: Any, data: Any) -> None:
        """Keep a compiled function, or say why that can't be done."""
        try:
            super().save_overload(sig, data)  # type: ignore[no-untyped-call]
        except OSError as error:
            logging.getLogger("petsim").warning(
                "petsim: the compiled code can't be kept, so it will be compiled again: %s", error
            )
