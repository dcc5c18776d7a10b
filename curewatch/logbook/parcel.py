r"""A closed block as bytes, to be carried to another store, which checks and keeps it as it came.

Theory of operation
-------------------
A parcel is the block's face (``chain``), one line with the sensors' words by their numbers in the body,
the entries' lines, and then the packed rows:

    curewatch block
    form 1
    ... the other four lines of the face
    sensors {"1":"bench","2":"hull"}
    {"at":...}
    <bytes>

Law: whatever of a parcel is kept follows from the block's head, so a store that knows the head before
it keeps the same chain, byte for byte, or refuses. A block whose readings were pruned is not carried.
"""

import json
from collections.abc import Mapping
from hashlib import sha256
from typing import NamedTuple

from curewatch.errors import RecordBroken
from curewatch.logbook import chain, entry, rows
from curewatch.logbook.entry import StoredEntry

LARGEST = 64 * 1024 * 1024  # bytes of a parcel that is looked at: entries may have pictures
FACE_LINES = 6
SENSORS = 1000  # in one block


class Parcel(NamedTuple):
    """A block that was checked."""

    face: chain.Face
    head: str
    names: Mapping[int, str]  # of the sensors, by their number in the rows
    rows: rows.Rows
    body: bytes
    entries: tuple[StoredEntry, ...]


def pack(face: chain.Face, tokens: Mapping[int, str], lines: list[str], body: bytes) -> bytes:
    """The parcel of a block; ``tokens`` are the words of all sensors."""
    used = {str(number): tokens[number] for number, *_ in rows.spans(rows.unpack(body, face.form))}
    head = f"{chain.text(face)}sensors {entry.canonical(used)}\n"
    return (head + "".join(f"{line}\n" for line in lines)).encode() + body


def unpack(parcel: bytes) -> Parcel:
    """The block of a parcel, checked against its own face.

    Raises
    ------
    RecordBroken
        It is no parcel, or rows or entries are not those of its face.
    """
    if len(parcel) > LARGEST:
        raise RecordBroken("the carried block", f"at most {LARGEST} bytes", f"{len(parcel)} bytes")
    *lines, rest = parcel.split(b"\n", FACE_LINES + 1)
    try:
        face = _face(b"\n".join(lines[:FACE_LINES]).decode("ascii"))
        tokens = _tokens(lines[FACE_LINES].decode("ascii"))
        *told, body = rest.split(b"\n", face.entries)
        texts = [line.decode("ascii") for line in told]
        entries = tuple(entry.stored(text) for text in texts)
        found = rows.unpack(body, face.form)
        written = rows.lines(face.number, face.form, found, tokens)
    except (ValueError, KeyError, IndexError, TypeError, RecursionError, OverflowError) as trouble:
        raise RecordBroken(
            "the carried block", "the lines and rows of a block", f"{trouble!r}"[:120]
        ) from trouble
    _check(face, len(found), sha256(written.encode()).hexdigest(), entries)
    names = {number: rows.name_of(token) for number, token in tokens.items()}
    return Parcel(face, chain.head(face), names, found, body, entries)


def _check(face: chain.Face, readings: int, digest: str, entries: tuple[StoredEntry, ...]) -> None:
    if (readings, digest) != (face.readings, face.readings_digest):
        raise RecordBroken(
            f"carried block {face.number}",
            f"{face.readings} readings with digest {face.readings_digest}",
            f"{readings} readings with digest {digest}",
        )
    listed = "".join(entry.digest_line(one.line) for one in entries)
    digest = sha256(listed.encode()).hexdigest()
    if digest != face.entries_digest or any(one.block != face.number for one in entries):
        raise RecordBroken(
            f"carried block {face.number}",
            f"{face.entries} entries with digest {face.entries_digest}",
            f"{len(entries)} entries with digest {digest}",
        )


def _face(text: str) -> chain.Face:
    """The face whose text this is, to the letter."""
    words = [line.split(" ") for line in text.split("\n")]
    form, number, previous = (words[place][1] for place in (1, 2, 3))
    (_, readings, readings_digest), (_, entries, entries_digest) = words[4:]
    counted = int(readings), readings_digest, int(entries), entries_digest
    face = chain.Face(int(form), int(number), previous, *counted)
    if chain.text(face) != f"{text}\n" or face.number < 1 or not 0 <= face.entries < 10_000:
        raise ValueError("not the face of a block")
    return face


def _tokens(line: str) -> dict[int, str]:
    word, _, said = line.partition(" ")
    tokens = json.loads(said)
    if word != "sensors" or len(tokens) > SENSORS:
        raise ValueError("not the sensors of a block")
    if any(rows.token(rows.name_of(token)) != token for token in tokens.values()):
        raise ValueError("a sensor's word that no sensor has")
    return {int(number): token for number, token in tokens.items()}
