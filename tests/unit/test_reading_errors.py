"""What sensors read wrong rides on each path once, and no lot has errors of one sign."""

import numpy as np
import pytest
from msgspec.structs import replace

from curewatch.advice.judge.weather import weather
from curewatch.materials import load_resin
from curewatch.model.air.outlook import persistence
from curewatch.model.air.reading_errors import Accuracy, with_errors
from curewatch.model.film.lots import STRATA, lots, shared_out
from curewatch.physics import moist_air

NOW = 1_795_000_000.0


def seen(accuracy: Accuracy) -> tuple[np.ndarray, np.ndarray]:
    """Air and margin of each path at the start, of 18 °C and 70 % over a surface of 15 °C."""
    vapour = 0.7 * float(moist_air.saturation_pressure(291.15))
    read = persistence(NOW, 291.15, vapour, 288.15)
    there = weather(with_errors(read, accuracy), NOW)
    return there.air_temperature[:, 0], there.margin[:, 0]


def test_the_margin_errs_as_linear_propagation_says() -> None:
    """0.2 K and 2 % of a chip, 0.5 K of a probe: the spread of the margin, once and no more."""
    air, margin = seen(Accuracy(0.2, 0.02, 0.5, False))
    assert air.std() == pytest.approx(0.2, rel=0.03)
    dew = float(moist_air.dew_point(0.7 * moist_air.saturation_pressure(291.15)))
    slope = float(moist_air.saturation_slope(dew))
    of_humidity = 0.02 * float(moist_air.saturation_pressure(291.15)) / slope
    of_warmth = 0.2 * 0.7 * float(moist_air.saturation_slope(291.15)) / slope
    assert margin.std() == pytest.approx(float(np.hypot(np.hypot(of_humidity, of_warmth), 0.5)), rel=0.05)
    assert margin.mean() == pytest.approx(288.15 - dew, abs=0.02)


def test_an_estimated_surface_errs_with_the_air_that_tells_it() -> None:
    """A thermometer that reads high makes surface and dew point high alike: the margin errs little."""
    _, together = seen(Accuracy(1.0, 0.0, 0.0, True))
    _, apart = seen(Accuracy(1.0, 0.0, 1.0, False))
    assert together.std() < 0.1
    assert apart.std() > 1.2


def test_no_lot_has_errors_of_one_sign() -> None:
    """Over the paths of each lot the errors of each sensor average out."""
    outlook = with_errors(persistence(NOW, 291.15, 1400.0), Accuracy(1.0, 1.0, 1.0, False))
    assert outlook.errors is not None
    known = lots(load_resin("epoxy-slow"), STRATA)
    lot = np.asarray(shared_out(outlook.air_temperature.shape[0], len(known)))
    for errors in outlook.errors[:3]:
        means = [errors[lot == each].mean() for each in range(len(known))]
        assert np.abs(means).max() < 0.8
        assert np.std(means) < 0.35


def test_without_known_sensors_nothing_is_taken_off() -> None:
    """Paths without errors are taken as they are."""
    plain = persistence(NOW, 291.15, 1400.0)
    assert np.array_equal(weather(plain, NOW).margin, weather(replace(plain, errors=None), NOW).margin)
    exact = with_errors(plain, Accuracy(0.0, 0.0, 0.0, False))
    assert np.allclose(weather(exact, NOW).margin, weather(plain, NOW).margin, atol=1e-6)
