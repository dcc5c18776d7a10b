"""What can go wrong, named by who must act; and the exit statuses a script may rely on.

Bad *data* is not an error: it is a :class:`curewatch.readings.Rejected` value.
"""

import errno
from enum import IntEnum
from pathlib import Path


class ExitStatus(IntEnum):
    """Exit statuses of the ``curewatch`` command."""

    OK = 0  # go, or done
    FAILURE = 1
    USAGE = 2
    NO_GO = 3
    UNKNOWN = 4
    RECORD_BROKEN = 5
    CONFIGURATION = 78  # EX_CONFIG of sysexits.h: a service manager must not restart on it
    READER_GONE = 141  # 128 + SIGPIPE, as shells count: whoever read went before all was said


_REASONS = {
    errno.EISDIR: "a folder, not a file",
    errno.ENOTDIR: "a part of that path is a file",
    errno.EEXIST: "there is a file of that name",
    errno.EACCES: "no permission for this user",
    errno.ENAMETOOLONG: "that name is too long for the disk",
}


def reason(rejected: OSError) -> str:
    """Why the system refused, in words for whoever must mend it."""
    return _REASONS.get(rejected.errno or 0) or rejected.strerror or str(rejected)


class CurewatchError(Exception):
    """Base of every error that this package raises on purpose.

    The message says what was seen, what is allowed, and what to do next.
    """

    exit_status: ExitStatus = ExitStatus.FAILURE


class UsageError(CurewatchError):
    """The person at the keyboard must change the command."""

    exit_status = ExitStatus.USAGE


class OutOfValidity(CurewatchError, ValueError):  # noqa: N818 - named by the matter, as its siblings
    """The caller asked an equation for a value outside the range of its source."""

    exit_status = ExitStatus.USAGE

    def __init__(self, quantity: str, value: float, allowed: str, source: str) -> None:
        self.quantity = quantity
        self.value = value
        self.allowed = allowed
        self.source = source
        super().__init__(f"{quantity} is {value:.6g}; {source} holds for {allowed}")


class ConfigurationError(CurewatchError):
    """The user must change a file: which, where, what was found, what is allowed."""

    exit_status = ExitStatus.CONFIGURATION

    def __init__(
        self,
        found: str,
        allowed: str,
        *,
        file: Path | str | None = None,
        line: int | None = None,
        key: str | None = None,
    ) -> None:
        self.file = None if file is None else Path(file)
        self.line = line
        self.key = key
        self.found = found
        self.allowed = allowed
        place = ", ".join(
            part
            for part in (
                "" if file is None else str(file),
                "" if line is None else f"line {line}",
                "" if key is None else f"key {key}",
            )
            if part
        )
        super().__init__(f"{place + ': ' if place else ''}found {found}. Use {allowed}")


class SourceLost(CurewatchError):  # noqa: N818
    """A cable or a broker must be seen to: the source of readings is gone."""


class StoreFailed(CurewatchError):  # noqa: N818
    """The disk or the logbook file must be seen to: nothing more can be stored."""


class RecordBroken(CurewatchError):  # noqa: N818
    """A record does not prove what it says: names the entry, what was expected and what was found."""

    exit_status = ExitStatus.RECORD_BROKEN

    def __init__(self, entry: str, expected: str, found: str) -> None:
        self.entry = entry
        self.expected = expected
        self.found = found
        super().__init__(f"{entry}: expected {expected}, found {found}")
