"""What the number of sensors costs: the daemon's look each minute, what a command begins with, and `tonight`.

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

import numpy as np

from curewatch.clock import Instant
from curewatch.configuration import Configuration, parse
from curewatch.daemon.watch_keeping import WatchKeeping
from curewatch.logbook import Logbook
from curewatch.readings import Reading
from curewatch.shed import recall
from curewatch.shed.clock_watch import ClockState
from curewatch.shed.look import Look
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


def commands(count: int, folder: Path) -> None:
    """`tonight` where it is too cold and changes are looked for, and where it is a go; up to now."""
    for name, kelvin, damp in (("a go", 296.0, 0.4), ("no-go, with levers", 285.0, 0.7)):
        path, begin = folder / f"{count}-{kelvin}.sqlite", time.time() - MINUTES * MINUTE
        with Logbook(path, passing=True) as logbook:
            for minute in range(MINUTES):
                logbook.append(said(count, minute, nasty=False, begin=begin, kelvin=kelvin, damp=damp))
        configured = path.with_suffix(".toml")
        configured.write_text(written(count, path))
        print(f"{count:4d} sensors, {name}")
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
        run(["explain", "blush"], Path(folder) / f"{counts[0]}-285.0.toml")


if __name__ == "__main__":
    main([int(each) for each in sys.argv[1:]] or [3, 30, 300])
