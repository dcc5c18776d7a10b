"""A shed that was simulated is found back, and what it does with heat and vapour."""

import numpy as np
import pytest

from curewatch.errors import OutOfValidity
from curewatch.model.air import shed
from curewatch.model.air.past import Past, no_past
from curewatch.model.air.surface import lagged_temperature

HOUR, DAY = 3600.0, 86400.0


def simulated(
    tau_hours: float, changes_per_hour: float, *, days: float = 14, noise_k: float = 0.2, seed: int = 1
) -> tuple[Past, np.ndarray]:
    """Outside weather that wanders, clouds by the day, a heater every other evening; sensors with noise."""
    random = np.random.default_rng(seed)
    time = 1_764_000_000.0 + np.arange(0.0, days * DAY, 60.0)
    hour = time / HOUR % 24
    knots = np.arange(0.0, days * 24 + 7, 6.0) * HOUR + time[0]
    outside = np.interp(time, knots, 279 + np.cumsum(random.normal(0, 1.5, len(knots))))
    outside += 2.5 * np.sin(2 * np.pi * (hour - 9) / 24)
    hourly = np.zeros(int(days * 24) + 2)  # as restless as measured: about 55 Pa from hour to hour
    for index, push in enumerate(random.normal(0, 55.0, len(hourly) - 1)):
        hourly[index + 1] = 0.97 * hourly[index] + push
    vapour = 900.0 + np.interp(time, time[0] + HOUR * np.arange(len(hourly)), hourly)
    day = ((time - time[0]) // DAY).astype(int)
    clouds = random.uniform(0.2, 1.0, int(days) + 2)[day]
    sunny = 4.0 * clouds * np.maximum(0.0, np.cos(2 * np.pi * (hour - 12.6) / 24))
    heater = np.where((hour > 18) & (hour < 23) & (day % 2 == 1), 2000.0, 0.0)
    inside = lagged_temperature(
        time, outside + 0.7 + sunny + heater / 250.0, tau_hours * HOUR, outside[0] + 2
    )
    moist = lagged_temperature(time, vapour + 40.0, HOUR / changes_per_hour, vapour[0])
    every = slice(None, None, 15)

    def seen(series: np.ndarray, noise: float) -> np.ndarray:
        return series[every] + random.normal(0, noise, len(series[every]))

    past = Past(
        time[every],
        seen(inside, noise_k),
        seen(moist, 15.0),
        np.full(len(time[every]), np.nan),
        seen(outside, noise_k),
        seen(vapour, 15.0),
    )
    return past, heater[every]


@pytest.mark.parametrize(("tau_hours", "changes"), [(1.5, 3.0), (3.0, 1.0), (8.0, 0.5), (18.0, 0.2)])
@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.few(4)
def test_a_simulated_shed_is_found_back(tau_hours: float, changes: float, seed: int) -> None:
    """Time constant within 10 %, air changes within 20 %, heat loss within 20 %, through noise and clouds."""
    past, heater = simulated(tau_hours, changes, seed=seed)
    found = shed.identify(past, heater)
    assert found.time_constant / HOUR == pytest.approx(tau_hours, rel=0.10)
    assert found.air_changes * HOUR == pytest.approx(changes, rel=0.20)
    assert found.heat_loss == pytest.approx(250.0, rel=0.20)
    assert found.noon in (11.0, 12.0, 13.0, 14.0)
    assert found.sun_gain > 1.0


def test_it_says_how_sure_it_is() -> None:
    """The truth lies within three stated deviations, and fewer days make it less sure."""
    long, short = (shed.identify(*simulated(4.0, 0.8, days=days)) for days in (14, 3))
    for found in (long, short):
        assert abs(found.heat_loss - 250.0) < 3 * found.heat_loss_sd
        assert abs(found.time_constant - 4.0 * HOUR) < 3 * found.time_constant_sd + 0.05 * HOUR
    assert short.air_changes_sd > long.air_changes_sd
    assert long.history_hours == pytest.approx(14 * 24, abs=1)
    assert "336 h" in long.basis


def test_without_pairs_the_shed_is_assumed_and_says_so() -> None:
    """No outside sensor, or a day of pairs only: the assumed shed with its wide spreads."""
    past, _ = simulated(3.0, 1.0, days=3)
    lonely = past._replace(outside_temperature=np.full(len(past.time), np.nan))
    for nothing in (no_past(), lonely, Past(*(series[:90] for series in past))):
        found = shed.identify(nothing)
        assert "assumed" in found.basis
        assert found.time_constant_sd > 0.5 * found.time_constant


def test_a_recording_with_a_hole_uses_its_longest_whole_stretch() -> None:
    """A sensor that was off for two days does not spoil what came after."""
    past, heater = simulated(3.0, 1.0)
    outside = past.outside_temperature.copy()
    outside[100:300] = np.nan
    found = shed.identify(past._replace(outside_temperature=outside), heater)
    assert found.time_constant / HOUR == pytest.approx(3.0, rel=0.10)
    assert found.history_hours < 14 * 24 - 70


def test_wrong_inputs_are_refused_by_name() -> None:
    """A shed of no volume, or heater powers of another length than the past, is an error."""
    past, heater = simulated(3.0, 1.0, days=2)
    with pytest.raises(OutOfValidity, match="volume"):
        shed.identify(past, volume=0.0)
    with pytest.raises(OutOfValidity, match="heater powers"):
        shed.identify(past, heater[:-1])
