"""The signing key of a logbook: made once, kept apart, changed as an entry, and never made anew unasked.

Theory of operation
-------------------
The key is a file beside the logbook, for its owner alone. The chain says which key it is: the last seal's,
or that of the last entry ``key`` after it. Whoever signs with another one is refused, so a copy that was
restored without its key cannot go on unseen. A change is told in five lines, signed with the new key, and
with the old one where it is there:

    curewatch key 1
    old <64 hexadecimal digits>
    new <64 hexadecimal digits>
    at 2026-11-25T20:40:00.000Z
    reason changed

Law: a key follows from the one before it by the old one's signature (``changed``), or stands for itself
alone (``lost``). What was sealed before holds either way. Nobody but the new key vouches for what comes
after a lost one, and that is told.
"""

import os
import re
from contextlib import suppress
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Literal, NamedTuple

from curewatch.clock import iso_utc
from curewatch.errors import RecordBroken, StoreFailed, UsageError, reason
from curewatch.logbook.entry import Entry, StoredEntry
from curewatch.logbook.kinds import EntryKind
from curewatch.logbook.port import LogbookStore

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

_KEYS = {"text", "signature", "old_signature"}  # of an entry, and nothing else
LONGEST = 4096  # bytes of a key's file
_TEXT = re.compile(
    r"curewatch key 1\n"
    r"old (?P<old>[0-9a-f]{64})\n"
    r"new (?P<new>[0-9a-f]{64})\n"
    r"at (?P<at>[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}\.[0-9]{3}Z)\n"
    r"reason (?P<reason>changed|lost)\n"
)


class KeyChange(NamedTuple):
    """One key after another. The text is what is signed; all else is read from it."""

    old: str  # public key, hexadecimal
    new: str  # public key, hexadecimal
    at: str  # ISO 8601
    reason: Literal["changed", "lost"]


def key_path(logbook: Path) -> Path:
    """Where the private key of a logbook is kept."""
    return logbook.with_name(logbook.name + ".key")


def fingerprint(public: str) -> str:
    """Half of the SHA-256 of a public key, in groups: what a person compares."""
    digest = sha256(bytes.fromhex(public)).hexdigest()[:32]
    return " ".join(digest[n : n + 4] for n in range(0, 32, 4))


def is_key(public: str, told: str) -> bool:
    """Whether this is the key, or its fingerprint, as somebody wrote it down."""
    plain = "".join(told.lower().split())
    return plain in (public, fingerprint(public).replace(" ", ""))


def public_of(key: "Ed25519PrivateKey") -> str:
    """The public key, hexadecimal."""
    return key.public_key().public_bytes_raw().hex()


def own_key(logbook: Path) -> str:
    """The public key whose private one is beside this logbook; "" if there is none that we may read."""
    path = key_path(logbook)
    return public_of(load_key(path)) if os.access(path, os.R_OK) else ""


def known_key(logbook: LogbookStore) -> str:
    """The public key that the chain names last; "" if it was never sealed. Not checked."""
    last = next(reversed(logbook.entries((EntryKind.SEAL, EntryKind.KEY))), None)
    if last is None:
        return ""
    place = -1 if last.kind == EntryKind.SEAL else 2
    lines = str(last.payload.get("text", "")).splitlines()
    return lines[place].partition(" ")[2] if len(lines) > 2 else ""


def load_key(path: Path) -> "Ed25519PrivateKey":
    """The private key in this file.

    Raises
    ------
    StoreFailed
        It cannot be read, is no such key, or others can read it.
    """
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
    from cryptography.hazmat.primitives.serialization import load_pem_private_key

    try:
        if path.stat().st_mode & 0o077:
            raise StoreFailed(f"others can read the signing key {path}; run: chmod 600 {path}")
        with path.open("rb") as file:
            key = load_pem_private_key(file.read(LONGEST), None)
    except (OSError, ValueError, TypeError) as trouble:
        told = reason(trouble) if isinstance(trouble, OSError) else trouble
        raise StoreFailed(
            f"the signing key {path} cannot be used: {told}; put it back from a backup"
        ) from trouble
    if not isinstance(key, Ed25519PrivateKey):
        raise StoreFailed(
            f"the signing key {path} is not an Ed25519 key; put the right one back from a backup"
        )
    return key


def signing_key(logbook: LogbookStore) -> "Ed25519PrivateKey":
    """The private key of this logbook; made if it was never sealed.

    Raises
    ------
    StoreFailed
        It is not there, is another one than the chain names, or cannot be used.
    """
    if not logbook.sealed_here:
        raise StoreFailed(
            f"logbook {logbook.path} is kept by the service, and so is its key. "
            f"Run it as its user: sudo -u {logbook.path.owner()} curewatch ..."
        )
    path, known = key_path(logbook.path), known_key(logbook)
    _finish_change(path, known)
    if not path.exists():
        if known:
            raise StoreFailed(_lost(path, known))
        _put(path, _new_key())
    key = load_key(path)
    if known not in ("", public_of(key)):
        raise StoreFailed(
            f"the signing key {path} is {fingerprint(public_of(key))}, but this logbook was sealed with "
            f"{fingerprint(known)}. Move it away, and use `curewatch logbook key --restore FILE`"
        )
    return key


def operators_key(path: Path) -> "Ed25519PrivateKey":
    """The private key in this file, made if it is not there: it signs lists, and belongs to no logbook.

    Raises
    ------
    StoreFailed
        It cannot be made or used.
    """
    if not path.exists():
        _put(path, _new_key())
    return load_key(path)


def _lost(path: Path, known: str) -> str:
    return (
        f"the signing key {path} is not there; this logbook was sealed with {fingerprint(known)}. "
        "Use `curewatch logbook key --restore FILE`, or `curewatch logbook key --lost` if no copy is left"
    )


# -- changing it ----------------------------------------------------------------------------------


def change_key(logbook: LogbookStore, at: float, *, lost: bool = False) -> StoredEntry:
    """Begin a new key, told as an entry; ``lost``: the old one is not there to sign it. ``at`` is UTC [s].

    Raises
    ------
    UsageError
        There is nothing to change, or the key that is called lost is there.
    StoreFailed
        The old key is not there, or the disk refuses; the old one stands.
    """
    path, known = key_path(logbook.path), known_key(logbook)
    if not known:
        raise UsageError("the key: found none that anything was sealed with. The first seal makes one")
    if lost and own_key(logbook.path) == known:
        raise UsageError(f"the key {fingerprint(known)} is here, not lost. Use --new")
    old = None if lost else signing_key(logbook)
    new = _new_key()
    why = "lost" if lost else "changed"
    text = f"curewatch key 1\nold {known}\nnew {public_of(new)}\nat {iso_utc(at)}\nreason {why}\n"
    waiting = _waiting(path)
    waiting.unlink(missing_ok=True)  # of a change that the chain was never told of
    _put(waiting, new)
    payload = {
        "text": text,
        "signature": new.sign(text.encode()).hex(),
        "old_signature": "" if old is None else old.sign(text.encode()).hex(),
    }
    told = logbook.write(Entry(EntryKind.KEY, payload, at))
    _finish_change(path, public_of(new))
    return told


def _waiting(path: Path) -> Path:
    return path.with_name(f"{path.name}.new")


def _finish_change(path: Path, known: str) -> None:
    """Put the new key in place once the chain has told of it; before that the old one stands."""
    waiting = _waiting(path)
    if waiting.exists() and public_of(load_key(waiting)) == known:
        waiting.replace(path)


def change_of(stored: StoredEntry) -> KeyChange:
    """The change that an entry tells, with its signatures checked.

    Raises
    ------
    RecordBroken
        It is none, or was signed by others than it names.
    """
    text, name = str(stored.payload.get("text", "")), f"entry {stored.number} (key)"
    value = _TEXT.fullmatch(text)
    if value is None or value["at"] != iso_utc(stored.at) or set(stored.payload) != _KEYS:
        raise RecordBroken(name, "the five lines of a change of key", repr(text[:200]))
    old = str(stored.payload.get("old_signature", ""))
    check_signature(text.encode(), str(stored.payload.get("signature", "")), value["new"], name)
    if value["reason"] == "changed":
        check_signature(text.encode(), old, value["old"], name)
    elif old:
        raise RecordBroken(name, "no signature of a lost key", "one")
    return KeyChange(
        value["old"], value["new"], value["at"], "lost" if value["reason"] == "lost" else "changed"
    )


def check_signature(content: bytes, signature: str, public: str, name: str) -> None:
    """Raise RecordBroken unless this content was signed with this key; both hexadecimal."""
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    try:
        key = Ed25519PublicKey.from_public_bytes(bytes.fromhex(public))
        key.verify(bytes.fromhex(signature), content)
    except (InvalidSignature, ValueError) as trouble:
        raise RecordBroken(name, f"a signature of key {public}", "another signature") from trouble


# -- files ----------------------------------------------------------------------------------------


def back_up_key(logbook: LogbookStore, target: Path) -> None:
    """Copy the private key to a new file in another folder, for its owner alone.

    Raises
    ------
    UsageError
        The file is there, or would be lost with the logbook.
    StoreFailed
        There is no key, or the disk refuses.
    """
    if target.parent.resolve() == logbook.path.parent.resolve():
        raise UsageError(f"{target}: found the folder of the logbook. Use another disk, kept elsewhere")
    if target.exists():
        raise UsageError(f"{target}: found a file of that name. Use a new name")
    _put(target, signing_key(logbook))


def restore_key(logbook: LogbookStore, source: Path) -> None:
    """Put a copy of the private key back beside the logbook.

    Raises
    ------
    UsageError
        It is another key, or one is there already.
    """
    path, known, key = key_path(logbook.path), known_key(logbook), load_key(source)
    if known not in ("", public_of(key)):
        raise UsageError(
            f"{source}: found the key {fingerprint(public_of(key))}. Use {fingerprint(known)}, "
            "with which this logbook was sealed"
        )
    if path.exists():
        raise UsageError(f"{path}: found a key there already. Move it away first")
    _put(path, key)


def _new_key() -> "Ed25519PrivateKey":
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    return Ed25519PrivateKey.generate()


def _put(path: Path, key: "Ed25519PrivateKey") -> None:
    """Write a key's file, whole or not at all; whoever was first wins."""
    from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat

    text = key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
    draft = path.with_name(f"{path.name}.{os.getpid()}")
    try:
        with open(draft, "xb", opener=lambda name, flags: os.open(name, flags, 0o600)) as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        with suppress(FileExistsError):
            os.link(draft, path)
    except OSError as trouble:
        raise StoreFailed(f"the key {path}: {reason(trouble)}. Use a folder that can be written") from trouble
    finally:
        draft.unlink(missing_ok=True)
