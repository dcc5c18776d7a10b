"""The shared values keep their promises."""

import pytest

from curewatch import clock, units
from curewatch.errors import ConfigurationError, OutOfValidity


def test_units_come_back_as_they_went() -> None:
    """Each conversion and its inverse agree to rounding."""
    assert units.celsius_from_kelvin(units.kelvin_from_celsius(9.5)) == pytest.approx(9.5)
    assert units.fahrenheit_from_kelvin(units.kelvin_from_fahrenheit(48.2)) == pytest.approx(48.2)
    assert units.ounce_from_gram(units.gram_from_ounce(12.0)) == pytest.approx(12.0)


def test_a_stamp_survives_its_text_form() -> None:
    """ISO text and seconds agree to the millisecond, and an offset is honoured."""
    stamp = 1_790_000_000.123
    assert clock.utc_from_iso(clock.iso_utc(stamp)) == pytest.approx(stamp, abs=5e-4)
    assert clock.utc_from_iso("2026-11-25T21:40:00+01:00") == clock.utc_from_iso("2026-11-25T20:40:00Z")


def test_a_manual_clock_can_step_its_wall_clock_alone() -> None:
    """Setting the wall clock leaves the monotonic face where it was."""
    hands = clock.ManualClock(utc=100.0, monotonic=5.0)
    assert hands.set_utc(50.0) == clock.Instant(50.0, 5.0)
    assert hands.advance(2.0) == clock.Instant(52.0, 7.0)


def test_errors_say_what_was_seen_and_what_is_allowed() -> None:
    """Messages carry the value, the range and the place."""
    assert "-80" in str(OutOfValidity("temperature", -80.0, "-60..60 degC", "the source"))
    place = ConfigurationError("'warm'", "a number", file="curewatch.toml", line=7, key="shed.limit")
    assert str(place) == "curewatch.toml, line 7, key shed.limit: found 'warm'. Use a number"
