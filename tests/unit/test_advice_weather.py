"""Extremes over spans and paths on another grid, against the plain way."""

from typing import NamedTuple

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as some

from curewatch.advice.judge.weather import along, highest_between, lowest_between, weather
from curewatch.errors import OutOfValidity
from curewatch.model.air.outlook import ReadingErrors
from curewatch.units import FloatArray


class Made(NamedTuple):
    time: FloatArray
    air_temperature: FloatArray
    vapour_pressure: FloatArray
    surface_temperature: FloatArray
    errors: ReadingErrors | None = None


@given(some.integers(0, 2**32 - 1), some.integers(1, 70))
def test_the_lowest_and_highest_over_any_span_are_what_a_loop_finds(seed: int, length: int) -> None:
    """Random paths, random spans, single points included."""
    random = np.random.default_rng(seed)
    values = random.normal(size=(3, length))
    first = random.integers(0, length, size=(4, 3))
    last = np.minimum(length - 1, first + random.integers(0, length, size=(4, 3)))
    low, high = lowest_between(values, first, last), highest_between(values, first, last)
    for start in range(4):
        for member in range(3):
            span = values[member, first[start, member] : last[start, member] + 1]
            assert low[start, member] == span.min()
            assert high[start, member] == span.max()


def test_paths_between_points_are_straight() -> None:
    """The same as numpy's interpolation, path by path."""
    random = np.random.default_rng(1)
    time, paths = np.cumsum(random.uniform(1, 5, 30)), random.normal(size=(4, 30))
    wanted = np.linspace(time[0], time[-1], 77)
    assert np.allclose(along(time, paths, wanted), [np.interp(wanted, time, path) for path in paths])
    assert np.array_equal(along(time, paths, time[3:9]), paths[:, 3:9])  # the same points as before
    assert along(time, paths, time[:0]).shape == (4, 0)


def test_weather_carries_margin_and_surface_humidity_by_the_book() -> None:
    """18 degC air at 70 % over a 14 degC surface: 90 % there (computed, ASHRAE saturation pressures)."""
    time = np.arange(0.0, 7201.0, 900.0)
    one = np.ones((1, time.size))
    made = Made(time, 291.15 * one, 0.70 * 2064.7 * one, 287.15 * one)
    seen = weather(made, 1000.0)
    assert seen.time[0] == 1000.0
    assert seen.humidity[0, 0] == pytest.approx(0.70, abs=0.001)
    assert seen.surface_humidity[0, 0] == pytest.approx(0.90, abs=0.005)
    assert seen.margin[0, -1] == pytest.approx(14.0 - 12.4, abs=0.1)


@pytest.mark.parametrize("start", [-1.0, 7000.0])
def test_a_start_outside_the_outlook_is_refused(start: float) -> None:
    """No answer is made up for hours nobody looked at."""
    time = np.arange(0.0, 7201.0, 900.0)
    one = np.ones((1, time.size))
    with pytest.raises(OutOfValidity, match="outlook"):
        weather(Made(time, 290 * one, 900 * one, 289 * one), start)
