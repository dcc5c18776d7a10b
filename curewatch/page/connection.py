"""One connection, bounded in time and size: whoever is slow or sends too much is left.

A time limit for each read would let a client send a byte now and then for ever. So a connection has one
moment by which its request must be whole, TLS included, and one by which its answer must be taken.
"""

import io
import socket
import time
from collections.abc import Callable

REQUEST_WITHIN = 10.0  # s from accepting a connection to its whole request
ANSWER_WITHIN = 20.0  # s for the answer to be taken


class TooMuch(Exception):  # noqa: N818 - named by the matter, as its siblings
    """More bytes came than a request may have."""


class BoundedReader(io.RawIOBase):
    """What a client sends, until its moment has come or its bytes are used up."""

    def __init__(self, far: socket.socket, due: float, largest: int) -> None:
        self._far = far
        self._due = due  # monotonic [s]
        self._left = largest

    def readable(self) -> bool:
        return True

    def allow(self, more: int) -> None:
        """So many bytes may come still: the body, whose length was said."""
        self._left = more

    def end(self, within: float, most: int) -> None:
        """What comes from now on is only dropped: so long, so much."""
        self._due, self._left = min(self._due, time.monotonic() + within), most

    def readinto(self, buffer: "memoryview") -> int:  # type: ignore[override]
        if self._left <= 0:
            raise TooMuch
        left = self._due - time.monotonic()
        if left <= 0.0:
            raise TimeoutError
        self._far.settimeout(left)
        with memoryview(buffer) as whole:
            found = self._far.recv_into(whole[: self._left])
        self._left -= found
        return found


class BoundedWriter(io.RawIOBase):
    """What is sent to a client: all of it within its time, or not at all."""

    def __init__(self, far: socket.socket, moment: Callable[[], float] = time.monotonic) -> None:
        self._far = far
        self._moment = moment

    def writable(self) -> bool:
        return True

    def write(self, content: "bytes") -> int:  # type: ignore[override]
        self._far.settimeout(ANSWER_WITHIN)
        self._far.sendall(content)
        return len(content)
