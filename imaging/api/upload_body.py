"""The body of a request, written to the end of a file while it comes in."""

import asyncio
import os
from concurrent.futures import Executor
from typing import Protocol

from imaging.api.upload_answers import Receive

__all__ = ["BodyWriter"]

#: Small pieces are gathered up to this before a thread writes them: fewer hand-overs, and no more lost at a kill.
_PIECE_BYTES = 1024 * 1024


class _Digest(Protocol):
    """What is needed of a hash."""

    def update(self, data: bytes, /) -> None:
        """Take in more bytes."""


class BodyWriter:
    """Appends to an open file; whatever was taken from the network is written, however the request ends."""

    def __init__(self, descriptor: int, *, limit_bytes: int):
        self.descriptor, self.limit_bytes = descriptor, limit_bytes
        self.position = os.lseek(descriptor, 0, os.SEEK_END)
        self.is_overrun = False
        self._gathered = bytearray()

    async def write_all(self, receive: Receive, *, digest: _Digest | None, threads: Executor) -> bool:
        """Write the body to the disk; return False if the client was lost before its end."""
        loop = asyncio.get_running_loop()
        is_whole = False
        try:
            while True:
                message = await receive()
                if message["type"] == "http.disconnect":
                    break
                body = message.get("body", b"")
                if digest is not None:
                    digest.update(body)
                self._gathered += body
                if self.position + len(self._gathered) > self.limit_bytes:
                    self.is_overrun = True
                    break
                if len(self._gathered) >= _PIECE_BYTES:
                    await loop.run_in_executor(threads, self.flush)
                if not message.get("more_body", False):
                    is_whole = True
                    break
        finally:
            # Also when the server cancels the request: these bytes have been acknowledged to the network.
            if not self.is_overrun:
                self.flush()
        await loop.run_in_executor(threads, os.fsync, self.descriptor)
        return is_whole

    def flush(self) -> None:
        """Write what was gathered."""
        view = memoryview(bytes(self._gathered))
        self._gathered.clear()
        while view:
            written = os.write(self.descriptor, view)
            self.position += written
            view = view[written:]

    def drop_from(self, offset: int) -> None:
        """Cut the file back to a length."""
        os.ftruncate(self.descriptor, offset)
        os.lseek(self.descriptor, offset, os.SEEK_SET)
        self.position = offset
        os.fsync(self.descriptor)
