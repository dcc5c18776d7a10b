"""One job as it stands: its entries in order, with later corrections applied and shown.

Theory of operation
-------------------
The logbook only grows. A correction is an entry that names another by number and says which keys
have which new values; :func:`told` folds them, so that a reader sees the value that holds now, what
it was before, and who changed it why. The latest correction of a key holds. Nothing is ever edited.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from typing import Any

from msgspec import Struct

from curewatch.errors import UsageError
from curewatch.logbook import EntryKind, LogbookStore, StoredEntry

BENCH_KINDS = frozenset(
    {
        EntryKind.JOB_OPEN,
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
        EntryKind.PRIMER,
        EntryKind.TAB_TEST,
        EntryKind.TAB,
        EntryKind.JOB_CLOSE,
        EntryKind.JOB_REOPEN,
    }
)  # what people tell; only these can be corrected: the daemon's own entries and seals cannot


class CorrectedEntry(Struct, frozen=True):
    """An entry with the corrections that came after it."""

    entry: StoredEntry
    payload: Mapping[str, Any]  # with corrections applied
    corrections: tuple[StoredEntry, ...] = ()

    @property
    def number(self) -> int:
        return self.entry.number

    @property
    def kind(self) -> str:
        return self.entry.kind

    @property
    def at(self) -> float:
        """When it happened, UTC; a corrected time holds. [s]"""
        at = self.payload.get("at")
        return float(at) if isinstance(at, int | float) else self.entry.at


class Job(Struct, frozen=True):
    """A job from its opening to its close, or until now."""

    name: str
    told: tuple[CorrectedEntry, ...]

    def of(self, kind: str) -> tuple[CorrectedEntry, ...]:
        """What was told of one kind and not withdrawn, in order of number."""
        return tuple(item for item in self.told if item.kind == kind and not item.payload.get("withdrawn"))

    def count(self, kind: str) -> int:
        """How many were told of a kind, withdrawn ones too: a name is never given twice."""
        return sum(item.kind == kind for item in self.told)

    def last(self, kind: str) -> CorrectedEntry | None:
        """The last one of a kind: a new one of it starts from its values."""
        return self.of(kind)[-1] if self.of(kind) else None

    def last_person(self, kind: str) -> str | None:
        """Who told the last thing of a kind, or opened the job."""
        last = self.last(kind)
        who = (last and last.payload.get("by")) or self.opened.payload.get("by")
        return str(who) if who else None

    @property
    def opened(self) -> CorrectedEntry:
        return self.of(EntryKind.JOB_OPEN)[0]

    @property
    def closed(self) -> CorrectedEntry | None:
        """The close that holds: none where the job was opened again after it."""
        close, again = self.last(EntryKind.JOB_CLOSE), self.last(EntryKind.JOB_REOPEN)
        return close if close is not None and (again is None or again.number < close.number) else None

    @property
    def title(self) -> str:
        return str(self.opened.payload.get("title", ""))

    @property
    def running(self) -> tuple[str, ...]:
        """Names of the layers that nobody has said are over."""
        over = {str(item.payload.get("layer")) for item in self.of(EntryKind.LAYER_CLOSED)}
        names = (str(item.payload["layer"]) for item in self.of(EntryKind.LAYER) if "layer" in item.payload)
        return tuple(name for name in names if name not in over)


def told(entries: Iterable[StoredEntry]) -> tuple[CorrectedEntry, ...]:
    """Entries with their corrections applied; the corrections themselves stay in the list."""
    found = list(entries)
    corrections: dict[int, list[StoredEntry]] = defaultdict(list)
    for entry in found:
        corrects, changes = entry.payload.get("corrects"), entry.payload.get("changes")
        if entry.kind == EntryKind.CORRECTION and isinstance(corrects, int) and isinstance(changes, dict):
            corrections[corrects].append(entry)
    return tuple(_corrected(entry, corrections[entry.number]) for entry in found)


def _corrected(entry: StoredEntry, corrections: list[StoredEntry]) -> CorrectedEntry:
    payload = dict(entry.payload)
    for correction in corrections:
        payload |= correction.payload["changes"]
    return CorrectedEntry(entry, payload, tuple(corrections))


def names(logbook: LogbookStore, *, open_only: bool = False) -> tuple[str, ...]:
    """The jobs of this logbook in the order they were opened."""
    opened = [str(entry.job) for entry in logbook.entries(EntryKind.JOB_OPEN)]
    ends = logbook.entries((EntryKind.JOB_CLOSE, EntryKind.JOB_REOPEN)) if open_only else ()
    closed = {entry.job: entry.kind == EntryKind.JOB_CLOSE for entry in ends}
    return tuple(name for name in opened if not closed.get(name))


def read(logbook: LogbookStore, name: str) -> Job:
    """The job of this name.

    Raises
    ------
    UsageError
        There is none; says which there are.
    """
    entries = logbook.entries(job=name)
    if not any(entry.kind == EntryKind.JOB_OPEN for entry in entries):
        known = ", ".join(names(logbook)) or "none"
        raise UsageError(
            f"there is no job {name!r}: found {known}. Use one that is there, or `curewatch job open`"
        )
    return Job(name, told(entries))


def one_open(logbook: LogbookStore, name: str | None = None) -> Job | None:
    """The job that is meant, for what can also be told of no job: None where none is open.

    Raises
    ------
    UsageError
        There is none of the name given, or several are open and none was named.
    """
    if name is None and not names(logbook, open_only=True):
        return None
    return writable(logbook, name)


def writable(logbook: LogbookStore, name: str | None = None) -> Job:
    """The job that is meant, where something is to be told of it; :func:`current` for who only reads.

    Raises
    ------
    UsageError
        As :func:`current`; or it is closed, and so takes nothing.
    """
    job = current(logbook, name)
    if job.closed is not None:
        raise UsageError(
            f"job {job.name}: found it closed. Use `curewatch job reopen --job {job.name}` first"
        )
    return job


def current(logbook: LogbookStore, name: str | None = None) -> Job:
    """The job that is meant: the named one, else the one that is open.

    Raises
    ------
    UsageError
        None is open, or several are and none was named.
    """
    if name is not None:
        return read(logbook, name)
    candidates = names(logbook, open_only=True)
    if not candidates:
        raise UsageError("no job is open; open one with `curewatch job open`")
    if len(candidates) > 1:
        raise UsageError(f"several jobs are open ({', '.join(candidates)}); say which with --job")
    return read(logbook, candidates[0])
