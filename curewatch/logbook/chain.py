r"""The hash chain, byte by byte.

Theory of operation
-------------------
The logbook is a row of blocks. A block holds readings and entries in the order they were appended.
Its *face* is this text, each line ended by one line feed (0x0A), nothing else:

    curewatch block
    form 1
    number 17
    previous <64 hexadecimal digits: head of block 16; 64 zeros for block 1>
    readings 540 <SHA-256 of the block's reading lines>
    entries 2 <SHA-256 of the block's entry digests>

The block's *head* is the SHA-256 of its face. The reading lines are those of ``rows.lines``, with
the columns of the form (``columns``), the entries one line each ``number,kind,owner,SHA-256 of the
entry's canonical JSON`` (``entry.digest_line``). A part that is empty has the SHA-256 of nothing.
All digests are lower-case hexadecimal.

Law: a head fixes every reading, every entry, their order and their number, back to the first.
A block can lose its readings (retention) and still be checked: its face needs only their digest.
An entry can be left out of a copy and still be checked: the block needs only its line in the list,
and that line tells whether it belongs to a job whose name is known.
"""

from hashlib import sha256
from typing import NamedTuple

FIRST = "0" * 64  # what stands for the head before the first block


class Face(NamedTuple):
    """What a block's head is made of."""

    form: int
    number: int
    previous: str
    readings: int
    readings_digest: str
    entries: int
    entries_digest: str


class Head(NamedTuple):
    """Where the chain stands."""

    block: int  # 0: nothing was ever written
    head: str  # 64 hexadecimal digits
    readings: int  # in all
    entries: int  # in all


def text(face: Face) -> str:
    """The face as text."""
    return (
        "curewatch block\n"
        f"form {face.form}\n"
        f"number {face.number}\n"
        f"previous {face.previous}\n"
        f"readings {face.readings} {face.readings_digest}\n"
        f"entries {face.entries} {face.entries_digest}\n"
    )


def head(face: Face) -> str:
    """The block's head: SHA-256 of its face."""
    return sha256(text(face).encode()).hexdigest()
