"""The logbook's speed: appending with the chain, bytes a reading, reads, verification.

Run: ``python -m tests.benchmarks.bench_logbook [readings]`` (default 5,256,000: ten years of one
sensor a minute, as three sensors every 20 s would write in 1.2 years).
"""

import resource
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from curewatch.logbook import Logbook
from curewatch.logbook.checked import check_since_seal
from curewatch.logbook.salvage import salvage
from curewatch.logbook.sealing import seal
from curewatch.readings import Reading

BEGIN = 1_735_689_600.0  # 2025-01-01T00:00Z
SENSORS = ("bench", "hull", "yard")


def invented(count: int, start: int = 0) -> list[Reading]:
    """Readings with the noise of real chips, three sensors in turn, 20 s apart; demo values."""
    chance = np.random.default_rng(start)
    order = np.arange(start, start + count)
    stamps = BEGIN + order * 20.0
    warm = 283 + 5 * np.sin(order / 4320 * 2 * np.pi) + order % 3 + chance.normal(0, 0.03, count)
    damp = 0.8 - 0.1 * np.sin(order / 4320 * 2 * np.pi) + chance.normal(0, 0.001, count)
    late = chance.uniform(0.02, 0.3, count)
    return [
        Reading(SENSORS[n % 3], at, at + delay, round(t, 2), round(h, 4), battery=0.93, sequence=n)
        for n, at, delay, t, h in zip(
            order.tolist(), stamps.tolist(), late.tolist(), warm.tolist(), damp.tolist(), strict=True
        )
    ]


def median_ms(work: Callable[[], object], times: int = 7) -> float:
    taken = []
    for _ in range(times):
        begin = time.perf_counter()
        work()
        taken.append(time.perf_counter() - begin)
    return sorted(taken)[times // 2] * 1e3


def show(label: str, value: float, unit: str) -> None:
    print(f"{label:44s}{value:12,.2f} {unit}")


def appending(folder: Path) -> None:
    for batch in (1, 20, 100, 500):
        readings = invented(20_000 if batch > 1 else 3000)
        with Logbook(folder / f"batch-{batch}.sqlite") as logbook:
            begin = time.perf_counter()
            for n in range(0, len(readings), batch):
                logbook.append(readings[n : n + batch])
            taken = time.perf_counter() - begin
        show(f"append, batches of {batch}", len(readings) / taken, "readings/s")


def fill(path: Path, count: int) -> None:
    taken = 0.0
    with Logbook(path) as logbook:
        for start in range(0, count, 100_000):
            readings = invented(min(100_000, count - start), start)
            begin = time.perf_counter()
            for n in range(0, len(readings), 500):
                logbook.append(readings[n : n + 500])
            taken += time.perf_counter() - begin
    show(f"append {count:,}, batches of 500", count / taken, "readings/s")
    show("file", path.stat().st_size / count, "B/reading")


def reading(path: Path, count: int) -> None:
    middle, year = BEGIN + count * 10.0, 365 * 86400.0
    show("open to read, close", median_ms(lambda: Logbook(path, read_only=True).close()), "ms")
    with Logbook(path, read_only=True) as logbook:
        show("a day of one sensor", median_ms(lambda: logbook.series("bench", middle, middle + 86400)), "ms")
        show("a year by the hour", median_ms(lambda: logbook.hourly("bench", BEGIN, BEGIN + year)), "ms")
        show(
            "latest, sensors, head",
            median_ms(lambda: (logbook.latest(), logbook.sensors(), logbook.head())),
            "ms",
        )
        show("verify the whole chain", median_ms(logbook.verify, 1) / 1e3, "s")
    with Logbook(path) as logbook:
        seal(logbook, reason="day", at=BEGIN + count * 20.0)
        logbook.append(invented(4320, count))
        show("doctor's look since the last seal, a day", median_ms(lambda: check_since_seal(logbook)), "ms")
        begin = time.perf_counter()
        salvage(path, path.with_name("salvaged.sqlite"), at=BEGIN + count * 20.0)
        show("salvage of all", time.perf_counter() - begin, "s")


def main(count: int = 5_256_000) -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        appending(folder)
        fill(folder / "large.sqlite", count)
        reading(folder / "large.sqlite", count)
    show("largest resident size", resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024, "MB")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
