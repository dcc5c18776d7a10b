"""What is known of a logbook without walking it all: since the last seal, and when the whole was walked."""

from pathlib import Path
from typing import NamedTuple

from curewatch.clock import utc_from_iso
from curewatch.logbook.kinds import EntryKind
from curewatch.logbook.opening import keep_note
from curewatch.logbook.port import LogbookStore

NOTE = "walked"  # when `logbook verify` last found the whole in order, and how far it went


class SinceSeal(NamedTuple):
    """What a walk from the last seal on found."""

    sealed_at: float | None  # UTC; none: there is no seal, and the walk began at the first block [s]
    whole_at: float | None  # UTC; none: the whole was never walked [s]


def check_since_seal(logbook: LogbookStore) -> SinceSeal:
    """The last seal, and every block after it; what is made from the readings only ``verify`` looks at.

    Raises
    ------
    RecordBroken
        Names the first thing that is not as it was.
    """
    seals = logbook.entries(EntryKind.SEAL)
    if not seals:
        logbook.verify_since(0)
        return SinceSeal(None, _noted(logbook))
    from curewatch.logbook import sealing  # it brings the keys with it

    last = sealing.seal_of(seals[-1])
    sealing.check_seal(last, logbook.block_head(last.block), last.public_key)
    logbook.verify_since(last.block)
    return SinceSeal(utc_from_iso(last.at), _noted(logbook))


def note_walk(path: Path, at: float) -> None:
    """Keep when the whole was found in order; who may only read keeps nothing. ``at``: now, UTC [s]."""
    keep_note(path, NOTE, f"{at:.3f}".encode())


def _noted(logbook: LogbookStore) -> float | None:
    told = logbook.note(NOTE)
    try:
        return None if told is None else float(told)
    except ValueError:
        return None
