"""What a salvage could not keep, as its entries tell: the only holes that a chain may have.

Ranges have their first and last number in them.
"""

from collections.abc import Iterable, Sequence

from msgspec import Struct

from curewatch.logbook import entry
from curewatch.logbook.kinds import EntryKind
from curewatch.logbook.tables import Database

Ranges = Sequence[Sequence[int]]


class Lost(Struct, frozen=True):
    """Numbers of blocks and entries that are not here, or not whole."""

    whole: frozenset[int] = frozenset()  # blocks of which nothing is left
    without_readings: frozenset[int] = frozenset()  # blocks
    without_entries: frozenset[int] = frozenset()  # blocks
    entries: frozenset[int] = frozenset()

    def has_blocks(self, first: int, last: int) -> bool:
        """Whether all of these blocks are told to be lost."""
        return self.whole.issuperset(range(first, last + 1))

    def has_entries(self, first: int, last: int) -> bool:
        """Whether all of these entries are told to be lost."""
        return self.entries.issuperset(range(first, last + 1))

    def blocks(self) -> frozenset[int]:
        """Blocks of which something is lost."""
        return self.whole | self.without_readings | self.without_entries


def told(database: Database) -> Lost:
    """What the entries of this logbook tell; each is checked with the block it stands in."""
    lines = database.execute("SELECT line FROM entries WHERE kind = ?", (EntryKind.SALVAGE,)).fetchall()
    payloads = [entry.stored(line).payload for (line,) in lines]
    return Lost(
        *(
            frozenset(number for one in payloads for number in _numbers(one.get(key, ())))
            for key in ("blocks", "blocks_without_readings", "blocks_without_entries", "entries")
        )
    )


MOST = 1_000_000  # numbers of one payload that are looked at


def _numbers(ranges: Ranges) -> Iterable[int]:
    for first, last in ranges:
        yield from range(int(first), min(int(last), int(first) + MOST) + 1)


def ranges(numbers: Iterable[int]) -> list[list[int]]:
    """Runs of consecutive numbers as first and last."""
    runs: list[list[int]] = []
    for number in sorted(numbers):
        if runs and runs[-1][1] == number - 1:
            runs[-1][1] = number
        else:
            runs.append([number, number])
    return runs
