"""Edge: the local socket, for people of this machine who may not write the logbook's file.

One thread, one request at a time. The socket is for one group, named when the daemon is started. Who
connects is asked of the kernel (SO_PEERCRED), and must be the daemon's own user, root, or a member of that
group. What is told is written over a connection of its own, as any command writes beside the daemon; the
loop notices it.

Source: unix(7) of the Linux manual pages, SO_PEERCRED.
"""

import grp
import os
import pwd
import socket
import struct
import threading
from contextlib import suppress
from pathlib import Path
from typing import NamedTuple

from curewatch.clock import Clock
from curewatch.configuration.shape import LogbookTable
from curewatch.daemon.child import Child, serve
from curewatch.errors import CurewatchError, StoreFailed, UsageError
from curewatch.logbook import StoredEntry, open_logbook
from curewatch.logbook.forwarded import LONGEST, answered, not_done, socket_path

PATIENCE = 10.0  # for a request that was begun [s]
TURN = 0.5  # how often the thread looks whether it is to end [s]
WAITING = 8  # connections that may wait
_CREDENTIALS = struct.Struct("3i")  # process, user, group


class SealRequest(NamedTuple):
    """What the child is given."""

    logbook: Path
    reason: str
    at: float  # UTC [s]
    stamp_authority: str | None = None
    stamp_roots_file: Path | None = None


class LocalSocket:
    """Listens from ``start`` to ``stop``."""

    def __init__(self, logbook: Path, clock: Clock, group: str, kept: LogbookTable | None = None) -> None:
        self._logbook = logbook
        self.kept = kept or LogbookTable()  # replaced on reload
        self._group = group
        if not hasattr(socket, "SO_PEERCRED"):
            raise UsageError("--for-group: found a system whose kernel does not tell who connects. Use Linux")
        try:
            self._gid = grp.getgrnam(group).gr_gid
        except KeyError as trouble:
            raise UsageError(f"--for-group: found {group!r}. Use a group of this machine") from trouble
        self._clock = clock
        self._path = socket_path(logbook)
        self._stopping = threading.Event()
        self._socket: socket.socket | None = None
        self._thread = threading.Thread(target=self._run, name="local socket", daemon=True)

    def open(self) -> None:
        """Take the place; whoever connects waits until :meth:`start`.

        Raises
        ------
        StoreFailed
            A path too long for a socket, a disk without them, or a group that we are not of.
        """
        listening = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        try:
            self._path.unlink(missing_ok=True)  # of a daemon that was killed: the lock says that none runs
            listening.bind(str(self._path))
            self._path.chmod(0o600)
            os.chown(self._path, -1, self._gid)
            self._path.chmod(0o660)
            listening.listen(WAITING)
        except OSError as trouble:
            listening.close()
            raise StoreFailed(f"local socket {self._path}: {trouble.strerror or trouble}") from trouble
        listening.settimeout(TURN)
        self._socket = listening

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        """End the thread, and take the socket away."""
        self._stopping.set()
        if self._thread.is_alive():
            self._thread.join(PATIENCE + 1.0)
        if self._socket is not None:
            self._socket.close()
            self._path.unlink(missing_ok=True)

    def _run(self) -> None:
        assert self._socket is not None
        while not self._stopping.is_set():
            try:
                far, _ = self._socket.accept()
            except TimeoutError:
                continue
            except OSError:
                self._stopping.wait(TURN)
                continue
            with far, suppress(OSError):
                far.settimeout(PATIENCE)
                far.sendall(self._answered(far))

    def _answered(self, far: socket.socket) -> bytes:
        request, user = _line(far), self._user(far)  # read first: else the reason does not reach who asks
        if user is None:
            return not_done(f"you are not of the group {self._group}, which may write this logbook")
        try:
            with open_logbook(self._logbook) as logbook:
                return answered(logbook, request, user, self._seal)
        except CurewatchError as trouble:
            return not_done(str(trouble))

    def _user(self, far: socket.socket) -> str | None:
        """The name of who connects; none if it may not write here."""
        credentials = far.getsockopt(socket.SOL_SOCKET, socket.SO_PEERCRED, _CREDENTIALS.size)
        _, uid, gid = _CREDENTIALS.unpack(credentials)
        try:
            known = pwd.getpwuid(uid)
        except KeyError:
            return None
        groups = {gid, *os.getgrouplist(known.pw_name, known.pw_gid)}
        return known.pw_name if uid in (0, os.geteuid()) or self._gid in groups else None

    def _seal(self, seal_reason: str) -> StoredEntry:
        """By a child: signing needs a library that the daemon should not carry."""
        child = Child(__name__)
        kept, now = self.kept, self._clock.now().utc
        child.ask(SealRequest(self._logbook, seal_reason, now, kept.stamp_authority, kept.stamp_roots_file))
        said = child.wait()
        if said.trouble:
            raise StoreFailed(said.trouble)
        with open_logbook(self._logbook, read_only=True) as logbook:
            found = logbook.entry(int(said.said))
        if found is None:
            raise StoreFailed("the seal is not in the logbook; ask for it again")
        return found


def _line(far: socket.socket) -> bytes:
    """Up to the line feed, and no more than may come."""
    said = bytearray()
    while b"\n" not in said[-65_536:] and len(said) <= LONGEST:
        piece = far.recv(65_536)
        if not piece:
            break
        said += piece
    return bytes(said[:LONGEST])


def answer() -> None:
    """In the child."""
    serve(_sealed)


def _sealed(asked: SealRequest) -> int:
    from curewatch.logbook.sealing import seal
    from curewatch.logbook.stamping import date_newest

    with open_logbook(asked.logbook) as logbook:
        made = seal(logbook, reason=asked.reason, at=asked.at)
        date_newest(logbook, asked.stamp_authority, asked.stamp_roots_file, asked.at)
        return next(
            one.number for one in reversed(logbook.entries("seal")) if one.payload.get("code") == made.code
        )
