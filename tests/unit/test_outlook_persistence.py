"""The assumption that stands in where nothing is recorded: it stays as it is, within a wide band."""

import numpy as np
import pytest

from curewatch.errors import OutOfValidity
from curewatch.materials.substrate import load_substrate
from curewatch.model.air import outlook
from curewatch.model.air.members import even_ranks, normal_members
from curewatch.physics import moist_air

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
