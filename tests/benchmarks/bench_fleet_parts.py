"""What each part of a fleet costs while readings come in: processor time, memory, bytes kept.

Run: ``python -m tests.benchmarks.bench_fleet_parts [sheds] [messages a second] [seconds]``. Three nodes of
brokers, a primary and its standby, two workers; nothing is killed. Simulated devices are not counted.
"""

import os
import sys
import time
from contextlib import ExitStack
from functools import partial
from pathlib import Path

from tests.broker import until
from tests.fleet_run import Fleet, Killer, answered, send, settle

_TICKS, _PAGE = os.sysconf("SC_CLK_TCK"), os.sysconf("SC_PAGE_SIZE")


def family(roots: list[int]) -> list[int]:
    """These processes and all below them."""
    found, children = list(roots), dict[int, list[int]]()
    for place in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = place.read_text().rpartition(")")[2].split()
        except OSError:
            continue
        children.setdefault(int(fields[1]), []).append(int(place.parent.name))
    for one in found:
        found += children.get(one, [])
    return found


def spent(roots: list[int]) -> tuple[float, float]:
    """Processor time [s] and resident memory [MB] of these processes and all below them, ended ones too."""
    seconds = memory = 0.0
    for one in family(roots):
        try:
            fields = Path(f"/proc/{one}/stat").read_text().rpartition(")")[2].split()
        except OSError:
            continue
        seconds += sum(int(each) for each in fields[11:15]) / _TICKS
        memory += int(fields[21]) * _PAGE / 1e6
    return seconds, memory


def parts(fleet: Fleet) -> dict[str, list[int]]:
    """The processes of each part."""

    def ids(*processes: object) -> list[int]:
        return [one.pid for one in processes if one is not None]  # type: ignore[attr-defined]

    return {
        "three broker nodes": ids(*(node.process for node in fleet.brokers.nodes)),
        "primary": ids(fleet.primary.process),
        "standby": ids(fleet.standby.process),
        "workers": ids(*(one for name, one in fleet.workers.items() if name in "ab")),
    }


def main(sheds: int = 20, rate: int = 200, seconds: int = 60) -> None:
    """A line for each part, and one for what the store keeps."""
    with ExitStack() as held:
        fleet = Fleet(held, sheds)
        send(fleet, rate / 10, 10, Killer(fleet, [], 0.0))  # sessions are opened
        until(partial(answered, fleet.sheds), 120)
        before = {name: spent(ids)[0] for name, ids in parts(fleet).items()}
        own = time.process_time()
        first, begun = stored(fleet), time.monotonic()
        reached = send(fleet, rate, seconds, Killer(fleet, [], 0.0))
        until(partial(answered, fleet.sheds), 120)
        own = time.process_time() - own
        settle(fleet)
        took, last = time.monotonic() - begun, stored(fleet)
        count = last[0] - first[0]
        print(f"senders {own / count * 1e6:.0f} us a message")
        print(f"{sheds} sheds, {count} readings stored in {took:.0f} s; {reached:.0f} a second were sent")
        for name, ids in parts(fleet).items():
            now, memory = spent(ids)
            print(f"{name}: {(now - before[name]) / count * 1e6:.0f} us a reading, {memory:.0f} MB")
        print(f"write-ahead log {(last[1] - first[1]) / count:.0f} bytes a reading")


def stored(fleet: Fleet) -> tuple[int, int]:
    """Readings, and where the write-ahead log stands."""
    with fleet.store.connect() as owner:
        return owner.execute(  # type: ignore[no-any-return]
            "SELECT coalesce(sum(readings), 0)::bigint, pg_wal_lsn_diff(pg_current_wal_lsn(), '0/0')::bigint"
            " FROM curewatch.blocks"
        ).fetchone()


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:]))
