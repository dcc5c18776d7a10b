"""A logbook as lines of text: what it holds, whether it is whole, what was done with it."""

from curewatch.answers.logbook import (
    KeyChangeDocument,
    LogbookBackupDocument,
    LogbookExportDocument,
    LogbookKeyDocument,
    LogbookPruneDocument,
    LogbookSalvageDocument,
    LogbookSealDocument,
    LogbookStampDocument,
    LogbookStatusDocument,
    LogbookWholeDocument,
)
from curewatch.cli.screens.square import square_lines
from curewatch.clock import utc_from_iso
from curewatch.safe_text import safe_line
from curewatch.wording import Wording, counted


def status_lines(status: LogbookStatusDocument, words: Wording, now: float) -> list[str]:
    """Its size, a line a sensor, what was rejected, the last seal and the head."""
    said = [
        f"{safe_line(status.path)}  ({_size(status.bytes)})",
        f"{_held(status.readings, status.entries)}, {counted(status.block, 'block')}",
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
    lost = f", {whole.lost_blocks:,} of them not whole after a salvage" if whole.lost_blocks else ""
    counts = f"{_held(whole.readings, whole.entries)}, {counted(whole.blocks, 'block')}{pruned}{lost}"
    said = [
        "holds: what is here fits together",
        f"  {counts}, {counted(whole.seals, 'seal')}",
        *(f"  {change_line(one)}" for one in whole.key_changes),
    ]
    if whole.proved is None:
        said += [
            "  Not shown without --code: an end cut off, an older copy, a logbook written anew.",
            "  A code from elsewhere shows all three up to its seal.",
        ]
    else:
        said.append(f"  seal code {whole.proved.code}: nothing before {whole.proved.at} was changed since")
    return said


def seal_lines(seal: LogbookSealDocument) -> list[str]:
    return [
        f"seal code  {seal.code}",
        *square_lines(seal.digest),
        dated_line(seal.undated),
        "Write it on the job card, or send it to somebody: it fixes everything before it.",
    ]


def dated_line(undated: str | None) -> str:
    """Whether an authority dated a seal that was just made; if not, why."""
    if undated is None:
        return "Dated by the authority that is configured; `curewatch logbook stamp` shows its word."
    return f"Dated by nobody else: {safe_line(undated)}."


def backup_lines(backup: LogbookBackupDocument) -> list[str]:
    copy, old, key = map(safe_line, (backup.backup, backup.logbook, backup.key))
    return [
        f"{copy}  ({_size(backup.bytes)}), verified",
        f"The signing key is not in it: keep a copy of {key} where only you can read it.",
        "To put it in place later, with the daemon stopped:",
        f"  {_aside('before', old)}cp {copy} {old}",
    ]


def key_lines(key: LogbookKeyDocument) -> list[str]:
    """Fingerprint and file, whether it is there, and how it was changed."""
    if key.key is None:
        return ["No key yet. The first seal makes one."]
    said = [
        f"key   {key.fingerprint}",
        f"file  {safe_line(key.file)}" + ("" if key.present else "  not there"),
    ]
    said += [change_line(one) for one in key.changes]
    if key.copied_to is not None:
        said.append(f"copy  {safe_line(key.copied_to)}  (whoever reads it can sign for you)")
    elif key.present:
        said.append("Keep a copy apart: curewatch logbook key --backup FILE")
    else:
        said.append("Put it back: curewatch logbook key --restore FILE. If no copy is left: --lost")
    return said


def change_line(one: KeyChangeDocument) -> str:
    """How one key followed another, and what that is worth."""
    told = f"key {one.reason} {one.at}: {one.old} to {one.new}"
    signed = "signed by both" if one.reason == "changed" else "the old key did not sign it"
    return f"{told} ({signed})"


def salvage_lines(salvage: LogbookSalvageDocument, words: Wording, now: float) -> list[str]:
    """What is kept, what is lost by hours and entries, and the two steps that put the new one in place."""
    new, old = safe_line(salvage.logbook), safe_line(salvage.damaged)
    said = [f"{new}: {_held(salvage.readings, salvage.entries)} kept and verified"]
    for hole in salvage.holes:
        start, end = (words.moment(utc_from_iso(each), now) for each in (hole.start, hole.end))
        count = "readings" if hole.readings is None else counted(hole.readings, "reading")
        said.append(f"  lost: {count} that arrived between {start} and {end}")
    said += [f"  lost: entries {first} to {last}" for first, last in salvage.entries_lost]
    if not salvage.holes and not salvage.entries_lost:
        said.append("  nothing is lost: what follows from the readings was made anew")
    if salvage.unverified is not None:
        said.append(f"  entries that could not be checked: {safe_line(salvage.unverified)}. Tell them again")
    said += [f"head before {salvage.head_was}", f"head now    {salvage.head}"]
    steps = f"{_aside('damaged', old)}mv {new} {old}"
    return [
        *said,
        "Put it in its place, with the daemon stopped. The signing key stays where it is:",
        f"  {steps}",
    ]


def _aside(folder: str, old: str) -> str:
    """Its log goes with it: SQLite would take what is in that into the new file."""
    return f"mkdir {folder} && mv {old} {old}-* {folder}/ ; "


def stamp_lines(stamp: LogbookStampDocument) -> list[str]:
    """Who dated which seal, until when that is believed, or that nobody did."""
    if stamp.code is None:
        return ["Dated by nobody else. Name an authority: [logbook] stamp_authority, stamp_roots_file"]
    later = [] if stamp.newest else ["A later seal is not dated yet."]
    return [
        f"seal {stamp.code} was there on {stamp.at}: so says {safe_line(stamp.by or '')}",
        f"  its certificate ends {stamp.ends}; seal and stamp again before that",
        f"  root certificate {stamp.root}",
        *later,
    ]


def export_lines(export: LogbookExportDocument) -> list[str]:
    return [f"{safe_line(export.file)}: {export.count:,} {export.what}"]


def prune_lines(prune: LogbookPruneDocument) -> list[str]:
    word = "would go" if prune.rehearsed else "gone"
    said = [f"{counted(prune.readings, 'reading')} in {counted(prune.blocks, 'block')} {word}"]
    return said + ([f"kept for: {safe_line(', '.join(prune.kept_for))}"] if prune.kept_for else [])


def _held(readings: int, entries: int) -> str:
    return f"{counted(readings, 'reading')}, {counted(entries, 'entry')}"


def _size(count: int) -> str:
    """Bytes in words: thousands, or millions with a decimal."""
    return f"{count / 1000:.0f} kB" if count < 1_000_000 else f"{count / 1e6:,.1f} MB"
