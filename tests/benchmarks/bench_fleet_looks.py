"""What a look at a shed of a fleet costs in a warm process: 60 days of three sensors, by 1 and by 2 workers.

Run: ``OPENBLAS_NUM_THREADS=1 python -m tests.benchmarks.bench_fleet_looks [sheds] [looks of each]``. Between
two looks at a shed, a minute's reports of its sensors are stored. Only the looks are counted.
"""

import os
import resource
import sys
import tempfile
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

import numpy as np

from curewatch.clock import Instant
from curewatch.configuration import Configuration, load
from curewatch.fleet.looker import Looks, WantedLook
from curewatch.fleet.plan import BrokerHosts, FleetPlan
from curewatch.logbook import Logbook
from curewatch.readings import Reading
from curewatch.units import DAY, HOUR, MINUTE

NOW = 1_795_640_400.0
ROLES = ("air", "surface", "outside")


class Moved:
    """A clock that is set."""

    def __init__(self, at: float) -> None:
        self.at = at

    def now(self) -> Instant:
        return Instant(self.at, self.at)


def readings(start: float, end: float) -> list[Reading]:
    """A minute apart: days that are warm and cold."""
    times = np.arange(start, end, MINUTE)
    warm = 289.0 + 4.0 * np.sin(2 * np.pi * times / DAY)
    return [
        Reading(role, time, time + 0.2, temperature - n, 0.6 + 0.1 * np.cos(time / DAY))
        for time, temperature in zip(times.tolist(), warm.tolist(), strict=True)
        for n, role in enumerate(ROLES)
    ]


def made(folder: Path, count: int) -> dict[str, Configuration]:
    """So many sheds, each with its 60 days."""
    past, found = readings(NOW - 60 * DAY, NOW), {}
    for number in range(count):
        name = f"shed{number}"
        sensors = "".join(f'[sensors.{role}]\nrole = "{role}"\n' for role in ROLES)
        (folder / f"{name}.toml").write_text(f'[logbook]\npath = "{folder}/{name}.sqlite"\n{sensors}')
        found[name] = load(folder / f"{name}.toml")
        with Logbook(folder / f"{name}.sqlite") as logbook:
            for first in range(0, len(past), 3000):
                logbook.append(past[first : first + 3000])
    return found


def worked(sheds: dict[str, Configuration], looks: int, since: float) -> tuple[float, float, int]:
    """Processor time of the first look at each shed and of those after it [s each], and the peak [KiB]."""
    plan = FleetPlan(broker=BrokerHosts(hosts=("none",)), sheds=dict.fromkeys(sheds, ""))
    worker, clock, spent = Looks(plan, sheds, str(os.getpid())), Moved(since), [0.0, 0.0]
    for number in range(looks + 1):
        clock.at = since + number * MINUTE
        for name, shed in sheds.items():
            path = shed.logbook.path
            assert path is not None
            with Logbook(path) as logbook:
                logbook.append(readings(clock.at - MINUTE, clock.at))
            before = sum(resource.getrusage(resource.RUSAGE_SELF)[:2])
            worker.look(WantedLook(name, clock.at), clock)
            spent[number > 0] += sum(resource.getrusage(resource.RUSAGE_SELF)[:2]) - before
    worker.close()
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return spent[0] / len(sheds), spent[1] / len(sheds) / max(1, looks), peak


def main(count: int = 4, looks: int = 10) -> None:
    """A line for 1 worker, and one for 2."""
    with tempfile.TemporaryDirectory() as folder:
        sheds = made(Path(folder), count)
        for workers in (1, 2):
            parts = [dict(list(sheds.items())[n::workers]) for n in range(workers)]
            with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
                found = list(pool.map(worked, parts, [looks] * workers, [NOW + workers * HOUR] * workers))
            first = sum(one[0] for one in found) / workers
            warm = sum(one[1] for one in found) / workers
            peak = max(one[2] for one in found) / 1024
            print(
                f"{workers} worker{'s' * (workers > 1)}: first look {first:.3f} s of processor,"
                f" warm {warm:.3f} s, {peak:.0f} MB each",
                flush=True,
            )


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:]))
