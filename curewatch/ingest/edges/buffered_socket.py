"""A socket that reads and writes in large pieces under a client that works in single bytes.

paho reads each packet with three or more calls and writes each acknowledgement with one of its own; at
tens of thousands of messages a second these calls are most of the work. It already knows sockets that
hold bytes back (TLS ones, by ``pending``), and this is one more of that kind.
"""

import ssl
from typing import Any

PIECE = 65_536  # bytes read at once


class BufferedSocket:
    """Wraps a connected socket; what is not named here is the socket's own."""

    def __init__(self, inner: Any) -> None:
        self._inner = inner
        self._read = b""  # at most PIECE bytes
        self._at = 0
        self._written = bytearray()  # at most what the client sends in one turn of its loop

    def __getattr__(self, name: str) -> Any:
        return getattr(self._inner, name)

    def fileno(self) -> int:
        return int(self._inner.fileno())

    def pending(self) -> int:
        """Bytes that can be read without asking the system."""
        held = len(self._read) - self._at
        return held or (self._inner.pending() if isinstance(self._inner, ssl.SSLSocket) else 0)

    def recv(self, size: int) -> bytes:
        at = self._at
        if at >= len(self._read):
            self._read, self._at, at = self._inner.recv(PIECE), 0, 0
        piece = self._read[at : at + size]
        self._at = at + len(piece)
        return piece

    def send(self, data: bytes) -> int:
        self._written += data
        return len(data)

    @property
    def unsent(self) -> int:
        return len(self._written)

    def flush(self) -> None:
        """Send what was written, as far as the socket takes it now."""
        while self._written:
            try:
                sent = self._inner.send(self._written)
            except (BlockingIOError, ssl.SSLWantWriteError, ssl.SSLWantReadError):
                return
            del self._written[:sent]

    def close(self) -> None:
        self._inner.close()
