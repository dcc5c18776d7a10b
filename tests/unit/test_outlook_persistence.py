"""The assumption that stands in where nothing is recorded: it stays as it is, within a wide band."""

import numpy as np
import pytest

from curewatch.errors import OutOfValidity
from curewatch.materials.substrate import load_substrate
from curewatch.model.air import outlook
from curewatch.model.air.members import even_ranks, normal_members
from curewatch.physics import moist_air
from curewatch.units import FloatArray

HOUR = 3600.0
NOW = 1_764_000_000.0


def cold_shed(**more: object) -> outlook.Outlook:
    pressure = float(moist_air.vapour_pressure(281.15, 0.85))
    return outlook.persistence(NOW, 281.15, pressure, **more)  # type: ignore[arg-type]


def test_it_starts_from_what_was_measured() -> None:
    """The first column of every member is the reading itself."""
    found = cold_shed(surface_temperature=279.9, substrate=load_substrate("plywood"))
    assert found.time[0] == NOW
    assert np.allclose(found.air_temperature[:, 0], 281.15)
    assert np.allclose(found.surface_temperature[:, 0], 279.9)
    assert np.allclose(found.vapour_pressure[:, 0], moist_air.vapour_pressure(281.15, 0.85))


def test_the_band_is_as_wide_as_weather_is_seen_to_wander() -> None:
    """Spreads of 1.0, 2.4, 4.0, 5.5 K after 1, 3, 6, 12 h (EWR 2013, root mean square of changes)."""
    found = cold_shed()
    for hours, seen in ((1, 1.0), (3, 2.37), (6, 3.98), (12, 5.45), (24, 4.1)):
        spread = found.air_temperature[:, int(hours * HOUR / outlook.STEP)].std()
        assert seen * 0.95 < spread < seen * 1.35, hours


def test_it_is_of_256_paths_over_three_days_by_the_quarter_of_an_hour() -> None:
    """Where nothing else is asked for."""
    found = cold_shed()
    assert found.air_temperature.shape == (256, 3 * 96 + 1)
    assert np.all(np.diff(found.time) == 900.0)


def at_hour(values: FloatArray, hours: int) -> FloatArray:
    """Each member after so many hours."""
    return values[:, 4 * hours]


def test_the_weather_wanders_by_its_formula() -> None:
    """By hand, with s(t, tau) = sqrt(2 (1 - exp(-t / tau))): 5 K s(t, 36 h), and 2 K of a daily wave.

    After whole days the wave is over, and a member has gone as far as s says, whoever it is.
    """
    moved = cold_shed().air_temperature - 281.15
    day, noon, morning = (at_hour(moved, hours) for hours in (24, 12, 6))
    assert at_hour(moved, 48) / day == pytest.approx(np.full(256, 1.230211), rel=1e-5)
    assert day.std() == pytest.approx(4.932, rel=0.03)
    assert noon.std() == pytest.approx(5.493, rel=0.03)  # twice the cosine of the wave
    assert morning.std() == pytest.approx(3.960, rel=0.03)  # its cosine and its sine


def test_dew_points_wander_by_theirs_half_with_the_air() -> None:
    """By hand: 7 K s(t, 60 h), with a correlation of 0.5; dry air, so that none is held at saturation."""
    pressure = float(moist_air.vapour_pressure(303.15, 0.05))
    found = outlook.persistence(NOW, 303.15, pressure)
    moved = moist_air.dew_point(found.vapour_pressure) - moist_air.dew_point(pressure)
    assert at_hour(moved, 24) / at_hour(moved, 6) == pytest.approx(np.full(256, 1.861293), rel=1e-4)
    assert at_hour(moved, 24).std() == pytest.approx(5.684, rel=0.03)
    together = np.corrcoef(at_hour(moved, 24), at_hour(found.air_temperature, 24))[0, 1]
    assert together == pytest.approx(0.5, abs=0.07)


def test_no_path_is_drier_than_a_dew_point_of_sixty_below_zero() -> None:
    """Degrees Celsius. Air near that limit: some paths would pass it, and are held."""
    pressure = float(moist_air.saturation_pressure(216.15))
    lowest = moist_air.dew_point(outlook.persistence(NOW, 283.15, pressure).vapour_pressure).min()
    assert lowest == pytest.approx(213.15, abs=1e-3)


def test_a_surface_without_a_substrate_stays_as_far_from_the_air_as_it_is() -> None:
    """And is the air where nobody measured it."""
    apart = cold_shed(surface_temperature=279.9)
    assert apart.surface_temperature - apart.air_temperature == pytest.approx(np.full((256, 289), -1.25))
    bare = cold_shed()
    assert np.array_equal(bare.surface_temperature, bare.air_temperature)


def test_margin_and_humidity_are_those_of_the_surface() -> None:
    """Now: the surface 1.25 K below air of 85 % is nearer to its dew point, and damper."""
    found = cold_shed(surface_temperature=279.9)
    pressure = float(moist_air.vapour_pressure(281.15, 0.85))
    assert found.condensation_margin()[0, 0] == pytest.approx(279.9 - float(moist_air.dew_point(pressure)))
    assert found.surface_humidity()[0, 0] == pytest.approx(
        pressure / float(moist_air.saturation_pressure(279.9))
    )


def test_the_middle_stays_and_the_band_holds_its_share() -> None:
    """Half of the members lie on either side of the reading, 80 % inside the 80 % band."""
    found = cold_shed()
    low, middle, high = outlook.band(found.air_temperature)
    assert np.all(np.abs(middle - 281.15) < 0.5)
    inside = (found.air_temperature >= low) & (found.air_temperature <= high)
    assert np.all(np.abs(inside.mean(axis=0)[1:] - 0.8) < 0.02)


def test_members_are_never_supersaturated() -> None:
    """Water above saturation would have condensed: no member carries it."""
    found = cold_shed()
    assert np.all(found.vapour_pressure <= moist_air.saturation_pressure(found.air_temperature) * (1 + 1e-9))


def test_the_same_question_gets_the_same_answer() -> None:
    """No hidden random state: two calls agree bit by bit, whatever the global generator does."""
    first = cold_shed()
    np.random.seed(5)
    second = cold_shed()
    assert first.air_temperature.tobytes() == second.air_temperature.tobytes()
    assert first.vapour_pressure.tobytes() == second.vapour_pressure.tobytes()


def test_it_says_what_it_rests_on() -> None:
    """The basis is stated in words and no history is claimed."""
    found = cold_shed()
    assert "nothing recorded" in found.basis
    assert found.history_hours == 0.0


def test_a_length_without_a_step_is_refused() -> None:
    """An outlook shorter than its step is an error."""
    with pytest.raises(OutOfValidity, match="length of the outlook"):
        cold_shed(length=60.0)
    for step, length in ((0.0, 900.0), (-900.0, 900.0), (900.0, 899.0)):
        with pytest.raises(OutOfValidity, match="at least one step"):
            outlook.moments(NOW, length, step)
    for step in (900.0, 1.0, 0.5):
        assert outlook.moments(NOW, step, step).tolist() == [NOW, NOW + step]


def test_member_numbers_fill_their_space_evenly() -> None:
    """Each column is the same ladder of quantiles and no two columns move together."""
    numbers = normal_members(256, 5)
    ladder = np.sort(numbers, axis=0)
    assert np.all(ladder == ladder[:, :1])
    correlation = np.corrcoef(numbers.T) - np.eye(5)
    assert np.abs(correlation).max() < 0.06
    assert sorted(even_ranks(100, 2)[:, 1]) == list(range(100))
    with pytest.raises(OutOfValidity, match="dimensions"):
        even_ranks(10, 9)
