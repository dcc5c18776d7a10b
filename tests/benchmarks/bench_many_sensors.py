"""What the number of sensors costs: the daemon's look each minute, what a command begins with, and `tonight`,
after six hours of recording and after fourteen days, which is what the outlook learns from single
readings.

Run: ``python -m tests.benchmarks.bench_many_sensors [sensors ...]`` (default 3 30 300). Processor time, best
of three, so that other work on the machine matters less; of whole commands best of five, and beside them
`explain`, which knows no shed: by it machines and hours can be compared. Invented readings.
"""

import math
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import numpy as np

from curewatch.clock import Instant
from curewatch.configuration import Configuration, parse
from curewatch.daemon.watch_keeping import WatchKeeping
from curewatch.logbook import Logbook
from curewatch.readings import Reading
from curewatch.shed import recall
from curewatch.shed.clock_watch import ClockState
from curewatch.shed.look import Look
from curewatch.shed.past_grid import PastGrid
from curewatch.units import MINUTE
from tests.benchmarks.bench_windows import run

BEGIN = 1_795_593_600.0
ROLES = ("air", "surface", "outside")
MINUTES = 6 * 60


def written(count: int, path: Path) -> str:
    sensors = "".join(f'[sensors.s{n}]\nrole = "{ROLES[n % 3]}"\npart = "humidity-2"\n' for n in range(count))
    return f'[shed]\nzone = "Europe/Lisbon"\n{sensors}[logbook]\npath = "{path}"\n'


def configuration(count: int, path: Path) -> Configuration:
    return parse(written(count, path))


def said(
    count: int, minute: int, *, nasty: bool, begin: float = BEGIN, kelvin: float = 285.0, damp: float = 0.7
) -> list[Reading]:
    """A minute of all; ``nasty``: half of them stand still, a door moves the others, and they disagree."""
    chance = np.random.default_rng(minute)
    noise = chance.normal(0, 0.03, (count, 2))
    at = begin + minute * MINUTE
    readings = []
    for n in range(count):
        still = nasty and n % 2
        door = -4.0 if nasty and minute > MINUTES - 5 else 0.0
        wave = 0.0 if still else 2 * math.sin(minute / 240 * math.pi) + door + noise[n, 0]
        apart = 0.03 * n if nasty else 0.3 * (n % 3)
        moist = damp if still else damp + noise[n, 1] / 20
        readings.append(Reading(f"s{n}", at + n * 0.1, at + n * 0.1, kelvin + apart + wave, moist))
    return readings


def best(work: Callable[[], object]) -> float:
    taken = []
    for _ in range(3):
        begin = time.process_time()
        work()
        taken.append(time.process_time() - begin)
    return min(taken)


class Recorded(NamedTuple):
    """A shed as it was recorded up to now."""

    name: str
    minutes: int
    kelvin: float
    damp: float


RECORDED = (
    Recorded("six hours, a go", MINUTES, 296.0, 0.4),
    Recorded("six hours, no-go, with levers", MINUTES, 285.0, 0.7),
    Recorded("fourteen days, no-go, with levers", 14 * 24 * 60, 285.0, 0.7),
)


def fill(logbook: Logbook, count: int, shed: Recorded) -> int:
    """So many minutes of all, and those that pass meanwhile, an hour in each commit; the readings."""
    begin, minute, hour = time.time() - shed.minutes * MINUTE, 0, list[Reading]()
    while begin + minute * MINUTE < time.time():
        hour += said(count, minute, nasty=False, begin=begin, kelvin=shed.kelvin, damp=shed.damp)
        minute += 1
        if minute % 60 == 0:
            logbook.append(hour)
            hour.clear()
    logbook.append(hour)
    return minute * count


def measured(count: int, path: Path, *, nasty: bool) -> dict[str, float]:
    configured, now = configuration(count, path), BEGIN + MINUTES * MINUTE
    with Logbook(path, passing=True) as logbook:
        for minute in range(MINUTES):
            logbook.append(said(count, minute, nasty=nasty))
        names = recall.sensors_of_interest(logbook, configured)
        keeping = WatchKeeping(configured, recall.tracks(logbook, names, now))
        clock = ClockState()
        return {
            "a look of the daemon": best(lambda: keeping.look(Instant(now, 1e6), clock, {})),
            "tracks out of the logbook": best(lambda: recall.tracks(logbook, names, now)),
            "what tonight thinks": best(lambda: Look(logbook, configured, now).advice),
        }


def past_read(logbook: Logbook) -> float:
    """What the past of three places costs who looks for the first time. [s]"""
    now = max(each.latest for each in logbook.sensors().values())
    places = {role: f"s{place}" for place, role in enumerate(ROLES)}
    return best(lambda: PastGrid().past(logbook, places, now))


def commands(count: int, folder: Path) -> None:
    """`tonight` where it is too cold and changes are looked for, and where it is a go; up to now."""
    for shed in RECORDED:
        path = folder / f"{count}.sqlite"
        path.unlink(missing_ok=True)
        with Logbook(path, passing=True) as logbook:
            begun = time.process_time()
            readings = fill(logbook, count, shed)
            took = (time.process_time() - begun) / readings
            past = past_read(logbook)
        configured = path.with_suffix(".toml")
        configured.write_text(written(count, path))
        print(f"{count:4d} sensors, {shed.name}; written in {1e6 * took:.0f} us,", end=" ")
        print(f"{path.stat().st_size / readings:.0f} bytes a reading; the past {1e3 * past:.0f} ms")
        run(["tonight"], configured)


def main(counts: list[int]) -> None:
    print(f"processor time with {MINUTES} minutes of readings [ms]")
    with tempfile.TemporaryDirectory() as folder:
        for nasty in (False, True):
            print("some stand still, some jump, all disagree:" if nasty else "all well:")
            for count in counts:
                found = measured(count, Path(folder) / f"{count}-{nasty}.sqlite", nasty=nasty)
                print(
                    f"  {count:4d} sensors", *(f"{what} {1e3 * took:7.1f};" for what, took in found.items())
                )
        print("\nwhole command                                cpu s    wall s   memory MB   exit")
        for count in counts:
            commands(count, Path(folder))
        run(["explain", "blush"], Path(folder) / f"{counts[0]}.toml")


if __name__ == "__main__":
    main([int(each) for each in sys.argv[1:]] or [3, 30, 300])
