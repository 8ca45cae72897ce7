"""Checksums of what is kept on disk: whether it is still what was written."""

from __future__ import annotations

from hashlib import blake2b


def checksum(*parts: bytes | str | float | None) -> bytes:
    """Return 16 bytes that stand for these parts, in their order: BLAKE2b (RFC 7693)."""
    digest = blake2b(digest_size=16)
    for part in parts:
        content = part if isinstance(part, bytes) else repr(part).encode()
        # with its length, so that no part can pass for two
        digest.update(b"%d:" % len(content))
        digest.update(content)
    return digest.digest()
