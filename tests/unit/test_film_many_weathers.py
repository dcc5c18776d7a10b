"""The promise of 1e-4 in conversion, over many weathers and starts, against steps of 15 seconds."""

import numpy as np
import pytest

from curewatch.materials import Resin, load_resin
from curewatch.model.film.ensemble import cures
from curewatch.model.film.film import History, cure
from curewatch.model.film.lots import Lot
from curewatch.units import HOUR, FloatArray
from tests.published.cure_equations import law

PATHS, STARTS, HOURS, EVERY, FINE = 48, 13, 72.0, 600.0, 15.0


def weathers() -> FloatArray:
    """Days and nights with noise, heaters, warm rooms that cool, and a door that opens: (films, n) [K]."""
    rng = np.random.default_rng(0)
    time = np.arange(0.0, (HOURS + 2.0 * STARTS) * HOUR + 1.0, EVERY)
    films = []
    for number in range(PATHS):
        low, swing, phase = rng.uniform(275, 300), rng.uniform(0, 9), rng.uniform(0, 6.28)
        path = low + swing * np.sin(2 * np.pi * time / (24 * HOUR) + phase)
        path += 0.08 * np.cumsum(rng.normal(0.0, 1.0, time.size))
        kind = number % 4
        if kind == 1:
            path += 8.0 * (np.floor(time / HOUR / rng.uniform(2, 7)) % 2)
        elif kind == 2:
            path += 12.0 * np.exp(-time / (3 * HOUR))
        elif kind == 3:
            path += 6.0 * np.maximum(0.0, np.sin(2 * np.pi * time / 5400.0))
        count = int(HOURS * HOUR / EVERY) + 1
        films += [np.clip(path, 262.0, 312.0)[12 * start : 12 * start + count] for start in range(STARTS)]
    return np.array(films)


def by_small_steps(resin: Resin, films: FloatArray) -> FloatArray:
    """Conversion every 450 s, by classical Runge-Kutta with 15 s steps, finer where it starts."""
    per_point = int(EVERY / FINE)
    a = np.full(films.shape[0], -resin.kinetics.inhibitor)
    kept = [a]
    for index in range(films.shape[1] - 1):
        begin, rise = films[:, index], films[:, index + 1] - films[:, index]
        for part in range(per_point):
            for piece in range(32 if index == 0 and part == 0 else 1):
                count = 32 if index == 0 and part == 0 else 1
                step = FINE / count
                at = (part + piece / count) / per_point
                to = (part + (piece + 1) / count) / per_point
                cold, warm = begin + rise * at, begin + rise * to
                middle = 0.5 * (cold + warm)
                f1 = law(resin, a, cold)
                f2 = law(resin, a + 0.5 * step * f1, middle)
                f3 = law(resin, a + 0.5 * step * f2, middle)
                f4 = law(resin, a + step * f3, warm)
                a = a + step / 6.0 * (f1 + 2.0 * (f2 + f3) + f4)
            moment = index * EVERY + (part + 1) * FINE
            if moment % 450.0 == 0.0:
                kept.append(a)
    return np.maximum(np.array(kept).T, 0.0)


@pytest.mark.long
@pytest.mark.parametrize("name", ["epoxy-slow", "epoxy-fast", "epoxy-low-blush", "polyester-laminating"])
def test_a_promise_of_one_in_ten_thousand(name: str) -> None:
    """A film and the flow map stay within 1e-4 of small steps: 48 weathers, 13 starts."""
    resin, films = load_resin(name), weathers()
    expected, at = by_small_steps(resin, films), 450.0 * np.arange(int(HOURS * HOUR / 450.0) + 1)
    time = EVERY * np.arange(films.shape[1])
    worst = 0.0
    for path, row in zip(films, expected, strict=True):
        film = cure(resin, History(time, path))
        whole, there = np.searchsorted(film.time, at[::2] - 1e-6), slice(None, None, 2)
        worst = max(worst, float(np.max(np.abs(film.conversion[whole] - row[there]))))
    crowd = cures(resin, History(time, films), [Lot(resin, 1.0)])
    every = int(450.0 / crowd.time[1])
    together = float(np.max(np.abs(crowd.conversion[:, ::every] - expected)))
    print(f"{name}: film {worst:.1e}, flow map {together:.1e}")
    assert max(worst, together) < 1e-4
