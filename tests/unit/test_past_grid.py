"""A process that looks again reads only what has changed, and finds what a first look finds."""

import random
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from curewatch.logbook import Logbook
from curewatch.readings import Flag, Reading
from curewatch.shed import past_grid
from curewatch.shed.past_grid import PastGrid
from curewatch.units import DAY, HOUR, MINUTE

NOW = 1_795_640_400.0
SENSORS = {"air": "bench", "surface": "hull", "outside": "yard"}


def heard(rng: random.Random, at: float, received: float) -> Reading:
    """What some sensor said, at times in halves or by a doubtful clock."""
    sensor, kind = rng.choice(list(SENSORS.values())), rng.random()
    warm = None if kind < 0.2 else rng.uniform(270.0, 300.0)
    damp = None if 0.2 <= kind < 0.4 else rng.uniform(0.3, 0.99)
    return Reading(sensor, at, received, warm, damp, flags=Flag.CLOCK_DOUBT if kind > 0.95 else Flag(0))


def some(rng: random.Random, now: float) -> list[Reading]:
    """New ones; at times late ones, once in a while from weeks ago, or stamped ahead."""
    found = [heard(rng, now - rng.uniform(0.0, 20 * MINUTE), now) for _ in range(rng.randrange(20))]
    if rng.random() < 0.3:
        found += [heard(rng, now - rng.uniform(0.0, 30 * HOUR), now) for _ in range(3)]
    if rng.random() < 0.1:
        found.append(heard(rng, now - rng.uniform(10 * DAY, 20 * DAY), now))
    if rng.random() < 0.2:
        found.append(heard(rng, now + rng.uniform(0.0, 2 * HOUR), now))
    return found


@pytest.mark.long
@pytest.mark.few(4)
@pytest.mark.parametrize("seed", range(24))
def test_a_second_look_finds_what_a_first_one_finds(tmp_path: Path, seed: int) -> None:
    """Late, doubtful, half and early readings, closed blocks, jumps of hours: number for number."""
    rng, now, kept = random.Random(seed), NOW, PastGrid()
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        old = np.arange(NOW - 16 * DAY, NOW, rng.choice([HOUR, 25 * MINUTE]))
        oldest = np.arange(NOW - 61 * DAY, NOW - 57 * DAY, HOUR)
        logbook.append([heard(rng, float(at), NOW) for at in (*oldest, *old)])
        for _ in range(25):
            sensors = SENSORS if rng.random() < 0.9 else {"air": "yard"}
            found, first = (each.past(logbook, sensors, now) for each in (kept, PastGrid()))
            for mine, wanted in zip(found, first, strict=True):
                np.testing.assert_array_equal(mine, wanted)
            now += rng.choice([60.0, 60.0, 15 * MINUTE, HOUR, 30 * HOUR, -30 * MINUTE])
            logbook.append(some(rng, now))
            if rng.random() < 0.3:
                logbook.close_block()


def test_a_second_look_reads_hours_and_not_weeks(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The readings of the last block, and no more."""
    asked: list[float] = []
    real = past_grid._read

    def read(*told: Any) -> Any:
        asked.append(float(told[2][-1]) - told[3][2])
        return real(*told)

    monkeypatch.setattr(past_grid, "_read", read)
    kept = PastGrid()
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        logbook.append(
            [Reading("bench", float(at), NOW, 285.0, 0.7) for at in np.arange(NOW - DAY, NOW, 60.0)]
        )
        logbook.close_block()
        for minute in range(3):
            now = NOW + 60.0 * minute
            logbook.append([Reading("bench", now, now, 285.0, 0.7)])
            kept.past(logbook, {"air": "bench"}, now)
    assert asked[0] > 13 * DAY
    assert max(asked[1:]) < HOUR
