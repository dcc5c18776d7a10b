"""Scenes on a small disk of their own, run as a child process by tests/fault/test_store_disk_full.py."""

import subprocess
import sys
from pathlib import Path

from curewatch.errors import StoreFailed
from curewatch.logbook import Logbook
from tests import record_world as world

HOUR = 3600.0


def full(disk: Path) -> None:
    """Fill the disk, write until it is refused, make room, write the same batch again."""
    with Logbook(disk / "logbook.sqlite") as logbook:
        stored = 0
        ballast = disk / "ballast"
        ballast.write_bytes(b"\0" * 600_000)
        for hour in range(2000):
            batch = list(world.readings(world.OPENED + hour * HOUR, world.OPENED + (hour + 1) * HOUR))
            try:
                stored += logbook.append(batch)
            except StoreFailed as trouble:
                print(trouble)
                break
        else:
            raise SystemExit("the disk never filled")
        print(
            "kept after it was full:",
            logbook.head().readings == stored and len(logbook.series("hull").time) * 3 == stored,
        )
        ballast.unlink()
        print("the same batch went in:", logbook.append(batch) == len(batch))
        print("holds:", logbook.verify().head.readings == stored + len(batch))


def read_only(disk: Path) -> None:
    """Turn the disk read-only under a logbook in use, then open it anew."""
    path = disk / "logbook.sqlite"
    with Logbook(path) as logbook:
        logbook.append(world.readings(world.OPENED, world.OPENED + HOUR))
    # bind: of this mount alone, which a namespace of somebody who is not root allows, too
    subprocess.run(["mount", "-o", "remount,bind,ro", str(disk)], check=True)
    with Logbook(path, read_only=True) as logbook:
        print("readable:", len(logbook.series("hull").time) == 60)
    try:
        with Logbook(path) as logbook:
            logbook.append(world.readings(world.OPENED + HOUR, world.OPENED + 2 * HOUR))
    except StoreFailed as trouble:
        print(trouble)


if __name__ == "__main__":
    {"full": full, "read-only": read_only}[sys.argv[1]](Path(sys.argv[2]))
