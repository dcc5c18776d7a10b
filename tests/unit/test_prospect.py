"""Laws of the outlook that is learned from a shed's own recordings, or told by a forecast."""

import numpy as np
import pytest

from curewatch.errors import OutOfValidity
from curewatch.materials.substrate import load_substrate
from curewatch.model.air import outlook, prospect, shed
from curewatch.model.air.forecast import Forecast
from curewatch.model.air.past import Past, no_past
from curewatch.model.air.surface import lagged_temperature
from curewatch.physics import moist_air

HOUR = 3600.0
NOW = 1_764_000_000.0


def simulated_past(days: float = 20.0, step: float = HOUR, seed: int = 1, probe: bool = False) -> Past:
    """A shed whose days wave and whose weather wanders; outside 1 K colder."""
    steps = int(days * 24 * HOUR / step)
    time = NOW + step * np.arange(-steps, 1)
    noise = np.random.default_rng(seed)
    wander = np.cumsum(noise.normal(0, 0.25 * np.sqrt(step / HOUR), len(time)))
    air = 281.0 + 3.0 * np.sin(2 * np.pi * (time / HOUR - 9) / 24) + wander - wander.mean()
    vapour = moist_air.saturation_pressure(air - 2.5 - np.abs(wander) / 3)
    unknown = np.full(len(time), np.nan)
    surface = lagged_temperature(time, air, 2 * HOUR) if probe else unknown
    return Past(time, air, vapour, surface, air - 1.0, vapour * 0.95)


def told(past: Past, **more: object) -> outlook.Outlook:
    surface = float(past.surface_temperature[-1])
    return prospect.coming_hours(
        past,
        NOW,
        float(past.air_temperature[-1]),
        float(past.vapour_pressure[-1]),
        None if np.isnan(surface) else surface,
        **more,  # type: ignore[arg-type]
    )


def test_with_recordings_it_says_so_and_starts_from_now() -> None:
    """Twenty days of recordings are enough; every member begins at the last reading."""
    past = simulated_past(probe=True)
    found = told(past)
    assert "own recordings" in found.basis
    assert found.history_hours == pytest.approx(20 * 24, abs=1)
    assert found.time[0] == NOW
    assert found.air_temperature.shape == (outlook.MEMBERS, 289)
    assert np.allclose(found.air_temperature[:, 0], past.air_temperature[-1])
    assert np.allclose(found.surface_temperature[:, 0], past.surface_temperature[-1])
    assert np.allclose(found.vapour_pressure[:, 0], past.vapour_pressure[-1])


def test_it_knows_the_shape_of_the_day() -> None:
    """Half a day ahead the middle swings with the day, which staying as it is cannot."""
    past = simulated_past()
    middle = outlook.band(told(past).air_temperature)[1]
    wave = 3.0 * np.sin(2 * np.pi * ((NOW + np.arange(289) * 900) / HOUR - 9) / 24)
    assert np.corrcoef(middle, wave)[0, 1] > 0.95


def test_nothing_after_now_is_looked_at() -> None:
    """Rows after now change nothing."""
    past = simulated_past()
    later = Past(*(np.append(series, series[-5:] + 7.0) for series in past))
    later = later._replace(time=np.append(past.time, past.time[-1] + HOUR * np.arange(1, 6)))
    before, after = (
        told(past),
        prospect.coming_hours(later, NOW, float(past.air_temperature[-1]), float(past.vapour_pressure[-1])),
    )
    assert before.air_temperature.tobytes() == after.air_temperature.tobytes()


def test_the_same_question_gets_the_same_answer() -> None:
    """Two calls agree bit by bit."""
    past = simulated_past()
    assert told(past).vapour_pressure.tobytes() == told(past).vapour_pressure.tobytes()


def test_members_keep_neighbouring_hours_together() -> None:
    """A member that is warm at 24 h is still warm an hour later: paths, not independent hours."""
    found = told(simulated_past())
    one, next_hour = found.air_temperature[:, 96], found.air_temperature[:, 100]
    assert np.corrcoef(one, next_hour)[0, 1] > 0.8


def test_members_never_carry_more_water_than_air_can() -> None:
    """Vapour pressure stays at or below saturation on every member."""
    past = simulated_past()
    wet = past._replace(vapour_pressure=0.995 * moist_air.saturation_pressure(past.air_temperature))
    found = told(wet)
    assert np.all(found.vapour_pressure <= moist_air.saturation_pressure(found.air_temperature) * (1 + 1e-9))


@pytest.mark.parametrize("days", [0.0, 0.5, 3.0])
def test_too_short_a_past_gives_the_wide_assumption(days: float) -> None:
    """Less than four days of recordings are not learned from, and the basis says so."""
    past = simulated_past(days)
    found = told(past)
    expected = f"only {days * 24:.0f} h recorded" if days else "nothing recorded"
    assert expected in found.basis
    assert np.all(np.isfinite(found.air_temperature))


def test_gaps_are_bridged_or_left_out() -> None:
    """Half a day missing in the past is left out; two hours missing this morning are bridged."""
    past = simulated_past(step=900.0)
    air = past.air_temperature.copy()
    air[600:650] = np.nan
    air[-40:-33] = np.nan
    found = told(past._replace(air_temperature=air))
    assert "own recordings" in found.basis
    assert np.all(np.isfinite(found.air_temperature))
    whole = outlook.band(told(past).air_temperature)[1]
    assert np.abs(outlook.band(found.air_temperature)[1] - whole).max() < 1.5


@pytest.mark.parametrize("hours_ago", [5, 9, 15, 22, 23, 24, 25, 30, 47, 71])
def test_a_gap_of_half_a_night_leaves_no_hole_in_the_outlook(hours_ago: int) -> None:
    """Wherever four hours are missing, every member is a number at every hour."""
    past = simulated_past(probe=True)
    holes = [series.copy() for series in past]
    for series in holes[1:4]:
        series[-hours_ago - 4 : -hours_ago] = np.nan
    found = told(Past(*holes))
    for path in (found.air_temperature, found.vapour_pressure, found.surface_temperature):
        assert np.all(np.isfinite(path))


def test_a_gap_that_ended_an_hour_ago_leaves_too_little_to_go_on() -> None:
    """With only the last hour known of today nothing is learned: the wide assumption stands in."""
    past = simulated_past()
    air = past.air_temperature.copy()
    air[-12:-1] = np.nan
    assert "own recordings" not in told(past._replace(air_temperature=air)).basis


def test_without_a_probe_the_surface_lags_the_air_by_its_substrate() -> None:
    """On a thick timber the surface's swing is smaller than the air's and comes later."""
    found = told(simulated_past(), substrate=load_substrate("lead"))
    swing = found.surface_temperature.mean(axis=0)[96:].std() / found.air_temperature.mean(axis=0)[96:].std()
    assert swing < 0.6


def test_a_longer_look_than_the_past_can_teach_is_wider() -> None:
    """Five days ahead from six days of past repeats the day, with a growing band."""
    found = told(simulated_past(6.0), length=120 * HOUR)
    assert found.air_temperature.shape[1] == 481
    spread = found.air_temperature.std(axis=0)
    assert spread[-1] > spread[-97] > 0


def forecast_for(past: Past, bias: float, hours: int = 72, start: float = -6 * HOUR) -> Forecast:
    time = NOW + np.arange(start, hours * HOUR + 1, HOUR)
    wave = 281.0 + 3.0 * np.sin(2 * np.pi * (time / HOUR - 9) / 24) - 1.0
    shift = past.outside_temperature[-1] - np.interp(NOW, time, wave)
    dew = np.full(len(time), float(moist_air.dew_point(past.outside_vapour_pressure[-1])))
    return Forecast(NOW - HOUR, time, wave + shift + bias, moist_air.saturation_pressure(dew))


def test_a_forecast_is_preferred_and_named() -> None:
    """With a forecast ahead the outlook rests on it, and says through which shed."""
    past = simulated_past()
    found = told(past, forecast=forecast_for(past, 0.0), shed=shed.identify(past))
    assert "forecast of the air outside" in found.basis
    assert "identified from" in found.basis
    assert np.all(np.isfinite(found.vapour_pressure))


def test_a_bias_of_the_forecast_is_taken_off() -> None:
    """A forecast 3 K too warm all along gives in the coming hours what the unbiased one gives."""
    past = simulated_past()
    right, warm = (told(past, forecast=forecast_for(past, bias)) for bias in (0.0, 3.0))
    hours = slice(1, 25)
    difference = outlook.band(warm.air_temperature)[1] - outlook.band(right.air_temperature)[1]
    assert np.abs(difference[hours]).max() < 0.5


def test_earlier_forecasts_make_the_band_and_the_bias() -> None:
    """Kept forecasts that were 2 K too warm and good to 0.3 K give a narrow band about the right value."""
    past = simulated_past()
    noise = np.random.default_rng(4)
    earlier = []
    for days in np.arange(4.0, 16.0, 0.5):
        issued = NOW - days * 24 * HOUR
        time = issued + HOUR * np.arange(73)
        true = np.interp(time, past.time, past.outside_temperature)
        vapour = np.interp(time, past.time, past.outside_vapour_pressure)
        earlier.append(Forecast(issued, time, true + 2.0 + noise.normal(0, 0.3), vapour))
    plain = told(past, forecast=forecast_for(past, 0.0))
    found = told(past, forecast=forecast_for(past, 2.0), earlier=earlier)
    assert "earlier forecasts" in found.basis
    difference = outlook.band(found.air_temperature)[1] - outlook.band(plain.air_temperature)[1]
    assert np.abs(difference[:49]).max() < 0.6
    assert found.air_temperature[:, 96].std() < plain.air_temperature[:, 96].std()


def test_a_forecast_that_has_run_out_is_not_used() -> None:
    """Three hours ahead say less than the shed's own past."""
    past = simulated_past()
    assert "own recordings" in told(past, forecast=forecast_for(past, 0.0, hours=3)).basis


def test_a_forecast_with_times_out_of_order_is_refused() -> None:
    """An unusable forecast is an error that says what is wrong, not a strange outlook."""
    past = simulated_past()
    broken = forecast_for(past, 0.0)
    time = broken.time.copy()
    time[5], time[6] = time[6], time[5]
    with pytest.raises(OutOfValidity, match="moments of the forecast"):
        told(past, forecast=broken._replace(time=time))


def test_an_empty_past_is_no_trouble() -> None:
    """On the first evening there is only the reading itself."""
    found = prospect.coming_hours(no_past(), NOW, 281.0, 900.0)
    assert found.history_hours == 0.0


def test_the_band_of_a_told_outlook_holds_what_then_comes() -> None:
    """Forecasts with errors that last, in a simulated shed: 80 % bands hold 70 to 90 % of 40 days."""
    noise = np.random.default_rng(11)
    past = simulated_past(60.0, seed=5)
    outside, vapour = past.outside_temperature, past.outside_vapour_pressure
    inside = lagged_temperature(past.time, outside + 1.0, 3 * HOUR)
    held = []
    for now in range(400, 1360, 24):
        known, ahead = slice(now - 380, now + 1), slice(now - 5, now + 61)
        seen = Past(
            past.time[known],
            inside[known],
            vapour[known],
            np.full(381, np.nan),
            outside[known],
            vapour[known],
        )
        wrong = np.zeros(66)
        wrong[0] = noise.normal()
        for hour in range(1, 66):
            wrong[hour] = 0.967 * wrong[hour - 1] + 0.255 * noise.normal()
        spread = 1.0 + 1.5 * np.clip(np.arange(-5, 61) / 72, 0, 1)
        forecast = Forecast(past.time[now], past.time[ahead], outside[ahead] + spread * wrong, vapour[ahead])
        found = prospect.coming_hours(
            seen,
            past.time[now],
            inside[now],
            vapour[now],
            forecast=forecast,
            shed=shed.identify(seen),
            length=60 * HOUR,
            step=HOUR,
        )
        low, _, high = outlook.band(found.air_temperature[:, 1:])
        came = inside[now + 1 : now + 61]
        held.append((came >= low) & (came <= high))
    assert 0.70 < np.mean(held) < 0.90
