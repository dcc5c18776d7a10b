"""A logbook as lines of text: what it holds, whether it is whole, what was done with it."""

from curewatch.answers.logbook import (
    LogbookBackupDocument,
    LogbookExportDocument,
    LogbookPruneDocument,
    LogbookSealDocument,
    LogbookStatusDocument,
    LogbookWholeDocument,
)
from curewatch.cli.safe_text import safe_line
from curewatch.cli.screens.square import square_lines
from curewatch.clock import utc_from_iso
from curewatch.wording import Wording


def status_lines(status: LogbookStatusDocument, words: Wording, now: float) -> list[str]:
    """Its size, a line a sensor, what was rejected, the last seal and the head."""
    said = [
        f"{safe_line(status.path)}  ({_size(status.bytes)})",
        f"{status.readings:,} readings, {status.entries:,} entries, {status.block:,} blocks",
    ]
    for name, one in status.sensors.items():
        first, last = (words.moment(utc_from_iso(each), now) for each in (one.earliest, one.latest))
        said.append(f"  {safe_line(name, 24):24s} {one.readings:>12,}  {first} to {last}")
    said += [f"  rejected: {safe_line(each.reason, 40)} {each.times:,}" for each in status.rejected]
    if status.last_seal is not None:
        sealed = words.moment(utc_from_iso(status.last_seal.at), now)
        said.append(f"last seal  {status.last_seal.code}, {sealed}")
    return [*said, f"head       {status.head}"]


def whole_lines(whole: LogbookWholeDocument) -> list[str]:
    """What was walked and checked; the seal whose code was given."""
    pruned = f", {whole.pruned_blocks:,} of them pruned" if whole.pruned_blocks else ""
    counts = f"{whole.readings:,} readings, {whole.entries:,} entries, {whole.blocks:,} blocks{pruned}"
    said = [
        "holds: what is here fits together",
        f"  {counts}, {whole.seals} seals",
    ]
    if whole.proved is None:
        said += [
            "  not shown without --code: that its end was not cut off, that it is no older copy, and that",
            "  nobody with the key wrote it anew; a code from elsewhere shows all three up to its seal",
        ]
    else:
        said.append(f"  seal code {whole.proved.code}: nothing before {whole.proved.at} was changed since")
    return said


def seal_lines(seal: LogbookSealDocument) -> list[str]:
    return [
        f"seal code  {seal.code}",
        *square_lines(seal.digest),
        "Write it on the job card, or send it to somebody: it fixes everything before it.",
    ]


def backup_lines(backup: LogbookBackupDocument) -> list[str]:
    key = safe_line(backup.key)
    return [
        f"{safe_line(backup.backup)}  ({_size(backup.bytes)}), verified",
        f"The signing key is not in it: keep a copy of {key} where only you can read it.",
    ]


def export_lines(export: LogbookExportDocument) -> list[str]:
    return [f"{safe_line(export.file)}: {export.count:,} {export.what}"]


def prune_lines(prune: LogbookPruneDocument) -> list[str]:
    word = "would go" if prune.rehearsed else "gone"
    said = [f"{prune.readings:,} readings in {prune.blocks:,} blocks {word}"]
    return said + ([f"kept for: {safe_line(', '.join(prune.kept_for))}"] if prune.kept_for else [])


def _size(count: int) -> str:
    """Bytes in words: thousands, or millions with a decimal."""
    return f"{count / 1000:.0f} kB" if count < 1_000_000 else f"{count / 1e6:,.1f} MB"
