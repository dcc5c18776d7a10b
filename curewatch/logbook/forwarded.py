"""A logbook that another user's daemon keeps: read here, written through the daemon's local socket.

Theory of operation
-------------------
A service writes its logbook under a user of its own; the owner may read it, as a member of its group. What
the owner tells goes to the daemon as one line of JSON over a socket beside the logbook, and comes back as the
stored lines, or as a reason. Sealing is asked for, never done here: the key stays with the service.

Law: who asks can append what people tell, and have it sealed. Nothing else can be asked for, so nothing that
stands in the logbook can be changed this way.
"""

import json
import os
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any

from curewatch.errors import CurewatchError, ExitStatus, StoreFailed, UsageError, reason
from curewatch.logbook import chain, entry
from curewatch.logbook.entry import Entry, StoredEntry
from curewatch.logbook.kinds import EntryKind
from curewatch.logbook.lock import Lock
from curewatch.logbook.logbook import Logbook
from curewatch.logbook.port import LogbookStore
from curewatch.readings import Reading, Rejected

PATIENCE = 60.0  # for an answer: a seal takes a process of its own [s]
LONGEST = 12 * 1024 * 1024  # bytes of one request: the longest entry, and a little
MOST = 100  # entries of one request
TOLD = frozenset(  # what people tell; all else is the daemon's own
    (
        EntryKind.JOB_OPEN,
        EntryKind.JOB_CLOSE,
        EntryKind.BATCH,
        EntryKind.LAYER,
        EntryKind.LAYER_CLOSED,
        EntryKind.POT_EMPTY,
        EntryKind.PEEL_PLY,
        EntryKind.WASH,
        EntryKind.OBSERVATION,
        EntryKind.QUALITY,
        EntryKind.DEVIATION,
        EntryKind.SIGN_OFF,
        EntryKind.NOTE,
        EntryKind.PHOTO,
        EntryKind.CORRECTION,
        EntryKind.SENSOR_CHECK,
        EntryKind.ALERT,
        EntryKind.FORECAST,
    )
)


def socket_path(logbook: Path) -> Path:
    """Where the daemon of a logbook listens."""
    return logbook.with_name(logbook.name + ".socket")


def kept_by_another(path: Path) -> bool:
    """Whether this logbook may be read here and is written by a daemon of another user."""
    return path.exists() and not os.access(path, os.W_OK) and socket_path(path).exists()


class ForwardedLogbook(Logbook):
    """A :class:`~curewatch.logbook.port.LogbookStore`: reads the file, has it written."""

    sealed_here = False

    def __init__(self, path: Path | str) -> None:
        super().__init__(path, read_only=True)

    def append(
        self,
        readings: Iterable[Reading] = (),
        entries: Iterable[Entry] = (),
        *,
        notes: Mapping[str, bytes] | None = None,
        rejected: Iterable[Rejected] = (),
    ) -> int:
        """Have these entries stored; readings, notes and rejections are the daemon's."""
        if any(True for _ in readings) or notes or any(True for _ in rejected):
            raise _the_services(self.path)
        self._asked({"do": "append", "entries": [_plain(one) for one in entries]})
        return 0

    def write(self, new: Entry) -> StoredEntry:
        """Have one entry stored, and return it as it stands."""
        return self._asked({"do": "append", "entries": [_plain(new)]})[0]

    def sealed_elsewhere(self, seal_reason: str) -> StoredEntry:
        """Have it sealed by the service, which has the key."""
        return self._asked({"do": "seal", "reason": seal_reason})[0]

    def tell_rejections(self, at: float) -> StoredEntry | None:
        raise _the_services(self.path)

    def close_block(self) -> chain.Head:
        raise _the_services(self.path)

    def drop_bodies(self, numbers: Iterable[int], told: Entry) -> None:
        raise _the_services(self.path)

    def hold(self, holder: str, since: float) -> None:
        """Raise StoreFailed: it has its daemon, which the message names."""
        raise Lock.in_use(self.path)

    def _asked(self, request: Mapping[str, Any]) -> list[StoredEntry]:
        answer = _exchange(self.path, json.dumps(request, allow_nan=False).encode() + b"\n")
        if "trouble" in answer:
            refused = UsageError if answer.get("kind") == "UsageError" else StoreFailed
            raise refused(str(answer["trouble"]))
        return [entry.stored(str(line)) for line in answer["lines"]]


def _the_services(path: Path) -> StoreFailed:
    owner = path.owner()
    return StoreFailed(
        f"logbook {path} is kept by the service. Run it as its user: sudo -u {owner} curewatch ..."
    )


def _plain(one: Entry) -> dict[str, Any]:
    return {
        "kind": one.kind,
        "payload": dict(one.payload),
        "at": one.at,
        "job": one.job,
        "key": one.key,
        "recorded": one.recorded,
    }


def _exchange(logbook: Path, request: bytes) -> dict[str, Any]:
    """One question, one answer."""
    import socket  # most commands ask nobody

    path = socket_path(logbook)
    try:
        with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as far:
            far.settimeout(PATIENCE)
            far.connect(str(path))
            far.sendall(request)
            said = b"".join(iter(lambda: far.recv(65_536), b""))
        found = json.loads(said)
    except (OSError, ValueError) as trouble:
        why = reason(trouble) if isinstance(trouble, OSError) else "no answer"
        raise StoreFailed(
            f"the daemon of {logbook} does not answer on {path} ({why}). Start the service, then try again"
        ) from trouble
    return dict(found)


# -- the daemon's side --------------------------------------------------------------------------


SealFor = Callable[[str], StoredEntry]  # by its reason


def answered(logbook: LogbookStore, request: bytes, user: str, seal: SealFor) -> bytes:
    """What the daemon answers to a request of this user; ``seal`` has it sealed."""
    try:
        lines = [one.line for one in _done(logbook, request, user, seal)]
        return json.dumps({"lines": lines}).encode()
    except CurewatchError as trouble:
        return not_done(str(trouble), usage=trouble.exit_status == ExitStatus.USAGE)
    except (ValueError, TypeError, KeyError, AttributeError, OverflowError, RecursionError):
        return not_done("the request cannot be read. Use the same edition of curewatch as the service")


def not_done(text: str, *, usage: bool = False) -> bytes:
    """The answer to what was not done."""
    return json.dumps({"trouble": text, "kind": "UsageError" if usage else "StoreFailed"}).encode()


def _done(logbook: LogbookStore, request: bytes, user: str, seal: SealFor) -> list[StoredEntry]:
    asked = json.loads(request)
    if asked["do"] == "seal":
        if asked["reason"] not in ("day", "job-close"):
            raise UsageError(f"a seal: found {asked['reason']!r}. Use day or job-close")
        return [seal(asked["reason"])]
    entries = [_entry(one, user) for one in asked["entries"]]
    if asked["do"] != "append" or len(entries) > MOST:
        raise UsageError(f"a request: found {asked['do']!r} of {len(entries)} entries. Use append")
    return [logbook.write(one) for one in entries]


def _entry(plain: Mapping[str, Any], user: str) -> Entry:
    """An entry that somebody tells, with who it was as far as the system says."""
    if plain["kind"] not in TOLD:
        raise UsageError(f"an entry of kind {plain['kind']!r} is the daemon's own. Tell what people tell")
    recorded = plain.get("recorded")
    return Entry(
        str(plain["kind"]),
        dict(plain["payload"]) | {"user": user},
        float(plain["at"]),
        job=plain.get("job"),
        key=plain.get("key"),
        recorded=None if recorded is None else float(recorded),
    )
