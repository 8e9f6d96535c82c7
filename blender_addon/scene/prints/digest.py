"""A SHA-256 that digests large arrays in a thread of its own, while the next one is read from Blender.

Two of them, fed one after the other, work at the same time.
"""

from __future__ import annotations

import hashlib
from concurrent.futures import Future, ThreadPoolExecutor

from ...core.arrays import AnyArray

LARGE = 500_000
"""Bytes from which on digesting takes longer, a third of a millisecond, than a thread takes to begin."""


class Digest:
    """As one of `hashlib`. An array that was given to `update` must not be changed any more."""

    def __init__(self) -> None:
        self._own = hashlib.sha256()
        self._beside: ThreadPoolExecutor | None = None
        self._work: list[Future[None]] = []

    def update(self, data: bytes | AnyArray) -> None:
        """Digest some bytes or an array, after what was given before."""
        if self._beside is None and memoryview(data).nbytes < LARGE:
            self._own.update(data)
            return
        if self._beside is None:
            self._beside = ThreadPoolExecutor(1)
        self._work.append(self._beside.submit(self._own.update, data))

    def digest(self) -> bytes:
        """The digest of all that was given."""
        if self._beside is not None:
            self._beside.shutdown()
            for each in self._work:
                each.result()
            self._beside, self._work = None, []
        return self._own.digest()

    def hexdigest(self) -> str:
        """The same as text."""
        return self.digest().hex()
