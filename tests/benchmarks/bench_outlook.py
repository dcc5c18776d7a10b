"""What the outlook costs: by basis and size, its memory, its humid air, the identification of a shed.

Run: ``python -m tests.benchmarks.bench_outlook``. Least processor time of seven; one process, one
thread.
"""

import time
import tracemalloc
from collections.abc import Callable

import numpy as np

from curewatch.materials.substrate import load_substrate
from curewatch.model.air import prospect, shed, warming
from curewatch.model.air.forecast import Forecast
from curewatch.model.air.past import Past, no_past
from curewatch.model.air.surface import lagged_temperature
from curewatch.physics import moist_air

HOUR = 3600.0
NOW = 1_764_000_000.0


def invented_past(days: int, step: float) -> Past:
    """Days that wave and weather that wanders, inside and outside; demo values."""
    time_ = NOW + step * np.arange(-int(days * 24 * HOUR / step), 1)
    noise = np.random.default_rng(1)
    wander = np.cumsum(noise.normal(0, 0.25 * np.sqrt(step / HOUR), len(time_)))
    outside = 281 + 3 * np.sin(2 * np.pi * time_ / HOUR / 24) + wander - wander.mean()
    air = lagged_temperature(time_, outside + 1, 3 * HOUR)
    vapour = moist_air.saturation_pressure(air - 2.5)
    return Past(time_, air, vapour, lagged_temperature(time_, air, HOUR), outside, 0.95 * vapour)


def measured(work: Callable[[], object]) -> tuple[float, float]:
    """Least processor time and peak of newly allocated memory. [ms], [MB]"""
    taken = []
    for _ in range(7):
        begin = time.process_time()
        work()
        taken.append(time.process_time() - begin)
    tracemalloc.start()
    work()
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return 1e3 * min(taken), peak / 1e6


def main() -> None:
    plywood = load_substrate("plywood")
    past = {days: invented_past(days, 900.0) for days in (7, 14, 60)}
    hourly = invented_past(60, HOUR)
    last = past[14]
    now = (
        float(last.air_temperature[-1]),
        float(last.vapour_pressure[-1]),
        float(last.surface_temperature[-1]),
    )
    ahead = NOW + HOUR * np.arange(-6, 121)
    kept = [
        Forecast(t, t, t + HOUR * np.arange(73), np.full(73, 281.0), np.full(73, 900.0))
        for t in (NOW - 6 * HOUR * np.arange(240, 0, -1)).tolist()
    ]
    told = Forecast(NOW, NOW, ahead, np.full(127, 281.0), np.full(127, 900.0))
    house = shed.identify(last)

    def built(recorded: Past, hours: float, members: int = 256, **more: object) -> Callable[[], object]:
        return lambda: prospect.coming_hours(
            recorded, NOW, *now, substrate=plywood, length=hours * HOUR, members=members, **more
        )

    outlook = prospect.coming_hours(last, NOW, *now, substrate=plywood)
    rows: list[tuple[str, Callable[[], object]]] = [
        ("nothing recorded, 256 members x 72 h", built(no_past(), 72)),
        ("7 days of quarter hours, 72 h", built(past[7], 72)),
        ("14 days of quarter hours, 72 h", built(last, 72)),
        ("14 days of quarter hours, 120 h", built(last, 120)),
        ("60 days of quarter hours, 72 h", built(past[60], 72)),
        ("60 days of hours, 120 h", built(hourly, 120)),
        ("14 days, 1024 members, 72 h", built(last, 72, 1024)),
        ("60 days, a forecast and 240 kept ones, 72 h", built(past[60], 72, forecast=told, earlier=kept)),
        ("margin of 256 members x 72 h (dew points)", outlook.condensation_margin),
        ("humidity at the surface, 256 x 72 h", outlook.surface_humidity),
        ("shed from 14 days of quarter hours", lambda: shed.identify(last)),
        (
            "warming 256 members for 12 h",
            lambda: warming.warmed(outlook, house, 291.0, NOW, NOW + 12 * HOUR, substrate=plywood),
        ),
    ]
    print(f"{'':48s} {'ms':>8s} {'MB':>7s}")
    for name, work in rows:
        milliseconds, megabytes = measured(work)
        print(f"{name:48s} {milliseconds:8.1f} {megabytes:7.1f}")


if __name__ == "__main__":
    main()
