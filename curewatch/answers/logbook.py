"""The documents of `logbook`: what it holds, whether it is whole, and what was done with it."""

from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

from curewatch.answers.document import Shape, Utc, says
from curewatch.clock import iso_utc

if TYPE_CHECKING:
    from curewatch.errors import RecordBroken
    from curewatch.logbook import LogbookStore, Verified
    from curewatch.logbook.keys import KeyChange
    from curewatch.logbook.retention import Pruned
    from curewatch.logbook.salvage import Salvaged
    from curewatch.logbook.sealing import Seal, Signed


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


class KeyChangeDocument(Shape, frozen=True, kw_only=True):
    """One signing key after another."""

    at: Annotated[Utc, says("When (ISO 8601, UTC)")]
    old: Annotated[str, says("Fingerprint")]
    new: Annotated[str, says("Fingerprint")]
    reason: Annotated[Literal["changed", "lost"], says("Lost: the old key was not there to sign the new one")]


class LogbookKeyDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch logbook key`."""

    file: Annotated[str, says("The private key")]
    present: Annotated[bool, says("Whether it is there")]
    key: Annotated[str | None, says("Public key of this logbook; null before the first seal")]
    fingerprint: Annotated[str | None, says("What people compare: half of the key's SHA-256")]
    copied_to: Annotated[str | None, says("With --backup: the copy")]
    changes: Annotated[list[KeyChangeDocument], says("Keys that followed one another, oldest first")]


class LogbookStampDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch logbook stamp`: the newest time stamp."""

    code: Annotated[str | None, says("Of the seal that it dates; null where nobody dated any")]
    at: Annotated[Utc | None, says("When the seal was there (ISO 8601, UTC)")]
    by: Annotated[str | None, says("The authority, as its certificate names it")]
    root: Annotated[str | None, says("SHA-256 of the certificate that it leads to")]
    ends: Annotated[Utc | None, says("When its certificate ends (ISO 8601, UTC)")]
    newest: Annotated[bool, says("Whether that is the newest seal")]


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
    lost_blocks: Annotated[int, says("Of which something was lost in damage, as a salvage told")]
    seals: Annotated[int, says("Checked")]
    key_changes: Annotated[list[KeyChangeDocument], says("Keys that followed one another, oldest first")]
    head: Annotated[str, says("SHA-256")]
    proved: Annotated[SealPlaceDocument | None, says("With --code: the seal that has it")]


class BrokenDocument(Shape, frozen=True, kw_only=True):
    """It does not hold."""

    holds: Annotated[Literal[False], says("Exit status 5")]
    entry: Annotated[str, says("What is wrong")]
    expected: Annotated[str, says("Expected")]
    found: Annotated[str, says("Found")]


class LostStretchDocument(Shape, frozen=True, kw_only=True):
    """A stretch of the chain that is lost."""

    blocks: Annotated[list[int], says("First and last block")]
    start: Annotated[Utc, says("What arrived from then on is lost (ISO 8601, UTC)")]
    end: Annotated[Utc, says("Until then (ISO 8601, UTC)")]
    readings: Annotated[int | None, says("Lost; null: how many is not known")]
    head_before: Annotated[str, says('Head of the block before it; "" if that is lost, too')]
    head_after: Annotated[str, says('Head that the block after it names; "" if there is none')]


class LogbookSalvageDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch logbook salvage`."""

    logbook: Annotated[str, says("The new logbook")]
    damaged: Annotated[str, says("The old one, left as it is")]
    readings: Annotated[int, says("Kept")]
    entries: Annotated[int, says("Kept")]
    blocks: Annotated[int, says("Kept whole")]
    holes: Annotated[list[LostStretchDocument], says("What is lost of the readings, by hours of arrival")]
    entries_lost: Annotated[list[list[int]], says("First and last number of each run of lost entries")]
    unverified: Annotated[str | None, says("File with entries that could not be checked; null: none")]
    head_was: Annotated[str, says("Head of the last block that was found")]
    head: Annotated[str, says("Head of the new logbook")]


class LogbookSealDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch logbook seal`."""

    code: Annotated[str, says("28 characters in groups of four")]
    at: Annotated[Utc, says("When (ISO 8601, UTC)")]
    block: Annotated[int, says("Sealed block")]
    head: Annotated[str, says("Its head")]
    key: Annotated[str, says("Public key")]
    digest: Annotated[str, says("All 256 bits that the code is the beginning of")]
    undated: Annotated[str | None, says("Why no authority dated it; null where one did")]


class LogbookBackupDocument(Shape, frozen=True, kw_only=True):
    """The answer of `curewatch logbook backup`."""

    backup: Annotated[str, says("File")]
    bytes: Annotated[int, says("Size")]
    logbook: Annotated[str, says("The logbook that it is a copy of")]
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
    verified: "Verified", signed: "Signed", proved: "Seal | None"
) -> LogbookWholeDocument:
    """What a whole walk found to be in order, with its seals, and the one whose code was given."""
    return LogbookWholeDocument(
        holds=True,
        readings=verified.head.readings,
        entries=verified.head.entries,
        blocks=verified.blocks,
        pruned_blocks=verified.pruned,
        lost_blocks=verified.lost,
        seals=len(signed.seals),
        key_changes=key_change_documents(signed.changes),
        head=verified.head.head,
        proved=None if proved is None else _place(proved),
    )


def key_change_documents(changes: "Iterable[KeyChange]") -> list[KeyChangeDocument]:
    """How keys followed one another."""
    from curewatch.logbook.keys import fingerprint

    return [
        KeyChangeDocument(at=one.at, old=fingerprint(one.old), new=fingerprint(one.new), reason=one.reason)
        for one in changes
    ]


def logbook_key_document(logbook: "LogbookStore", copied_to: Path | None) -> LogbookKeyDocument:
    """Which key signs this logbook, and how it came to be.

    Raises
    ------
    StoreFailed
        The key's file cannot be used.
    """
    from curewatch.logbook import EntryKind, keys

    path, own = keys.key_path(logbook.path), keys.own_key(logbook.path)
    public = keys.known_key(logbook) or own
    changes = map(keys.change_of, logbook.entries(EntryKind.KEY))
    return LogbookKeyDocument(
        file=str(path),
        present=bool(own) and own == public,
        key=public or None,
        fingerprint=keys.fingerprint(public) if public else None,
        copied_to=None if copied_to is None else str(copied_to),
        changes=key_change_documents(changes),
    )


def logbook_stamp_document(logbook: "LogbookStore") -> LogbookStampDocument:
    """The newest time stamp, checked against the certificates that it names.

    Raises
    ------
    RecordBroken
        It does not hold.
    """
    from curewatch.logbook import EntryKind, seal_code, sealing, stamping

    told = logbook.entries(EntryKind.STAMP)
    if not told:
        return LogbookStampDocument(code=None, at=None, by=None, root=None, ends=None, newest=False)
    last, newest = stamping.stamp_of(told[-1]), sealing.seals(logbook)[-1]
    return LogbookStampDocument(
        code=seal_code.code_of(last.digest),
        at=last.at,
        by=last.by,
        root=last.root,
        ends=last.ends,
        newest=last.digest == newest.digest,
    )


def broken_document(broken: "RecordBroken") -> BrokenDocument:
    """The first thing in a logbook or a record that is not as it was."""
    return BrokenDocument(holds=False, entry=broken.entry, expected=broken.expected, found=broken.found)


def logbook_salvage_document(damaged: Path, done: "Salvaged") -> LogbookSalvageDocument:
    return LogbookSalvageDocument(
        logbook=str(done.path),
        damaged=str(damaged),
        readings=done.readings,
        entries=done.entries,
        blocks=done.blocks,
        holes=[
            LostStretchDocument(
                blocks=[one.first, one.last],
                start=iso_utc(one.start),
                end=iso_utc(one.end),
                readings=one.readings,
                head_before=one.before,
                head_after=one.after,
            )
            for one in done.holes
        ],
        entries_lost=[list(one) for one in done.entries_lost],
        unverified=None if done.unverified is None else str(done.unverified),
        head_was=done.was,
        head=done.head,
    )


def logbook_seal_document(seal: "Seal", undated: str) -> LogbookSealDocument:
    return LogbookSealDocument(
        code=seal.code,
        at=seal.at,
        block=seal.block,
        head=seal.head,
        key=seal.public_key,
        digest=seal.digest,
        undated=undated or None,
    )


def logbook_backup_document(copy: Path, logbook: Path, key: Path) -> LogbookBackupDocument:
    return LogbookBackupDocument(
        backup=str(copy), bytes=copy.stat().st_size, logbook=str(logbook), key=str(key)
    )


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
