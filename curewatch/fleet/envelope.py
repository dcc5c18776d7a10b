"""What a shed sends to a fleet: where its chain stands, and a closed block or nothing, signed with its key.

    curewatch carried 1
    shed hull
    at 2026-11-25T20:40:00.000Z
    block 7
    head <64 hexadecimal digits: of block 7>
    parcel <SHA-256 of the block's bytes; of nothing for a question>
    changes <number of entries, and the SHA-256 of their lines>
    key <64 hexadecimal digits>
    signature <128 hexadecimal digits, of the lines above>
    <the lines of the changes of key><the block's bytes (``logbook/parcel``)>

Law: name, moment, place in the chain and bytes are fixed by one signature. So a block of one shed never
passes for that of another.
"""

import re
from hashlib import sha256
from typing import NamedTuple

from curewatch.clock import iso_utc, utc_from_iso
from curewatch.errors import RecordBroken
from curewatch.logbook import entry, keys
from curewatch.logbook.entry import StoredEntry
from curewatch.logbook.kinds import EntryKind
from curewatch.logbook.parcel import LARGEST
from curewatch.logbook.port import LogbookStore

NAME = "what a shed sent"
CHANGES = 1000  # of key
LONGEST_HEAD = 4096  # bytes before what is carried

_TEXT = re.compile(
    rb"(?P<signed>curewatch carried 1\n"
    rb"shed (?P<shed>[A-Za-z0-9_-]{1,64})\n"
    rb"at (?P<at>[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}\.[0-9]{3}Z)\n"
    rb"block (?P<block>[0-9]{1,15})\n"
    rb"head (?P<head>[0-9a-f]{64})\n"
    rb"parcel (?P<parcel>[0-9a-f]{64})\n"
    rb"changes (?P<changes>[0-9]{1,4}) (?P<digest>[0-9a-f]{64})\n"
    rb"key (?P<key>[0-9a-f]{64})\n)"
    rb"signature (?P<signature>[0-9a-f]{128})\n"
)


class SignedBlock(NamedTuple):
    """One that is whole: its signature is that of the key that it names."""

    shed: str
    at: float  # UTC, of the shed's clock [s]
    block: int  # 0: the chain has no closed block yet
    head: str
    parcel: bytes  # empty: a question
    changes: tuple[keys.KeyChange, ...]
    key: str  # public, hexadecimal
    about: str  # by which its answer is known


def seal_up(logbook: LogbookStore, shed: str, block: int, parcel: bytes, at: float) -> bytes:
    """The envelope of a closed block of this logbook, or a question: an empty parcel. ``at`` is UTC [s].

    Raises
    ------
    StoreFailed
        The signing key is not there.
    """
    signing = keys.signing_key(logbook)
    lines = "".join(f"{one.line}\n" for one in logbook.entries(EntryKind.KEY)).encode()
    text = (
        f"curewatch carried 1\nshed {shed}\nat {iso_utc(at)}\nblock {block}\n"
        f"head {logbook.block_head(block)}\nparcel {sha256(parcel).hexdigest()}\n"
        f"changes {lines.count(10)} {sha256(lines).hexdigest()}\nkey {keys.public_of(signing)}\n"
    ).encode()
    return text + f"signature {signing.sign(text).hex()}\n".encode() + lines + parcel


def about(content: bytes) -> str:
    """By which the answer to this envelope is known."""
    return sha256(content[:LONGEST_HEAD]).hexdigest()[:32]


def opened(content: bytes) -> SignedBlock:
    """The envelope in these bytes.

    Raises
    ------
    RecordBroken
        It is none, or its signature, its block or its changes of key are not those that it names.
    """
    if len(content) > LARGEST + LONGEST_HEAD + CHANGES * LONGEST_HEAD:
        raise RecordBroken(NAME, f"at most {LARGEST} bytes and its head", f"{len(content)} bytes")
    said = _TEXT.match(content)
    if said is None:
        raise RecordBroken(NAME, "the nine lines of a carried block", repr(content[:80]))
    told = {name: value.decode("ascii") for name, value in said.groupdict().items()}
    keys.check_signature(said["signed"], told["signature"], told["key"], NAME)
    lines, parcel = _apart(content[said.end() :], int(told["changes"]))
    found = sha256(lines).hexdigest(), sha256(parcel).hexdigest()
    if found != (told["digest"], told["parcel"]):
        raise RecordBroken(NAME, f"digests {told['digest']} {told['parcel']}", " ".join(found))
    return SignedBlock(
        told["shed"],
        utc_from_iso(told["at"]),
        int(told["block"]),
        told["head"],
        parcel,
        tuple(keys.change_of(one) for one in _entries(lines)),
        told["key"],
        about(content),
    )


def _apart(rest: bytes, count: int) -> tuple[bytes, bytes]:
    *lines, parcel = rest.split(b"\n", min(count, CHANGES))
    return b"".join(line + b"\n" for line in lines), parcel


def _entries(lines: bytes) -> list[StoredEntry]:
    try:
        return [entry.stored(line) for line in lines.decode("ascii").splitlines()]
    except (ValueError, KeyError, TypeError, RecursionError) as trouble:
        raise RecordBroken(NAME, "entries of changes of key", repr(lines[:80])) from trouble


def keys_of(pinned: str, one: SignedBlock) -> tuple[str, ...]:
    """Every key that follows from the pinned one or led to it, oldest first; empty if none is that one.

    ``pinned`` is a public key or its fingerprint. A lost key's successor does not follow.
    """
    followed = [each for each in one.changes if each.reason == "changed"]
    known = [one.key, *(key for each in followed for key in (each.old, each.new))]
    start = next((key for key in known if keys.is_key(key, pinned)), None)
    if start is None:
        return ()
    path = [start]
    for each in followed:
        path += [each.new] if each.old == path[-1] else []
    for each in reversed(followed):
        path[:0] = [each.old] if each.new == path[0] else []
    return tuple(path)
