"""Seals: the head of the chain, signed, with a short code that leaves the machine.

Theory of operation
-------------------
A chain by itself does not show that its end was cut off, nor that whoever has the file rewrote it
all. A *seal* is a short text about the head, signed with this logbook's Ed25519 key (made at first
use, kept beside the logbook, readable by its owner alone) and written back as an entry. Its code
goes onto the job card or to somebody else. Later the code names one seal text, the text one head
and one key, and the head every line before it: a rewritten logbook has no seal with that code.
"""

import os
import re
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from curewatch.clock import iso_utc
from curewatch.errors import RecordBroken, StoreFailed
from curewatch.logbook.entry import Entry, StoredEntry
from curewatch.logbook.kinds import EntryKind
from curewatch.logbook.port import LogbookStore
from curewatch.logbook.seal_code import read_code, seal_code, seal_digest

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey


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


def seal(
    logbook: LogbookStore, *, reason: str, at: float, job: str | None = None, key: str | None = None
) -> Seal:
    """End the open block, sign the head, and write the seal down.

    ``at`` is the present, UTC [s]. Counts of rejections since the last seal go into the chain first.
    Of several seals with one ``key`` the first is written, and is what the others return.
    """
    signing = signing_key(key_path(logbook.path))
    logbook.tell_rejections(at)
    head = logbook.close_block()
    text = (
        "curewatch seal 2\n"
        f"block {head.block}\n"
        f"head {head.head}\n"
        f"at {iso_utc(at)}\n"
        f"reason {reason}\n"
        f"key {signing.public_key().public_bytes_raw().hex()}\n"
    )
    new = parse(text, signing.sign(text.encode()).hex())
    payload = {"text": text, "signature": new.signature, "code": new.code, "reason": reason}
    return seal_of(logbook.write(Entry(EntryKind.SEAL, payload, at, job=job, key=key)))


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
    if found != expected or one.block >= stored.block:
        raise RecordBroken(
            f"entry {stored.number} (seal)",
            f"{expected} of a block before {stored.block}",
            f"{found} of block {one.block}",
        )
    return one


def check_signature(one: Seal) -> None:
    """Raise RecordBroken unless the seal was signed with the key it names."""
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    try:
        key = Ed25519PublicKey.from_public_bytes(bytes.fromhex(one.public_key))
        key.verify(bytes.fromhex(one.signature), one.text.encode())
    except (InvalidSignature, ValueError) as trouble:
        raise RecordBroken(
            f"seal of block {one.block} ({one.code})",
            f"a signature of key {one.public_key}",
            "another signature",
        ) from trouble


def check_seals(logbook: LogbookStore) -> list[Seal]:
    """Every seal of a verified logbook: its signature, its head, and that the key stayed the same.

    Raises
    ------
    RecordBroken
        Names the first seal that does not hold.
    """
    every = seals(logbook)
    expected = _own_key(logbook.path) or (every[0].public_key if every else "")
    for one in every:
        check_signature(one)
        head = logbook.block_head(one.block)
        if head != one.head:
            raise RecordBroken(f"seal of block {one.block} ({one.code})", f"head {one.head}", f"head {head}")
        if one.public_key != expected:
            raise RecordBroken(
                f"seal of block {one.block} ({one.code})", f"key {expected}", f"key {one.public_key}"
            )
    return every


def prove(logbook: LogbookStore, written: str) -> Seal:
    """The seal whose code was written down; everything before it then stands as it was.

    Raises
    ------
    RecordBroken
        No seal has this code: the logbook was rewritten since, or it is another one.
    """
    logbook.verify()
    return found(check_seals(logbook), written)


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


# -- the key ------------------------------------------------------------------------------------


def key_path(logbook: Path) -> Path:
    """Where the private key of a logbook is kept."""
    return logbook.with_name(logbook.name + ".key")


def signing_key(path: Path) -> "Ed25519PrivateKey":
    """The private key; made when there is none, for its owner's eyes only.

    Raises
    ------
    StoreFailed
        It cannot be read, is no such key, or others can read it.
    """
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
    from cryptography.hazmat.primitives.serialization import load_pem_private_key

    try:
        _make_key(path)
        if path.stat().st_mode & 0o077:
            raise StoreFailed(f"others can read the signing key {path}; run: chmod 600 {path}")
        key = load_pem_private_key(path.read_bytes(), None)
    except (OSError, ValueError, TypeError) as trouble:
        raise StoreFailed(
            f"the signing key {path} cannot be used: {trouble}; put it back from a backup"
        ) from trouble
    if not isinstance(key, Ed25519PrivateKey):
        raise StoreFailed(
            f"the signing key {path} is not an Ed25519 key; put the right one back from a backup"
        )
    return key


def _make_key(path: Path) -> None:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
    from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat

    if path.exists():
        return
    text = Ed25519PrivateKey.generate().private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
    draft = path.with_name(f"{path.name}.{os.getpid()}")
    file = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        os.write(file, text)
        os.fsync(file)
    finally:
        os.close(file)
    try:
        os.link(draft, path)  # whole or not at all; whoever was first wins
    except FileExistsError:
        return
    finally:
        draft.unlink()


def _own_key(logbook: Path) -> str:
    path = key_path(logbook)
    return signing_key(path).public_key().public_bytes_raw().hex() if path.exists() else ""
