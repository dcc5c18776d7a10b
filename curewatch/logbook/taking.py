"""Whether a carried block follows what a store has: the same chain, gone on by one block, or a fork."""

from curewatch.errors import RecordBroken
from curewatch.logbook.block import OpenBlock
from curewatch.logbook.parcel import Parcel
from curewatch.logbook.tables import Database


def is_next(database: Database, block: OpenBlock, entries: int, taken: Parcel) -> bool:
    """Whether it is the next block of this store; False if it is here already.

    ``block`` is the one that this store would go on with, ``entries`` how many it has.

    Raises
    ------
    RecordBroken
        A block between is missing, or the chain has forked.
    """
    number = taken.face.number
    if number < block.number:
        (ours,) = database.execute("SELECT head FROM blocks WHERE number = ?", (number,)).fetchone()
        if ours != taken.head:
            raise _forked(number, ours, taken.head)
        return False
    if number > block.number:
        raise RecordBroken("the carried block", f"block {block.number}, the next", f"block {number}")
    if block.opened is not None:
        raise _forked(number, "lines of its own", taken.head)
    if taken.face.previous != block.previous:
        raise _forked(number - 1, block.previous, taken.face.previous)
    trouble = _does_not_follow(database, entries, taken)
    if trouble:
        raise RecordBroken(f"carried block {number}", f"what follows block {number - 1}", trouble)
    return True


def _does_not_follow(database: Database, entries: int, taken: Parcel) -> str:
    (form,) = database.execute("SELECT coalesce(max(form), 1) FROM blocks").fetchone()
    if taken.face.form < form:
        return f"form {taken.face.form} after form {form}"
    for place, one in enumerate(taken.entries, entries + 1):
        if one.number != place:
            return f"entry {one.number} in the place of entry {place}"
    names = dict(database.execute("SELECT number, name FROM sensors").fetchall())
    numbers = {name: number for number, name in names.items()}
    for number, name in taken.names.items():
        if names.get(number, name) != name or numbers.get(name, number) != number:
            return f"sensor {number} under another name"
    return ""


def _forked(number: int, ours: str, theirs: str) -> RecordBroken:
    """Two stores went on from one block in two ways."""
    return RecordBroken(f"block {number}: the chain has forked", f"{ours}, as kept here", theirs)


def opened(taken: Parcel) -> int:
    """When the first line of a block arrived, as far as a closed block tells. [ms]"""
    return int(taken.rows["received"][0]) if len(taken.rows) else round(taken.entries[0].recorded * 1000)
