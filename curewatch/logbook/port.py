"""What every store of a logbook does: the port that commands, daemon and record are written against.

Theory of operation
-------------------
A store keeps one chain of blocks (``chain``). ``append`` is one commit of readings, entries, notes and
rejections. It is on the disk when it returns, and only then may a source be acknowledged. Nothing stored is
ever changed. Any number of processes may read and several may append; each commit begins where the chain
stands. Blocks, heads, seals and their bytes are the same in every store.
"""

from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import NamedTuple, Protocol, Self

from curewatch.logbook.chain import Face, Head
from curewatch.logbook.entry import Entry, StoredEntry
from curewatch.logbook.lost import Lost
from curewatch.logbook.series import BlockRows, Hourly, Series
from curewatch.logbook.verification import Verified
from curewatch.readings import Reading, Rejected


class Known(NamedTuple):
    """What the logbook has of one sensor."""

    readings: int
    earliest: float  # UTC [s]
    latest: float  # UTC [s]


class Rejections(NamedTuple):
    """How often one source gave one reason for a rejection on one day (UTC)."""

    day: float  # UTC, begin of the day [s]
    source: str
    sensor: str
    reason: str
    times: int
    last_at: float  # UTC [s]
    last_raw: bytes


class LogbookStore(Protocol):
    """One logbook, open. Times are UTC seconds, start <= time < end; none: without an end."""

    @property
    def path(self) -> Path:
        """The file that the door was given: the tables, or the address of a database.

        Key, lock, socket and the note of the last seal stand beside it. So they never lie in the database
        that they guard, and who copies that has no key. It names the logbook to people, and to a child
        that asks the door for it again. Nobody else opens anything by it.
        """

    @property
    def sealed_here(self) -> bool:
        """Whether who opened it seals it; else it is asked for with :meth:`sealed_elsewhere`."""

    # -- writing: each call is one commit, StoreFailed if nothing of it was stored

    def append(
        self,
        readings: Iterable[Reading] = (),
        entries: Iterable[Entry] = (),
        *,
        notes: Mapping[str, bytes] | None = None,
        rejected: Iterable[Rejected] = (),
    ) -> int:
        """Store all of it; the number of readings that were not stored already."""

    def write(self, new: Entry) -> StoredEntry:
        """Store one entry; the earlier one if its key is known."""

    def tell_rejections(self, at: float) -> StoredEntry | None:
        """Write what was rejected since the last such entry into the chain; none if nothing was."""

    def close_block(self) -> Head:
        """End the open block, so that its head is final; where the chain stands then."""

    def drop_bodies(self, numbers: Iterable[int], told: Entry) -> None:
        """Let go of the readings of these blocks, with the entry that tells of it."""

    def sealed_elsewhere(self, seal_reason: str) -> StoredEntry:
        """Have it sealed by the daemon that keeps it."""

    # -- reading

    def series(self, sensor: str, start: float | None = None, end: float | None = None) -> Series:
        """One sensor's readings in order of time."""

    def every_series(
        self, sensors: Iterable[str], start: float | None = None, end: float | None = None
    ) -> dict[str, Series]:
        """The readings of several sensors, each in order of time."""

    def few_readings(
        self, sensors: Iterable[str], start: float | None = None, end: float | None = None
    ) -> dict[str, list[Reading]] | None:
        """The same without numpy; none where there are so many that its import costs less."""

    def hourly(self, sensor: str, start: float | None = None, end: float | None = None) -> Hourly:
        """One sensor's hours."""

    def latest(self) -> dict[str, Reading]:
        """The reading with the latest time of every sensor."""

    def sensors(self) -> dict[str, Known]:
        """Every sensor that ever spoke."""

    def entries(
        self,
        kind: str | Iterable[str] | None = None,
        *,
        job: str | None = None,
        start: float | None = None,
        end: float | None = None,
        after: int = 0,
    ) -> list[StoredEntry]:
        """Entries in the order they were written; only of these kinds, of this job, after this number."""

    def entry(self, number: int) -> StoredEntry | None:
        """The entry with this number."""

    def note(self, key: str) -> bytes | None:
        """The note under this key."""

    def rejected(self, start: float | None = None, end: float | None = None) -> list[Rejections]:
        """Counts of what was rejected."""

    # -- the chain

    def head(self) -> Head:
        """Where the chain stands."""

    def block_head(self, number: int) -> str:
        """The head of one block; "" if there is none."""

    def faces(self, first: int = 1, last: int | None = None) -> list[tuple[Face, str]]:
        """The faces of these blocks and their heads."""

    def names(self) -> dict[int, str]:
        """The sensors' names by their number in this logbook."""

    def tokens(self) -> dict[int, str]:
        """The sensors' names as they stand in canonical lines, by number."""

    def blocks(
        self, start: float | None = None, end: float | None = None, sensor: str | None = None
    ) -> Iterator[BlockRows]:
        """Rows of this time in the order they were appended."""

    def block_rows(self, first: int, last: int) -> Iterator[BlockRows]:
        """All rows of these blocks that retention has left."""

    def blocks_between(self, start: float, end: float) -> tuple[int, int] | None:
        """First and last block that hold a reading of this time."""

    def block_bytes(self, number: int) -> bytes:
        """One closed block as bytes (``parcel``)."""

    def take_block(self, carried: bytes) -> bool:
        """Keep the next block as another store closed it; whether it was new. RecordBroken at a fork."""

    def prunable(self, before: float, kept: Iterable[tuple[float, float]]) -> list[tuple[int, int]]:
        """Closed blocks, and their readings, before this moment and outside what is kept."""

    def verify(self) -> Verified:
        """Walk the whole chain; RecordBroken names the first thing that is not as it was."""

    def verify_since(self, block: int) -> Verified:
        """Walk the blocks after this one; RecordBroken names the first thing that is not as it was."""

    def lost(self) -> Lost:
        """What a salvage could not keep."""

    # -- the store itself

    def hold(self, holder: str, since: float) -> None:
        """Become the one that looks after this logbook, until it is let go or closed. InUse: another is."""

    def let_go(self) -> None:
        """Let another look after it."""

    def examine(self) -> None:
        """Look whether the store is whole; a damaged one takes nothing more."""

    def size(self) -> int:
        """Bytes that it takes."""

    def copy(self, target: Path) -> None:
        """Copy it as it stands to a new file, while others go on writing."""

    def close(self) -> None:
        """Leave it in order."""

    def __enter__(self) -> Self: ...

    def __exit__(self, *_: object) -> None: ...
