"""A file on its way out: counted and hashed while it is written, so that nothing is read twice."""

import hashlib
from typing import IO


class Hashed:
    """Wraps a binary file that is only ever written on."""

    closed = False

    def __init__(self, out: IO[bytes]) -> None:
        self._out = out
        self._hash = hashlib.sha256()
        self.size = 0

    def write(self, data: bytes | memoryview) -> int:
        self._hash.update(data)
        self._out.write(bytes(data))
        self.size += len(data)
        return len(data)

    def tell(self) -> int:
        """How far it is; writers of Parquet note at which byte each part begins."""
        return self.size

    def flush(self) -> None:
        """Nothing waits here."""

    @property
    def sha256(self) -> str:
        return self._hash.hexdigest()
