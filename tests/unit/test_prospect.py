"""Laws of the outlook that is learned from a shed's own recordings, or told by a forecast."""

import numpy as np
import pytest

from curewatch.errors import OutOfValidity
from curewatch.materials.substrate import load_substrate
from curewatch.model.air import outlook, prospect
from curewatch.model.air.forecast import Forecast, checked, foretold, remark, usable
from curewatch.model.air.past import Past, no_past
from curewatch.model.air.surface import lagged_temperature
from curewatch.model.air.weighing import Weights
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


def forecast_of(past: Past, issued: float, hours: int = 72, bias: float = 0.0) -> Forecast:
    """What came outside, by the shed's own wave where it has not come yet, wrong by ``bias``. [K]"""
    time = issued + HOUR * np.arange(hours + 1)
    wave = 280.0 + 3.0 * np.sin(2 * np.pi * (time / HOUR - 9) / 24)
    wander = past.outside_temperature - 280.0 - 3.0 * np.sin(2 * np.pi * (past.time / HOUR - 9) / 24)
    air = wave + np.interp(time, past.time, wander) + bias
    vapour = np.interp(time, past.time, past.outside_vapour_pressure)
    return Forecast(issued, issued + HOUR, time, air, vapour)


def kept_by(past: Past, days: float, bias: float = 0.0) -> list[Forecast]:
    """One every six hours over the last days, all wrong alike."""
    return [
        forecast_of(past, NOW - ago * HOUR, bias=bias) for ago in np.arange(24 * days, 6.0, -6.0).tolist()
    ]


@pytest.mark.parametrize("bias", [0.0, 3.0])
def test_a_forecast_that_helped_narrows_the_outlook_and_is_named(bias: float) -> None:
    """Twenty days of good forecasts: a narrower band, a day's weight, one line; a constant bias falls out."""
    past = simulated_past()
    found = told(past, forecast=forecast_of(past, NOW - HOUR, bias=bias), earlier=kept_by(past, 18, bias))
    assert "counts for" in found.basis
    assert "issued 1 h ago" in found.basis
    assert "own recordings" in found.basis
    plain = told(past)
    assert found.air_temperature[:, 48].std() < 0.9 * plain.air_temperature[:, 48].std()


def test_bias_of_every_forecast_changes_nothing() -> None:
    """Forecasts 3 K too warm all along give what those without bias give."""
    past = simulated_past()
    right, warm = (
        told(past, forecast=forecast_of(past, NOW - HOUR, bias=bias), earlier=kept_by(past, 18, bias))
        for bias in (0.0, 3.0)
    )
    assert np.abs(right.air_temperature - warm.air_temperature).max() < 0.05


def same_paths(one: outlook.Outlook, other: outlook.Outlook) -> bool:
    return bool(np.array_equal(one.air_temperature, other.air_temperature))


def test_too_few_kept_forecasts_count_for_nothing_and_it_is_said() -> None:
    """Five days of kept ones: the shed's own past alone, and how many days are needed."""
    past = simulated_past()
    found = told(past, forecast=forecast_of(past, NOW - HOUR), earlier=kept_by(past, 5))
    assert same_paths(found, told(past))
    assert "5 days of forecasts as old as it are kept, 10 are needed" in found.basis


def test_useless_forecasts_count_for_nothing() -> None:
    """Forecasts that are noise did not help: the own past alone, or hardly moved, and said."""
    past, noise = simulated_past(), np.random.default_rng(2)
    wild = [
        each._replace(temperature=280 + 5 * noise.normal(size=73), vapour_pressure=np.full(73, 800.0))
        for each in kept_by(past, 18)
    ]
    found = told(
        past, forecast=wild[-1]._replace(issued=NOW - HOUR, time=wild[-1].time + 5 * HOUR), earlier=wild
    )
    moved = outlook.band(found.air_temperature)[1] - outlook.band(told(past).air_temperature)[1]
    assert np.abs(moved).max() < 0.5


def test_a_forecast_of_another_place_is_not_used() -> None:
    """20 K from what is measured now, where it has lain within one: not used, and said."""
    past = simulated_past()
    found = told(past, forecast=forecast_of(past, NOW - HOUR, bias=20.0), earlier=kept_by(past, 18))
    assert same_paths(found, told(past))
    assert "far from what the sensors measure" in found.basis


def test_past_the_end_of_a_forecast_the_own_past_speaks_alone() -> None:
    """A forecast of seven hours moves the hours it tells, and none after them by 0.05 K.

    Only the choice of past nights that the coming one is like still hangs on the hours that it told.
    """
    past = simulated_past()
    short = forecast_of(past, NOW - HOUR, hours=8)
    found = told(past, forecast=short, earlier=kept_by(past, 18))
    middle, plain = (outlook.band(each.air_temperature)[1] for each in (found, told(past)))
    assert "counts for 7 h" in found.basis
    assert np.abs(middle - plain)[4:28].max() > 0.05
    assert np.abs(middle.mean() - plain.mean()) < 0.3
    late = found.air_temperature.mean(axis=0)[33:] - told(past).air_temperature.mean(axis=0)[33:]
    assert np.abs(late).max() < 0.05


def test_a_stale_forecast_is_weighed_by_stale_ones() -> None:
    """Issued 40 h ago: what was kept is looked at as it was 40 h later, and its age is said."""
    past = simulated_past()
    old = forecast_of(past, NOW - 40 * HOUR)
    found = told(past, forecast=old, earlier=[each for each in kept_by(past, 18) if each.issued < old.issued])
    assert "issued 40 h ago" in found.basis


def test_a_forecast_that_has_run_out_is_not_used() -> None:
    """It ended before now: the shed's own past alone, and said."""
    past = simulated_past()
    found = told(past, forecast=forecast_of(past, NOW - 30 * HOUR, hours=24), earlier=kept_by(past, 18))
    assert same_paths(found, told(past))
    assert "it speaks of -30 h to -6 h from the last reading" in found.basis


def test_nothing_is_known_of_a_forecast_before_it_was_received() -> None:
    """Forecasts that all arrived an hour ago have taught nothing yet."""
    past = simulated_past()
    late = [each._replace(received=NOW - HOUR) for each in kept_by(past, 18)]
    found = told(past, forecast=forecast_of(past, NOW - HOUR), earlier=late)
    assert same_paths(found, told(past))


def test_a_forecast_with_times_out_of_order_is_refused() -> None:
    """An unusable forecast is an error that says what is wrong, not a strange outlook."""
    past = simulated_past()
    broken = forecast_of(past, NOW - HOUR)
    time = broken.time.copy()
    time[5], time[6] = time[6], time[5]
    with pytest.raises(OutOfValidity, match="moments of the forecast"):
        told(past, forecast=broken._replace(time=time))


def test_an_empty_past_is_no_trouble() -> None:
    """On the first evening there is only the reading itself."""
    found = prospect.coming_hours(no_past(), NOW, 281.0, 900.0)
    assert found.history_hours == 0.0


def test_a_forecast_half_of_nothing_tells_nothing_there() -> None:
    """Eight hours without a moment are not bridged; five are; nothing is told past the end."""
    whole = forecast_of(simulated_past(), NOW, hours=36)
    for gone, told_there in ((slice(9, 16), False), (slice(9, 13), True)):
        kept = np.ones(37, dtype=bool)
        kept[gone] = False
        half = whole._replace(
            time=whole.time[kept],
            temperature=whole.temperature[kept],
            vapour_pressure=whole.vapour_pressure[kept],
        )
        told_ = foretold(half, [], NOW, 100, 48)[-1]
        assert np.isfinite(told_[:, 10]).all() == told_there
        assert np.isfinite(told_[:, :8]).all()
        assert np.isnan(told_[:, 37:]).all()


def flat(issued: float, celsius: float, *, time: object = None, received: float | None = None) -> Forecast:
    """One temperature from its issue on for two days, or at these times."""
    when = issued + HOUR * np.arange(49) if time is None else np.asarray(time, dtype=float)
    kelvin = np.full(when.size, celsius + 273.15)
    return Forecast(issued, issued if received is None else received, when, kelvin, np.full(when.size, 800.0))


@pytest.mark.parametrize(
    ("first", "last", "usable_now"),
    [(1.0, 8.0, True), (1.01, 8.0, False), (-9.0, 1.0, True), (-9.0, 0.99, False)],
)
def test_a_forecast_is_used_while_it_tells_of_now_and_of_the_next_hour(
    first: float, last: float, usable_now: bool
) -> None:
    """It begins within an hour, and ends no sooner than in one. One moment alone tells nothing."""
    time = NOW + HOUR * np.array([first, last])
    assert usable(flat(NOW, 9.0, time=time), NOW) == usable_now
    for alone in (NOW, NOW + HOUR):
        assert not usable(flat(NOW, 9.0, time=[alone]), NOW)


def test_two_moments_are_a_forecast_and_no_fewer() -> None:
    """Nor two of the same time. Half a second later is later."""
    for later in (HOUR, 0.5):
        assert checked(flat(NOW, 9.0, time=[NOW, NOW + later]))
    for time in ([NOW], [NOW, NOW]):
        with pytest.raises(OutOfValidity, match="moments of the forecast"):
            checked(flat(NOW, 9.0, time=time))


@pytest.mark.parametrize("wrong", [{"temperature": np.full(49, 500.0)}, {"vapour_pressure": np.zeros(49)}])
def test_a_forecast_of_what_air_cannot_be_is_refused(wrong: dict[str, np.ndarray]) -> None:
    """Too hot for the law of moist air; and without a trace of vapour it has no dew point."""
    with pytest.raises(OutOfValidity, match=next(iter(wrong)).replace("_", " ")):
        checked(flat(NOW, 9.0)._replace(**wrong))


def test_a_kept_forecast_tells_each_past_hour_what_it_said_of_the_hours_behind_it() -> None:
    """A kelvin more each hour: one issued twelve hours ago says 12 degC of now, and one of then 0."""
    rising = flat(NOW - 12 * HOUR, 0.0)
    rising = rising._replace(temperature=rising.temperature + np.arange(49.0))
    rows = foretold(flat(NOW, 20.0), [rising], NOW, 25, 3)[:, 0] - 273.15
    for ago in (12, 11, 7, 6):
        assert rows[24 - ago] == pytest.approx(12.0 - ago + np.arange(4.0)), ago


def test_a_past_hour_is_told_by_the_forecast_nearest_in_age() -> None:
    """The newest is 2 h old. At each past hour one counts that was then 2 h old, up to six more or fewer."""
    newest = flat(NOW - 2 * HOUR, 20.0)
    earlier = [flat(NOW - 20 * HOUR, 1.0), flat(NOW - 12 * HOUR, 2.0)]
    rows = foretold(newest, earlier, NOW, 25, 3)[:, 0] - 273.15
    assert rows.shape == (25, 4)
    told_at = {int(ago): row for ago, row in zip(range(24, -1, -1), rows, strict=True)}
    for ago, celsius in ((20, 1.0), (13, 1.0), (12, 2.0), (4, 2.0), (0, 20.0)):
        assert told_at[ago] == pytest.approx(np.full(4, celsius)), ago
    for ago in (24, 21, 3, 1):  # before it was received, or more than six hours from that age
        assert np.isnan(told_at[ago]).all(), ago


def test_the_later_of_two_forecasts_of_equal_nearness_counts() -> None:
    """Four hours ago one was 6 h old and one new, each 3 h from the age of the newest now."""
    newest = flat(NOW - 3 * HOUR, 20.0)
    earlier = [flat(NOW - 10 * HOUR, 1.0), flat(NOW - 4 * HOUR, 2.0)]
    row = foretold(newest, earlier, NOW, 10, 1)[5, 0] - 273.15
    assert row == pytest.approx([2.0, 2.0])


def test_a_forecast_tells_of_the_hour_before_it_begins_and_of_steps_of_six_hours() -> None:
    """Not of more before it, and not over a step that is wider."""
    time = NOW + HOUR * np.array([1.0, 7.0, 13.01, 14.0])
    (row,) = foretold(flat(NOW - HOUR, 9.0, time=time), [], NOW, 1, 14)[:, 0]
    assert np.isfinite(row[:7]).all()
    assert np.isnan(row[7:14]).all()
    assert np.isfinite(row[14])
    (late,) = foretold(flat(NOW - HOUR, 9.0, time=time + HOUR), [], NOW, 1, 14)[:, 0]
    assert np.isnan(late[0])
    assert np.isfinite(late[1])


ONE_DAY = np.concatenate([np.full((2, 7), 0.4), np.zeros((2, 41))], axis=1)


@pytest.mark.parametrize(
    ("weights", "words"),
    [
        (None, "is not used yet: too few hours are recorded here to learn what it is worth"),
        (Weights(ONE_DAY, 480, True), "(issued 5 h ago) is not used: it is far from what the sensors"),
        (Weights(ONE_DAY, 239, False), "not used yet: 10 days of forecasts as old as it are kept, 10 are"),
        (
            Weights(ONE_DAY, 240, False),
            "outside (issued 5 h ago) counts for 7 h: 10 days of kept ones helped",
        ),
        (Weights(0.0 * ONE_DAY, 480, False), "is not used: 20 days of kept ones did not help here"),
    ],
)
def test_what_is_said_of_a_forecast(weights: Weights | None, words: str) -> None:
    """How it counts, or why it does not."""
    assert words in remark(flat(NOW - 5 * HOUR, 9.0), NOW, weights)
