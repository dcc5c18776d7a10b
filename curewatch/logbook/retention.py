"""Retention: old readings that no job needs are let go; the chain can still be checked.

A block's face needs only the *digest* of its readings (``chain``), so a block whose readings were
removed keeps its digest, its count and its head, and every later head still follows from it. What
can no longer be shown is what those readings were; the hourly summary stays. Entries are never
removed. The removal itself is an entry.

Law: a block with a reading within a job's time, or the two days before it (rule sets look back that
far), is never touched; while a job is open that time has no end.
"""

from typing import NamedTuple

from curewatch.logbook.entry import Entry
from curewatch.logbook.kinds import EntryKind
from curewatch.logbook.lost import ranges
from curewatch.logbook.port import LogbookStore
from curewatch.units import DAY, HOUR

BEFORE_A_JOB = 2 * DAY  # s
AFTER_A_JOB = 1 * HOUR  # s


class Kept(NamedTuple):
    """A stretch of time that is kept, and for which job."""

    job: str
    start: float  # UTC [s]
    end: float  # UTC; infinite while the job is open [s]


class Pruned(NamedTuple):
    """What a pruning did, or would do."""

    blocks: tuple[int, ...]
    readings: int
    kept_for: tuple[str, ...]  # jobs whose time lies before the day given


def jobs_time(logbook: LogbookStore) -> list[Kept]:
    """The time of every job: of every entry that names it, and from opening to closing."""
    kept: dict[str, Kept] = {}
    for one in logbook.entries():
        if one.job is None:
            continue
        before = kept.get(one.job, Kept(one.job, one.at, float("inf")))
        start = min(before.start, one.at)
        end = one.at if one.kind == EntryKind.JOB_CLOSE else before.end
        if end != float("inf"):
            end = max(end, one.at, one.recorded)
        kept[one.job] = Kept(one.job, start, end)
    return [Kept(job, start - BEFORE_A_JOB, end + AFTER_A_JOB) for job, start, end in kept.values()]


def prune(logbook: LogbookStore, before: float, *, at: float, rehearse: bool = False) -> Pruned:
    """Let go of readings measured before this moment, UTC [s]; ``at`` is the present.

    Whole blocks only: a block with one reading that must stay, stays. ``rehearse`` changes nothing.
    """
    kept = jobs_time(logbook)
    found = logbook.prunable(before, [(one.start, one.end) for one in kept])
    pruned = Pruned(
        tuple(number for number, _ in found),
        sum(count for _, count in found),
        tuple(sorted(one.job for one in kept if one.start < before)),
    )
    if found and not rehearse:
        logbook.drop_bodies(pruned.blocks, Entry(EntryKind.PRUNE, _payload(pruned, before), at))
    return pruned


def _payload(pruned: Pruned, before: float) -> dict[str, object]:
    return {
        "before": before,
        "blocks": ranges(pruned.blocks),
        "readings": pruned.readings,
        "kept_for": list(pruned.kept_for),
    }
