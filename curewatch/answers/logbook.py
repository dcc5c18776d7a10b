"""The documents of `logbook`: what it holds, whether it is whole, and what was done with it."""

from collections.abc import Collection
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

from curewatch.answers.document import Shape, Utc, says
from curewatch.clock import iso_utc

if TYPE_CHECKING:
    from curewatch.errors import RecordBroken
    from curewatch.logbook import LogbookStore, Verified
    from curewatch.logbook.retention import Pruned
    from curewatch.logbook.sealing import Seal


class KeptSensorDocument(Shape, frozen=True, kw_only=True):
    """What is held of one sensor."""

    readings: Annotated[int, says("Held")]
    earliest: Annotated[Utc, says("First (ISO 8601, UTC)")]
    latest: Annotated[Utc, says("Last (ISO 8601, UTC)")]


class RejectedDocument(Shape, frozen=True, kw_only=True):
    """What came in and could not be taken."""

    reason: Annotated[str, says("Why, in words")]
    times: Annotated[int, says("How often")]


class SealPlaceDocument(Shape, frozen=True, kw_only=True):
    """A seal that stands in the logbook."""

    code: Annotated[str, says("28 characters in groups of four")]
    at: Annotated[Utc, says("When it was sealed (ISO 8601, UTC)")]
    block: Annotated[int, says("The last block that it covers")]


class LogbookStatusDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch logbook status`."""

    path: Annotated[str, says("File")]
    bytes: Annotated[int, says("Size")]
    readings: Annotated[int, says("Held")]
    entries: Annotated[int, says("Held")]
    block: Annotated[int, says("Last block")]
    head: Annotated[str, says("Its head, SHA-256")]
    sensors: Annotated[dict[str, KeptSensorDocument], says("By name")]
    last_seal: Annotated[SealPlaceDocument | None, says("The last seal; null where there is none")]
    rejected: Annotated[list[RejectedDocument], says("What was rejected, by its reason")]


class LogbookWholeDocument(Shape, frozen=True, kw_only=True):
    """It holds."""

    holds: Annotated[Literal[True], says("The same in each document of this kind")]
    readings: Annotated[int, says("Held")]
    entries: Annotated[int, says("Held")]
    blocks: Annotated[int, says("Walked")]
    pruned_blocks: Annotated[int, says("Whose readings were let go")]
    seals: Annotated[int, says("Checked")]
    head: Annotated[str, says("SHA-256")]
    proved: Annotated[SealPlaceDocument | None, says("With --code: the seal that has it")]


class BrokenDocument(Shape, frozen=True, kw_only=True):
    """It does not hold."""

    holds: Annotated[Literal[False], says("Exit status 5")]
    entry: Annotated[str, says("What is wrong")]
    expected: Annotated[str, says("Expected")]
    found: Annotated[str, says("Found")]


class LogbookSealDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch logbook seal`."""

    code: Annotated[str, says("28 characters in groups of four")]
    at: Annotated[Utc, says("When (ISO 8601, UTC)")]
    block: Annotated[int, says("Sealed block")]
    head: Annotated[str, says("Its head")]
    key: Annotated[str, says("Public key")]
    digest: Annotated[str, says("All 256 bits that the code is the beginning of")]


class LogbookBackupDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch logbook backup`."""

    backup: Annotated[str, says("File")]
    bytes: Annotated[int, says("Size")]
    key: Annotated[str, says("The key that is not in it")]


class LogbookExportDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch logbook export`."""

    file: Annotated[str, says("File")]
    what: Annotated[Literal["readings", "entries"], says("What was taken out")]
    count: Annotated[int, says("How many of them")]
    bytes: Annotated[int, says("Size")]


class LogbookPruneDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch logbook prune`."""

    rehearsed: Annotated[bool, says("Nothing was changed")]
    readings: Annotated[int, says("Readings that go")]
    blocks: Annotated[int, says("Blocks")]
    kept_for: Annotated[list[str], says("Jobs that keep theirs")]


def logbook_status_document(logbook: "LogbookStore") -> LogbookStatusDocument:
    """What this logbook holds.

    Raises
    ------
    StoreFailed
        It cannot be read.
    """
    from curewatch.logbook import sealing

    head, seals = logbook.head(), sealing.seals(logbook)
    rejected: dict[str, int] = {}
    for rejection in logbook.rejected():
        rejected[rejection.reason] = rejected.get(rejection.reason, 0) + rejection.times
    return LogbookStatusDocument(
        path=str(logbook.path),
        bytes=logbook.size(),
        readings=head.readings,
        entries=head.entries,
        block=head.block,
        head=head.head,
        sensors={
            name: KeptSensorDocument(
                readings=one.readings, earliest=iso_utc(one.earliest), latest=iso_utc(one.latest)
            )
            for name, one in logbook.sensors().items()
        },
        last_seal=_place(seals[-1]) if seals else None,
        rejected=[RejectedDocument(reason=reason, times=times) for reason, times in rejected.items()],
    )


def logbook_whole_document(
    verified: "Verified", seals: "Collection[Seal]", proved: "Seal | None"
) -> LogbookWholeDocument:
    """What a whole walk found to be in order, with its seals, and the one whose code was given."""
    return LogbookWholeDocument(
        holds=True,
        readings=verified.head.readings,
        entries=verified.head.entries,
        blocks=verified.blocks,
        pruned_blocks=verified.pruned,
        seals=len(seals),
        head=verified.head.head,
        proved=None if proved is None else _place(proved),
    )


def broken_document(broken: "RecordBroken") -> BrokenDocument:
    """The first thing in a logbook or a record that is not as it was."""
    return BrokenDocument(holds=False, entry=broken.entry, expected=broken.expected, found=broken.found)


def logbook_seal_document(seal: "Seal") -> LogbookSealDocument:
    return LogbookSealDocument(
        code=seal.code, at=seal.at, block=seal.block, head=seal.head, key=seal.public_key, digest=seal.digest
    )


def logbook_backup_document(copy: Path, key: Path) -> LogbookBackupDocument:
    return LogbookBackupDocument(backup=str(copy), bytes=copy.stat().st_size, key=str(key))


def logbook_export_document(file: Path, count: int, *, entries: bool) -> LogbookExportDocument:
    return LogbookExportDocument(
        file=str(file), what="entries" if entries else "readings", count=count, bytes=file.stat().st_size
    )


def logbook_prune_document(pruned: "Pruned", *, rehearsed: bool) -> LogbookPruneDocument:
    return LogbookPruneDocument(
        rehearsed=rehearsed,
        readings=pruned.readings,
        blocks=len(pruned.blocks),
        kept_for=list(pruned.kept_for),
    )


def _place(seal: "Seal") -> SealPlaceDocument:
    return SealPlaceDocument(code=seal.code, at=seal.at, block=seal.block)
