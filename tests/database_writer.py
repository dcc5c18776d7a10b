"""A writer in a process of its own: ``python -m tests.database_writer PLACE NAME COUNT [HOW]``.

It appends batches until it has COUNT of them, each with a note of its own, and says each number on a line
once it is acknowledged. What is refused is offered again, and said as ``refused``. HOW: ``unlocked`` is the
defect; ``paced`` reads a line before each next batch.
"""

import sys
import time
from pathlib import Path

from curewatch.errors import StoreFailed
from curewatch.logbook import Entry, EntryKind, LogbookStore, open_logbook
from curewatch.logbook.postgres import session, tables
from curewatch.readings import Reading
from tests.broker import PATIENCE

NOW = 1_795_640_400.0


def batch(name: str, number: int) -> tuple[list[Reading], Entry]:
    """Of sizes that differ, as those of two writers would."""
    at = NOW + 60 * number
    size = 1 + (number * 7 + len(name)) % 20
    readings = [Reading(name, at + n, at + n + 0.3, 280.0 + n, 0.5, sequence=number) for n in range(size)]
    return readings, Entry(EntryKind.NOTE, {"text": f"{name} {number}"}, at)


def expected(name: str, count: int) -> int:
    """Readings of so many batches."""
    return sum(len(batch(name, number)[0]) for number in range(count))


def main(place: str, name: str, count: int, how: str = "") -> None:
    if how == "unlocked":
        tables.LOCK = "SELECT 1"
    session.PATIENCE = PATIENCE
    start = Path(f"{place}.start")
    with open_logbook(Path(place)) as logbook:
        print("ready", flush=True)
        while not start.exists():
            time.sleep(0.005)
        for number in range(count):
            _until_stored(logbook, name, number, how)
            print(number, flush=True)
            if how == "paced":
                sys.stdin.readline()


def _until_stored(logbook: LogbookStore, name: str, number: int, how: str) -> None:
    readings, note = batch(name, number)
    deadline = time.monotonic() + PATIENCE
    while True:
        try:
            logbook.append(readings, [note])
        except StoreFailed as trouble:
            print("refused", str(trouble)[:300], flush=True)
            if how == "unlocked" or time.monotonic() > deadline:
                return
            time.sleep(0.2)
        else:
            return


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], int(sys.argv[3]), *sys.argv[4:])
