"""A serial port that is not there: one end of a pseudo-terminal that a board would be on.

The other end opens like any serial port. What nobody reads is dropped and counted, as on a real wire.
"""

import os
import tty
from pathlib import Path

HELD = 65_536  # bytes held for a reader that is slow


class SimulatedPort:
    """A pseudo-terminal; ``url`` is what a reader opens. ``link`` gives it a name that stays."""

    def __init__(self, link: Path | None = None) -> None:
        self._link = link
        self._board = -1  # our end; -1 while unplugged
        self._reader = -1  # the other end, held open so that bytes wait for a reader
        self.path = ""
        self.dropped = 0  # bytes that nobody read; only counted
        self._held = b""  # at most HELD
        self.plug()

    @property
    def url(self) -> str:
        """What to open."""
        return str(self._link) if self._link else self.path

    @property
    def plugged(self) -> bool:
        """Is there a port?"""
        return self._board >= 0

    @property
    def waiting(self) -> int:
        """Bytes that no reader has taken yet, as far as the board can tell."""
        self._flush()
        return len(self._held)

    def plug(self) -> None:
        """The cable is in: a port appears, perhaps under another number. Does nothing if it is."""
        if self.plugged:
            return
        self._board, self._reader = os.openpty()
        tty.setraw(self._reader)
        os.set_blocking(self._board, False)
        self.path = os.ttyname(self._reader)
        if self._link:
            self._link.unlink(missing_ok=True)
            self._link.symlink_to(self.path)

    def unplug(self) -> None:
        """The cable is out: readers get an error, and the port is gone."""
        if not self.plugged:
            return
        os.close(self._board)
        os.close(self._reader)
        self._board = self._reader = -1
        self._held = b""
        if self._link:
            self._link.unlink(missing_ok=True)

    def write(self, data: bytes) -> None:
        """Bytes leave the board; as on a wire, nobody is told whether they were read."""
        if not self.plugged:
            self.dropped += len(data)
            return
        self._held += data
        self._flush()
        over = len(self._held) - HELD
        if over > 0:
            self._held = self._held[over:]
            self.dropped += over

    def _flush(self) -> None:
        while self._held:
            try:
                written = os.write(self._board, self._held)
            except BlockingIOError:
                return
            self._held = self._held[written:]

    def close(self) -> None:
        """The end: as unplugged for good."""
        self.unplug()

    def __enter__(self) -> "SimulatedPort":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()
