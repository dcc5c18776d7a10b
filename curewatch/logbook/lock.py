"""One daemon a logbook: a lock that dies with its process, and names its holder."""

import fcntl
import json
import os
import time
from pathlib import Path

from curewatch.clock import iso_utc
from curewatch.errors import StoreFailed

TRIES, BETWEEN = 5, 0.01  # s; whoever asks whether it is held has it for some microseconds


class InUse(StoreFailed):
    """Another process is this logbook's daemon; ``holder`` says which."""

    def __init__(self, logbook: Path, holder: str) -> None:
        self.holder = holder
        super().__init__(
            f"logbook {logbook} is in use by {holder}; stop that one, or attach to it with `curewatch watch`"
        )


class Lock:
    """Held from construction until :meth:`release`, or until the process ends, however it ends.

    The kernel's lock on the file decides; the text in it only names the holder. So the text a dead
    process left behind is no lock, and is written over.
    """

    def __init__(self, logbook: Path, holder: str, since: float) -> None:
        self.path = logbook.with_name(logbook.name + ".lock")
        self._file = os.open(self.path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
        try:
            _take(self._file)
        except OSError as trouble:
            named = _holder(os.pread(self._file, 4096, 0))
            os.close(self._file)
            raise InUse(logbook, named) from trouble
        text = json.dumps({"holder": holder, "pid": os.getpid(), "since": iso_utc(since)})
        os.pwrite(self._file, text.encode(), 0)
        os.ftruncate(self._file, len(text))  # emptied before, it would be flushed to the disk: 3 ms

    @classmethod
    def in_use(cls, logbook: Path) -> InUse:
        """That another process holds it, named as far as its file can be read."""
        try:
            text = logbook.with_name(logbook.name + ".lock").read_text(encoding="utf-8")
        except OSError:
            text = ""
        return InUse(logbook, _holder(text))

    def release(self) -> None:
        """Let another process have it."""
        if self._file >= 0:
            os.close(self._file)
            self._file = -1


def held(logbook: Path) -> bool | None:
    """Whether a process is the daemon of this logbook; none where its lock cannot be read."""
    try:
        file = os.open(logbook.with_name(logbook.name + ".lock"), os.O_RDONLY | os.O_CLOEXEC)
    except FileNotFoundError:
        return False
    except OSError:
        return None
    try:
        fcntl.flock(file, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except OSError:
        return True
    finally:
        os.close(file)
    return False


def _take(file: int) -> None:
    """Raise OSError where another process has it, and keeps it."""
    for left in reversed(range(TRIES)):
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            if not left:
                raise
            time.sleep(BETWEEN)
        else:
            return


def _holder(text: str | bytes) -> str:
    try:
        plain = json.loads(text)
        return f"{plain['holder']}, process {plain['pid']}, since {plain['since']}"
    except (ValueError, KeyError, TypeError):
        return "another process"
