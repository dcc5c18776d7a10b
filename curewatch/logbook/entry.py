"""Entries: what people and the daemon write beside the readings, as canonical JSON lines.

An entry has a kind and a payload of plain JSON values. Once appended it is never changed: a
correction is a new entry that names the one it corrects. Its *line* is what the hash chain covers:

    {"at":"2026-11-25T20:40:00.000Z","block":17,"job":"K9-1","key":"…","kind":"note","number":123,
     "payload":{…},"recorded":"2026-11-25T20:40:02.000Z"}

on one line, keys sorted, no space, everything outside ASCII as \\uXXXX, numbers as Python writes them.
"""

import json
import re
from collections.abc import Mapping
from hashlib import sha256
from typing import Any

from msgspec import Struct

from curewatch.clock import iso_utc, utc_from_iso
from curewatch.errors import UsageError

LONGEST_NAME = 500  # signs of a kind, job or key: what an index of every database takes
_PLAIN = re.compile("[A-Za-z0-9 -]{1,200}")  # a kind as it is listed; any other is "other"
LONGEST = 8 * 1024 * 1024  # bytes of one line: a thumbnail fits, a film does not


class Entry(Struct, frozen=True):
    """Something to be written down."""

    kind: str
    payload: Mapping[str, Any]
    at: float  # UTC, when it happened [s]
    job: str | None = None
    key: str | None = None  # idempotency: a second entry with the same key is not stored again
    recorded: float | None = None  # UTC, when it was told; none: at the moment it happened [s]


class StoredEntry(Struct, frozen=True):
    """An entry as it stands in the logbook."""

    number: int  # from 1, without a gap
    block: int
    kind: str
    payload: Mapping[str, Any]
    at: float  # UTC [s]
    recorded: float  # UTC [s]
    job: str | None
    key: str | None
    line: str  # canonical JSON, what the chain covers


def canonical(value: Any) -> str:
    """The one way of writing these JSON values on a line.

    Raises
    ------
    UsageError
        The value holds something JSON cannot say.
    """
    try:
        return json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=True, allow_nan=False)
    except (TypeError, ValueError, RecursionError) as trouble:
        raise UsageError(f"an entry holds what JSON cannot say ({trouble}); plain values only") from trouble


def line(entry: Entry, number: int, block: int) -> str:
    """The canonical line of an entry at its place in the logbook."""
    text = canonical(
        {
            "number": number,
            "block": block,
            "kind": entry.kind,
            "at": iso_utc(entry.at),
            "recorded": iso_utc(entry.at if entry.recorded is None else entry.recorded),
            "job": entry.job,
            "key": entry.key,
            "payload": dict(entry.payload),
        }
    )
    if any(not _sayable(name) for name in (entry.kind, entry.job, entry.key)):
        raise UsageError(
            f"an entry's kind, job or key is no text of at most {LONGEST_NAME} signs; "
            "name it in letters and digits"
        )
    if len(text) > LONGEST:
        raise UsageError(f"an entry of {len(text)} bytes; at most {LONGEST}: keep large files outside")
    return text


def _sayable(name: str | None) -> bool:
    if name is None:
        return True
    return len(name) <= LONGEST_NAME and not any("\ud800" <= one <= "\udfff" or one == "\0" for one in name)


def stored(text: str) -> StoredEntry:
    """The entry that a line holds.

    Raises
    ------
    ValueError
        The line is not an entry.
    """
    try:
        plain = json.loads(text)
        return StoredEntry(
            number=int(plain["number"]),
            block=int(plain["block"]),
            kind=str(plain["kind"]),
            payload=dict(plain["payload"]),
            at=utc_from_iso(plain["at"]),
            recorded=utc_from_iso(plain["recorded"]),
            job=plain["job"],
            key=plain["key"],
            line=text,
        )
    except (KeyError, TypeError, OverflowError, RecursionError) as trouble:
        raise ValueError(f"not a line of the logbook: {trouble!r}") from trouble


def digest(text: str) -> str:
    """SHA-256 of a line, without its line feed, as 64 hexadecimal digits."""
    return sha256(text.encode()).hexdigest()


def digest_line(text: str) -> str:
    """How the entry of this line stands in its block's list: number, kind, owner and digest.

    So an entry that is left out of a copy still tells its kind, and whether it is of a job that is known.
    """
    plain = json.loads(text)
    kind = str(plain["kind"])
    listed = kind if _PLAIN.fullmatch(kind) else "other"
    return f"{plain['number']},{listed},{owner(plain['job'])},{digest(text)}\n"


def owner(job: str | None) -> str:
    """A job in a list of entries: the digest of its name, so that other jobs are not named; none: ``-``."""
    return "-" if job is None else sha256(f"job {job}".encode()).hexdigest()[:32]
