"""Seals: the head of the chain, signed, with a short code that leaves the machine.

Theory of operation
-------------------
A chain by itself does not show that its end was cut off, nor that whoever has the file rewrote it
all. A *seal* is a short text about the head, signed with this logbook's Ed25519 key (made at first
use, kept beside the logbook, readable by its owner alone) and written back as an entry. Its code
goes onto the job card or to somebody else. Later the code names one seal text, the text one head
and one key, and the head every line before it: a rewritten logbook has no seal with that code.

The last seal is noted in a file beside the logbook. A logbook that has not got this seal is an older
copy: it is sealed again only when that is asked for, and then the chain is told of it.
"""

import os
import re
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import NamedTuple

from curewatch.clock import iso_utc
from curewatch.errors import RecordBroken, StoreFailed, UsageError
from curewatch.logbook.entry import Entry, StoredEntry
from curewatch.logbook.keys import KeyChange, change_of, check_signature, own_key, public_of, signing_key
from curewatch.logbook.kinds import EntryKind
from curewatch.logbook.port import LogbookStore
from curewatch.logbook.seal_code import read_code, seal_code, seal_digest


class Seal(NamedTuple):
    """One seal. The text is what is signed; all else is read from it."""

    text: str
    signature: str  # hexadecimal
    code: str
    block: int  # the last block it covers
    head: str
    at: str  # ISO 8601
    reason: str  # one of REASONS
    public_key: str  # hexadecimal

    @property
    def digest(self) -> str:
        """All 256 bits that the code is the beginning of, hexadecimal."""
        return seal_digest(self.text)


_KEYS = {"text", "signature", "code", "reason"}  # of an entry, and nothing else
REASONS = ("day", "job-close", "record")

# Every byte is fixed: what a seal could hold besides would let its maker choose among many codes.
_TEXT = re.compile(
    r"curewatch seal 2\n"
    r"block (?P<block>0|[1-9][0-9]{0,14})\n"
    r"head (?P<head>[0-9a-f]{64})\n"
    r"at (?P<at>[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}\.[0-9]{3}Z)\n"
    rf"reason (?P<reason>{'|'.join(REASONS)})\n"
    r"key (?P<key>[0-9a-f]{64})\n"
)


def seal(logbook: LogbookStore, *, reason: str, at: float, key: str | None = None) -> Seal:
    """End the open block, sign the head, and write the seal down.

    It names no job: so it stands in the record of every job of its time, and each code can be looked for.
    ``at`` is the present, UTC [s]. Counts of rejections since the last seal go into the chain first.
    Of several seals with one ``key`` the first is written, and is what the others return.
    """
    if not logbook.sealed_here:
        return seal_of(logbook.sealed_elsewhere(reason))
    signing = signing_key(logbook)
    _check_newest(logbook)
    logbook.tell_rejections(at)
    head = logbook.close_block()
    text = (
        "curewatch seal 2\n"
        f"block {head.block}\n"
        f"head {head.head}\n"
        f"at {iso_utc(at)}\n"
        f"reason {reason}\n"
        f"key {public_of(signing)}\n"
    )
    new = parse(text, signing.sign(text.encode()).hex())
    payload = {"text": text, "signature": new.signature, "code": new.code, "reason": reason}
    made = seal_of(logbook.write(Entry(EntryKind.SEAL, payload, at, key=key)))
    _note_last(logbook, made)
    return made


def parse(text: str, signature: str) -> Seal:
    """A seal from its text.

    Raises
    ------
    RecordBroken
        The text is not that of a seal.
    """
    value = _TEXT.fullmatch(text)
    if value is None:
        raise RecordBroken("seal", "the six lines of a seal's text", repr(text[:200]))
    return Seal(
        text=text,
        signature=signature,
        code=seal_code(text),
        block=int(value["block"]),
        head=value["head"],
        at=value["at"],
        reason=value["reason"],
        public_key=value["key"],
    )


def seals(logbook: LogbookStore, *, after: int = 0) -> list[Seal]:
    """Every seal of the logbook, oldest first, as written: not checked."""
    return [seal_of(one) for one in logbook.entries(EntryKind.SEAL, after=after)]


def seal_of(stored: StoredEntry) -> Seal:
    """The seal that an entry holds; what the entry says beside the text must be what the text says.

    Raises
    ------
    RecordBroken
        The text is not that of a seal, or the entry tells something else.
    """
    told = stored.payload
    one = parse(str(told.get("text", "")), str(told.get("signature", "")))
    expected = [one.code, one.reason, one.at]
    found = [told.get("code"), told.get("reason"), iso_utc(stored.at)]
    if found != expected or one.block >= stored.block or set(told) != _KEYS:
        raise RecordBroken(
            f"entry {stored.number} (seal)",
            f"{expected} of a block before {stored.block}",
            f"{found} of block {one.block}",
        )
    return one


class Signed(NamedTuple):
    """What was signed in a chain, in its order, and checked."""

    seals: list[Seal]
    changes: list[KeyChange]
    key: str  # that holds at the end; "" if nothing was signed


def check_signed(
    entries: Iterable[StoredEntry],
    head_of: Callable[[Seal], str],
    lost: frozenset[int] = frozenset(),
) -> Signed:
    """Every seal and every change of key among these entries; ``head_of`` gives the head of a seal's block.

    A change of key may be among the entries that a salvage told to be ``lost``: it then counts as one
    whose old key was not there.

    Raises
    ------
    RecordBroken
        Names the first that does not hold.
    """
    made, before = Signed([], [], ""), 0
    for stored in entries:
        if stored.kind not in (EntryKind.KEY, EntryKind.SEAL):
            continue
        change = change_of(stored) if stored.kind == EntryKind.KEY else None
        signer = change.old if change else seal_of(stored).public_key
        if made.key not in ("", signer) and lost & set(range(before + 1, stored.number)):
            between = KeyChange(made.key, signer, iso_utc(stored.at), "lost")
            made = made._replace(changes=[*made.changes, between], key=signer)
        before = stored.number
        if change is not None:
            if made.key not in ("", change.old):
                raise RecordBroken(
                    f"entry {stored.number} (key)", f"after key {made.key}", f"after {change.old}"
                )
            made = made._replace(changes=[*made.changes, change], key=change.new)
        else:
            one = seal_of(stored)
            check_seal(one, head_of(one), made.key or one.public_key)
            made.seals.append(one)
            made = made._replace(key=one.public_key)
    return made


def check_seal(one: Seal, head: str, key: str) -> None:
    name = f"seal of block {one.block} ({one.code})"
    check_signature(one.text.encode(), one.signature, one.public_key, name)
    if head != one.head:
        raise RecordBroken(name, f"head {one.head}", f"head {head}")
    if one.public_key != key:
        raise RecordBroken(name, f"key {key}", f"key {one.public_key}")


def check_seals(logbook: LogbookStore) -> Signed:
    """Every seal and change of key of a verified logbook; the last is of the key that is beside it.

    Raises
    ------
    RecordBroken
        Names the first that does not hold.
    """
    entries = logbook.entries((EntryKind.SEAL, EntryKind.KEY))
    lost = logbook.lost()
    whole = lost.whole  # of two in a row that were lost, the head of the first is not known
    made = check_signed(
        entries,
        lambda one: logbook.block_head(one.block) or (one.head if one.block in whole else ""),
        lost.entries,
    )
    own = own_key(logbook.path)
    if own and made.key not in ("", own):
        last = entries[-1]
        name = f"entry {last.number} ({last.kind})"
        raise RecordBroken(name, f"key {own}, which is beside the logbook", f"key {made.key}")
    return made


def prove(logbook: LogbookStore, written: str) -> Seal:
    """The seal whose code was written down; everything before it then stands as it was.

    Raises
    ------
    RecordBroken
        No seal has this code: the logbook was rewritten since, or it is another one.
    """
    logbook.verify()
    return found(check_seals(logbook).seals, written)


def found(checked: Iterable[Seal], written: str) -> Seal:
    """The one of these checked seals whose code was written down.

    Raises
    ------
    RecordBroken
        None of them has it.
    """
    code = read_code(written)
    for one in checked:
        if code in (one.code, one.digest):
            return one
    raise RecordBroken(
        f"seal code {code}", "a seal with this code", "none: this logbook was rewritten since, or is another"
    )


# -- the last seal, beside the logbook ------------------------------------------------------------


def note_path(logbook: Path) -> Path:
    """Where the last seal of a logbook is noted."""
    return logbook.with_name(logbook.name + ".sealed")


def _note_last(logbook: LogbookStore, made: Seal) -> None:
    path = note_path(logbook.path)
    draft = path.with_name(f"{path.name}.{os.getpid()}")
    try:
        draft.write_text(f"{made.code}\n")
        draft.replace(path)
    except OSError:  # it only helps; the seal stands in the chain
        draft.unlink(missing_ok=True)


def _missing(logbook: LogbookStore) -> str:
    """The code of the last seal that was made beside here, if this logbook has not got it; else ""."""
    try:
        code = read_code(note_path(logbook.path).read_text()[:200].strip())
    except (OSError, ValueError, UsageError):
        return ""
    return "" if any(one.payload.get("code") == code for one in logbook.entries(EntryKind.SEAL)) else code


def _check_newest(logbook: LogbookStore) -> None:
    code = _missing(logbook)
    if code:
        raise StoreFailed(
            f"logbook {logbook.path}: found an older copy, without the seal {code}. Put the newest copy "
            "in its place, or use `curewatch logbook seal --restored` to go on from this one"
        )


def go_on(logbook: LogbookStore, at: float) -> StoredEntry | None:
    """Tell the chain that it goes on from an older copy, so that it can be sealed; none if it does not."""
    code = _missing(logbook)
    if not code:
        return None
    told = logbook.write(Entry(EntryKind.RESTORED, {"missing": code}, at))
    note_path(logbook.path).unlink(missing_ok=True)
    return told
