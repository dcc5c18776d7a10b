"""What cannot be true is refused; what is strange is kept with a flag."""

import random
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from curewatch.logbook import Logbook
from curewatch.readings import Flag, Reading, Rejected
from curewatch.wire import plausibility
from curewatch.wire.plausibility import CLOCK_SET, MOST_SENSORS, RECENT, Plausibility
from curewatch.wire.reasons import Reason

NOW = 1_790_000_000.0


def reading(
    temperature_c: float | None = 12.0,
    humidity_percent: float | None = 80.0,
    *,
    time: float = NOW,
    received: float | None = None,
    flags: int = 0,
    sensor: str = "bench",
    carbon_dioxide: float | None = None,
) -> Reading:
    return Reading(
        sensor,
        time,
        time if received is None else received,
        None if temperature_c is None else temperature_c + 273.15,
        None if humidity_percent is None else humidity_percent / 100.0,
        carbon_dioxide,
        None,
        flags,
    )


@pytest.mark.parametrize(
    ("strange", "reason"),
    [
        (reading(-40.1), Reason.TEMPERATURE),
        (reading(150.0), Reason.TEMPERATURE),
        (reading(61.0, 80.0), Reason.FAHRENHEIT),
        (reading(85.0, None), Reason.PROBE),
        (reading(-127.0, None), Reason.PROBE),
        (reading(85.06, None), Reason.FAHRENHEIT),
        (reading(85.0, 40.0), Reason.FAHRENHEIT),
        (reading(80.9, 12.5), Reason.SWAPPED),
        (reading(12.0, 102.1), Reason.HUMIDITY),
        (reading(12.0, -0.1), Reason.HUMIDITY),
        (reading(12.0, 0.0), Reason.HUMIDITY),
        (reading(12.0, 3.0), Reason.HUMIDITY),
        (reading(50.0, 0.0), Reason.HUMIDITY),
        (reading(12.0, 0.8), Reason.FRACTION),
        (reading(carbon_dioxide=0.101), Reason.CARBON_DIOXIDE),
        (reading(carbon_dioxide=-1e-6), Reason.CARBON_DIOXIDE),
        (reading(time=12_345.0, received=NOW), Reason.CLOCK_UNSET),
        (reading(time=NOW + 121, received=NOW), Reason.CLOCK_AHEAD),
        (reading(time=NOW - 8 * 86400, received=NOW), Reason.CLOCK_BEHIND),
    ],
)
def test_the_impossible_is_refused_with_its_reason(strange, reason):
    """A value or a stamp outside the window says which one it is."""
    for earlier in (False, True):
        checks = Plausibility()
        if earlier:
            checks.check(reading(time=NOW - 9 * 86400))
        event = checks.check(strange, b"raw", "usb")
        assert event == Rejected(reason, b"raw", strange.received, "usb", "bench")


@pytest.mark.parametrize(
    "limit",
    [
        *(reading(-40.0), reading(60.0), reading(12.0, 5.0), reading(40.0, 1.1), reading(12.0, 100.0)),
        *(reading(carbon_dioxide=0.0), reading(carbon_dioxide=0.1)),
    ],
)
def test_the_edges_of_the_window_are_believed(limit):
    """A limit belongs to what is allowed."""
    assert Plausibility().check(limit) == limit


def test_a_stamp_of_a_week_ago_is_late_and_believed():
    """A second more it is of a clock that is behind."""
    week = 7 * 86400.0
    assert Plausibility().check(reading(time=NOW - week, received=NOW)).flags == Flag.LATE
    assert Plausibility().check(reading(time=NOW - week - 1.0, received=NOW)).reason == Reason.CLOCK_BEHIND


def test_another_value_for_a_known_moment_is_a_conflict_until_it_is_late():
    """Then it is of a clock that was set back."""
    for received, reason in ((NOW + 600.0, Reason.CONFLICT), (NOW + 601.0, Reason.CLOCK_BEHIND)):
        checks = Plausibility()
        checks.check(reading(12.0))
        checks.check(reading(12.0, time=NOW + 60.0))
        assert checks.check(reading(12.7, received=received)).reason == reason


def test_a_humidity_that_comes_alone_leaves_the_jump_of_a_temperature_to_be_seen():
    """It has a place of its own."""
    checks = Plausibility()
    checks.check(reading(12.0))
    assert checks.check(reading(None, 80.0, time=NOW + 30.0)).flags == 0
    assert checks.check(reading(17.0, time=NOW + 60.0)).flags == Flag.JUMP


def test_nothing_can_have_jumped_where_it_is_missing_before_or_now():
    """And a change that is just as large as allowed is none."""
    checks, before = Plausibility(), reading()._replace(temperature=280.0, relative_humidity=0.25)
    after = before._replace(time=NOW + 60.0)
    for name, just in (("temperature", 284.0), ("relative_humidity", 0.45)):
        assert checks._jump(after._replace(**{name: just}), before) == 0
        assert checks._jump(after._replace(**{name: just + 1e-9}), before) == Flag.JUMP
        lacks, lacked = (each._replace(**{name: None}) for each in (after, before))
        assert checks._jump(lacks, before) == checks._jump(after, lacked) == 0


@pytest.mark.parametrize(
    ("time", "newest", "flags", "stamp"),
    [
        (0.002, 0.0, 0, None),
        (0.0021, 0.0, 0, 0.0021),
        (0.002, 0.0, int(Flag.ARRIVAL_TIME), 0.002),
        (0.0004, 0.0, int(Flag.ARRIVAL_TIME), 0.001),
    ],
)
def test_stamps_that_may_fall_into_one_millisecond_are_looked_at_closer(
    time: float, newest: float, flags: int, stamp: float | None
):
    """Two milliseconds apart and less; ours are pushed."""
    assert plausibility._kept_apart(time, newest, flags) == stamp


def test_a_wet_chip_is_clamped_with_a_flag():
    """Between 100 and 102 % the chip is wet: 100 % is taken, and said."""
    event = Plausibility().check(reading(12.0, 101.3))
    assert event.relative_humidity == 1.0
    assert event.flags == Flag.CLAMPED


def test_a_jump_is_kept_with_a_flag_and_a_slow_change_is_not_one():
    """Four kelvin in a minute is a jump; four kelvin in an hour is weather."""
    checks = Plausibility()
    checks.check(reading(12.0))
    assert checks.check(reading(17.0, time=NOW + 60)).flags == Flag.JUMP
    assert checks.check(reading(13.0, time=NOW + 3660)).flags == 0
    assert checks.check(reading(13.0, 60.0, time=NOW + 3720)).flags == Flag.JUMP


@pytest.mark.parametrize(
    ("before", "after", "flags"),
    [
        (reading(12.0), reading(15.0, time=NOW + 1), 0),
        (reading(12.0), reading(15.5, time=NOW + 1), Flag.JUMP),
        (reading(12.0), reading(24.9, time=NOW + 600), 0),
        (reading(12.0), reading(25.1, time=NOW + 600), Flag.JUMP),
        (reading(12.0), reading(12.0, 56.0, time=NOW + 120), 0),
        (reading(12.0), reading(12.0, 54.0, time=NOW + 120), Flag.JUMP),
    ],
)
def test_a_jump_is_three_kelvin_or_fifteen_per_cent_beside_what_time_allows(before, after, flags):
    """A kelvin and five per cent more a minute."""
    checks = Plausibility()
    checks.check(before)
    assert checks.check(after).flags == flags


def test_reports_that_count_upwards_are_no_repetition():
    """With a quantity that not every chip has, too."""
    checks = Plausibility()
    for number in range(3):
        one = reading(carbon_dioxide=4e-4, time=NOW + 60 * number)._replace(sequence=number)
        assert checks.check(one) == one


def test_the_last_sixty_four_readings_are_known_again():
    """Of sixty-five the first may come twice, and no other."""
    checks = Plausibility()
    told = [reading(12.0 + place / 100, time=NOW + 60 * place) for place in range(65)]
    assert all(checks.check(one) == one for one in told)
    assert checks.check(told[1]).reason == Reason.DUPLICATE
    assert checks.check(told[64]).reason == Reason.DUPLICATE
    assert checks.check(told[0]).time == NOW


def test_a_word_for_the_moment_of_the_newest_is_late_where_that_is_no_more_among_the_last():
    """After 64 late ones. It is no jump, and the next reading is judged by the newest all the same."""
    checks = Plausibility()
    checks.check(reading(12.0))
    for place in range(1, RECENT + 1):
        late = reading(12.0, time=NOW - place, received=NOW + 1.0)
        assert checks.check(late).flags == Flag.LATE
    assert checks.check(reading(30.0, received=NOW + 1.0)).flags == Flag.LATE
    assert checks.check(reading(12.1, time=NOW + 1.0)).flags == 0


def test_sixty_degrees_is_no_fahrenheit():
    """A range that believes less may ask what it is."""
    assert plausibility._why_temperature(273.15 + 60.0, None) == Reason.TEMPERATURE


def test_stamps_of_ours_are_pushed_ahead_by_a_millisecond_for_less_than_a_second():
    """A whole second back, our own clock went back; what a broker held back, by a whole minute."""
    stamped = Flag.ARRIVAL_TIME
    held = stamped | Flag.BACKLOG
    for back, time, flags in ((59.5, NOW + 0.001, held), (60.0, NOW - 60.0, held | Flag.CLOCK_DOUBT)):
        checks = Plausibility()
        checks.check(reading(time=NOW, flags=held))
        found = checks.check(reading(13.0, time=NOW - back, flags=held))
        assert (round(found.time, 3), found.flags) == (round(time, 3), flags)
    for back, time, flags in ((0.0, NOW + 0.001, stamped), (0.5, NOW + 0.001, stamped),
                              (1.0, NOW - 1.0, stamped | Flag.CLOCK_DOUBT)):  # fmt: skip
        checks = Plausibility()
        checks.check(reading(time=NOW, flags=stamped))
        found = checks.check(reading(13.0, time=NOW - back, flags=stamped))
        assert (round(found.time, 3), found.flags) == (round(time, 3), flags)


def test_fields_that_change_places_are_noticed():
    """When temperature takes the humidity's last value and humidity the temperature's, they were swapped."""
    checks = Plausibility()
    checks.check(reading(15.0, 55.0))
    assert checks.check(reading(55.0, 15.0, time=NOW + 60)).reason == Reason.SWAPPED
    assert checks.check(reading(15.1, 55.0, time=NOW + 120)).flags == 0


def test_a_stamped_duplicate_is_refused_and_a_conflict_is_called_one():
    """A message delivered twice counts once; two values for one moment are two devices with one name."""
    checks = Plausibility()
    checks.check(reading(12.0))
    checks.check(reading(12.1, time=NOW + 60))
    assert checks.check(reading(12.1, time=NOW + 60)).reason == Reason.DUPLICATE
    assert checks.check(reading(12.0)).reason == Reason.DUPLICATE
    assert checks.check(reading(12.7)).reason == Reason.CONFLICT


def test_a_late_delivery_is_kept_flagged_and_does_not_disturb_the_newest():
    """A backlog that comes after a newer reading is no jump, and the next reading is judged by the newest."""
    checks = Plausibility()
    checks.check(reading(12.0))
    late = checks.check(reading(2.0, time=NOW - 30, received=NOW + 5))
    assert late.flags == Flag.LATE
    assert checks.check(reading(12.1, time=NOW + 60)).flags == 0
    assert checks.check(reading(12.1, time=NOW + 61, received=NOW + 3000)).flags == Flag.LATE


def test_several_reports_in_one_read_are_kept_apart():
    """Boards without a clock: three lines in one read are three readings, a millisecond apart."""
    checks = Plausibility()
    times = [checks.check(reading(12.0, flags=Flag.ARRIVAL_TIME)).time for _ in range(3)]
    assert times == [NOW, pytest.approx(NOW + 0.001), pytest.approx(NOW + 0.002)]


def test_two_lines_in_one_read_that_give_an_age_are_two_readings():
    """A daemon that was held up reads two reports at once; both say "now", and neither is lost."""
    checks = Plausibility()
    for number in range(3):
        event = checks.check(reading(12.0 + number / 10, flags=Flag.AGE_GIVEN)._replace(sequence=number))
        assert event.time == pytest.approx(NOW + number / 1000)


@pytest.mark.parametrize("flag", [Flag.ARRIVAL_TIME, Flag.AGE_GIVEN])
@pytest.mark.parametrize("apart", [0.0, 1e-5, 2e-4, 0.0009, 0.001])
def test_equal_reports_are_kept_apart_however_they_are_read(apart: float, flag: Flag, tmp_path: Path):
    """Over TLS each record is a read of its own, fractions of a millisecond apart: all are rows."""
    checks = Plausibility()
    said = [reading(time=NOW + number * apart, flags=flag) for number in range(500)]
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        assert logbook.append([checks.check(each) for each in said]) == 500


def test_what_a_broker_held_back_leaves_live_reports_alone():
    """A night of it in one read: kept apart; the live one behind it is no jump, and keeps its time."""
    checks = Plausibility()
    kept = Flag.ARRIVAL_TIME | Flag.BACKLOG
    times = [checks.check(reading(9.0, flags=kept)).time for _ in range(5000)]
    assert len({round(time * 1000) for time in times}) == 5000
    live = checks.check(reading(19.0, time=NOW + 0.5, flags=Flag.ARRIVAL_TIME))
    assert live == reading(19.0, time=NOW + 0.5, flags=Flag.ARRIVAL_TIME)


def test_an_undated_row_hides_no_dated_one(tmp_path: Path):
    """The same values under the same stamp: what is of now is stored all the same, in either order."""
    kept = reading(flags=Flag.ARRIVAL_TIME | Flag.BACKLOG)
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        assert logbook.append([kept, reading(flags=Flag.ARRIVAL_TIME), kept]) == 2


def test_a_numbered_report_that_comes_twice_counts_once():
    """Over the cable and over the broker, or again after a lost confirmation: the number tells."""
    checks = Plausibility()
    first = reading(12.0, flags=Flag.AGE_GIVEN)._replace(sequence=7)
    checks.check(first)
    assert checks.check(first._replace(time=NOW + 1.2)).reason == Reason.DUPLICATE
    checks.check(reading(12.1, time=NOW + 60, flags=Flag.AGE_GIVEN)._replace(sequence=8))
    assert checks.check(first._replace(time=NOW - 1.0)).reason == Reason.DUPLICATE
    again = checks.check(first._replace(time=NOW + 3600.0, received=NOW + 3600.0))
    assert isinstance(again, Reading)


def test_a_numbered_report_comes_again_behind_a_newer_one():
    """The slower way brings number 7 after number 8 has come."""
    checks = Plausibility()
    seventh, eighth = (
        reading(12.0 + number / 10, time=NOW + number, flags=Flag.ARRIVAL_TIME)._replace(sequence=number)
        for number in (7, 8)
    )
    assert [checks.check(each).sequence for each in (seventh, eighth)] == [7, 8]
    again = seventh._replace(time=NOW + 9.0, received=NOW + 9.0)
    assert checks.check(again).reason == Reason.DUPLICATE


def test_when_our_own_clock_goes_back_the_stamp_is_doubted():
    """An arrival before the last arrival: it is our clock that moved."""
    checks = Plausibility()
    checks.check(reading(12.0, flags=Flag.ARRIVAL_TIME))
    back = checks.check(reading(12.0, time=NOW - 3600, flags=Flag.ARRIVAL_TIME))
    assert back.flags == Flag.ARRIVAL_TIME | Flag.CLOCK_DOUBT
    after = checks.check(reading(12.0, time=NOW - 3540, flags=Flag.ARRIVAL_TIME))
    assert after.flags == Flag.ARRIVAL_TIME


@pytest.mark.parametrize("missing", ["temperature", "relative_humidity"])
def test_fields_cannot_have_changed_places_where_one_is_missing(missing: str):
    """Now, in the reading before, or in both; with both there the same numbers have."""
    before, now = reading(12.0, 80.0), reading(80.0, 12.0)
    assert plausibility._exchanged(now, before)
    lacks, lacked = (each._replace(**{missing: None}) for each in (now, before))
    for pair in ((lacks, before), (now, lacked), (lacks, lacked)):
        assert not plausibility._exchanged(*pair)


def test_in_the_very_moment_in_which_a_clock_counts_as_set_it_is_believed():
    """A second earlier it is not. Then a stamp from before it is one of a clock never set."""
    unset = Plausibility().check(reading(time=CLOCK_SET - 1.0, received=CLOCK_SET))
    assert unset.reason == Reason.CLOCK_UNSET
    for received, flags in ((CLOCK_SET, 0), (CLOCK_SET - 1.0, Flag.CLOCK_DOUBT)):
        assert Plausibility().check(reading(time=received, received=received)).flags == flags


def test_before_our_own_clock_is_set_no_stamp_can_be_judged():
    """A machine without a battery-backed clock starts in 1970: readings are kept, and doubted."""
    event = Plausibility().check(reading(time=NOW, received=100.0))
    assert event.flags == Flag.CLOCK_DOUBT
    unstamped = Plausibility().check(reading(time=100.0, received=100.0, flags=Flag.ARRIVAL_TIME))
    assert unstamped.flags == Flag.ARRIVAL_TIME | Flag.CLOCK_DOUBT
    assert CLOCK_SET > 100.0


def test_a_flood_of_names_cannot_fill_the_memory():
    """The number of sensors that are remembered is bounded, and so is what is remembered of each."""
    checks = Plausibility()
    for index in range(MOST_SENSORS + 50):
        checks.check(reading(sensor=f"s{index}"))
    assert len(checks._lasts) == MOST_SENSORS == 1024
    for index in range(RECENT * 3):
        checks.check(reading(12.0, time=NOW + index, sensor="one"))
    assert len(checks._lasts["one"].recent) == RECENT


@given(
    st.lists(
        st.tuples(
            st.one_of(st.none(), st.floats(-60, 160)),
            st.one_of(st.none(), st.floats(-10, 130)),
            st.integers(-700_000, 700_000),
            st.sampled_from([0, int(Flag.ARRIVAL_TIME)]),
        ),
        max_size=30,
    )
)
def test_what_is_kept_is_within_the_window_whatever_comes(reports):
    """No order of readings lets one outside the window through, and none raises."""
    checks = Plausibility()
    for temperature_c, humidity_percent, shift, flags in reports:
        event = checks.check(
            reading(
                temperature_c, humidity_percent, time=NOW + shift, received=NOW + max(shift, 0), flags=flags
            )
        )
        if isinstance(event, Reading):
            assert event.temperature is None or -40.0 <= event.temperature - 273.15 <= 60.0
            assert event.relative_humidity is None or 0.0 < event.relative_humidity <= 1.0


def test_swapped_fields_are_known_while_the_last_good_reading_is_fresh():
    """Refused for an hour, also when no difference is a jump any more; a tent heated overnight is taken."""
    plausibility = Plausibility()
    assert isinstance(plausibility.check(reading(18.0, 44.0)), Reading)
    for minutes in (1, 20, 59):
        swapped = plausibility.check(reading(44.5, 18.5, time=NOW + 60 * minutes))
        assert isinstance(swapped, Rejected)
        assert swapped.reason == Reason.SWAPPED
    assert isinstance(plausibility.check(reading(42.0, 20.0, time=NOW + 8 * 3600)), Reading)


@pytest.mark.parametrize(("after", "reason"), [(3600.0, Reason.SWAPPED), (3601.0, None)])
def test_after_an_hour_the_air_itself_may_have_gone_there(after: float, reason: Reason | None):
    """Fields that change places are known for an hour, from the last reading."""
    checks = Plausibility()
    checks.check(reading(15.0, 55.0))
    assert getattr(checks.check(reading(55.0, 15.0, time=NOW + after)), "reason", None) == reason


@pytest.mark.parametrize(
    ("now", "seconds", "swapped"),
    [
        ((57.9, 15.0), 1.0, True),
        ((58.1, 15.0), 1.0, False),
        ((55.0, 12.1), 1.0, True),
        ((55.0, 11.9), 1.0, False),
        ((59.9, 15.0), 3600.0, True),
        ((60.0, 15.0), 700.0, False),
        ((26.0, 55.0), 1.0, False),
        ((55.0, 55.0), 1.0, False),
        ((16.0, 15.0), 1.0, False),
    ],
)
def test_fields_have_changed_places_where_both_come_near_and_temperature_goes_far(
    now: tuple[float, float], seconds: float, swapped: bool
):
    """After 15 degC and 55 %: within 3 of each other at once, 5 in an hour. One of both alone is a jump."""
    checks = Plausibility()
    checks.check(reading(15.0, 55.0))
    found = checks.check(reading(*now, time=NOW + seconds))
    assert (found.reason == Reason.SWAPPED) if swapped else (found.flags == Flag.JUMP)


@pytest.mark.parametrize(
    ("before", "now", "seconds", "swapped"),
    [
        ((25.0, 50.0), (52.5, 25.0), 0.0, True),
        ((25.0, 50.0), (53.0, 25.0), 0.0, False),
        ((28.0, 50.0), (50.0, 25.0), 0.0, False),
        ((25.0, 37.5), (35.0, 25.0), 0.0, False),
        ((25.0, 37.5), (36.5, 25.0), 0.0, True),
        ((25.0, 50.0), (53.9, 25.0), 360.0, True),
        ((25.0, 50.0), (55.5, 25.0), 3600.0, False),
    ],
)
def test_fields_have_changed_places_within_limits_that_are_not_reached(
    before: tuple[float, float], now: tuple[float, float], seconds: float, swapped: bool
):
    """Within 3 of each other at once, 4 after six minutes, 5 after an hour; further than ten kelvin."""
    assert plausibility._exchanged(reading(*now, time=NOW + seconds), reading(*before)) == swapped


def test_where_both_have_the_same_number_nothing_can_have_changed_places():
    """Twenty degrees and 24 %, then the other way about: less than ten kelvin, and air can do that."""
    checks = Plausibility()
    checks.check(reading(20.0, 24.0))
    assert isinstance(checks.check(reading(24.0, 20.0, time=NOW + 60)), Reading)


def test_a_swapped_first_message_is_told_from_fahrenheit_by_its_humidity():
    """Above 60 degC with a humidity from -40 to 35 %: a temperature stands there."""
    for celsius, humidity, reason in (
        (60.1, -40.0, Reason.SWAPPED),
        (102.0, 35.0, Reason.SWAPPED),
        (80.0, -40.1, Reason.FAHRENHEIT),
        (80.0, 35.1, Reason.FAHRENHEIT),
        (102.1, 20.0, Reason.FAHRENHEIT),
        (140.0, 50.0, Reason.FAHRENHEIT),
        (140.1, 50.0, Reason.TEMPERATURE),
    ):
        assert Plausibility().check(reading(celsius, humidity)).reason == reason, (celsius, humidity)


def test_one_report_by_two_ways_is_stamped_within_five_seconds():
    """The same number and values: one report; further apart a board counts anew."""
    for apart, kept in ((5.0, False), (5.1, True)):
        checks = Plausibility()
        checks.check(reading(time=NOW)._replace(sequence=7))
        again = checks.check(reading(time=NOW + apart)._replace(sequence=7))
        assert isinstance(again, Reading) == kept, apart


def test_what_was_not_stored_is_forgotten_and_what_was_stays():
    """Taken back, it may come again as new, of a new sensor and of a known one; kept, it is a repeat."""
    for known in (False, True):
        checks = Plausibility()
        if known:
            checks.check(reading(11.9, time=NOW - 60))
        for again in (Reading, Rejected):
            checks.begin()
            assert isinstance(checks.check(reading()), Reading)
            checks.take_back() if again is Reading else checks.keep()
            checks.begin()
            assert isinstance(checks.check(reading()), again)
            checks.take_back()
        if known:
            assert checks.check(reading(11.9, time=NOW - 60)).reason == Reason.DUPLICATE


def test_a_late_reading_is_remembered_like_any_other():
    """Delivered twice behind a newer one, it counts once."""
    checks = Plausibility()
    checks.check(reading())
    late = reading(11.0, time=NOW - 300, received=NOW + 1)
    assert isinstance(checks.check(late), Reading)
    assert checks.check(late).reason == Reason.DUPLICATE


def test_a_jump_is_further_than_allowed_and_not_just_as_far():
    """In temperature up and down, and in humidity; an unnumbered board that begins to count loses nothing."""
    window = Plausibility().window
    for change in (1.0, -1.0):
        for part, flag in ((0.999, 0), (1.001, int(Flag.JUMP))):
            checks = Plausibility()
            checks.check(reading(10.0, 50.0))
            warm = 10.0 + change * part * (window.jump_temperature + window.jump_temperature_rate * 60.0)
            assert checks.check(reading(warm, 50.0, time=NOW + 60)).flags == flag, (change, part)
            checks = Plausibility()
            checks.check(reading(10.0, 50.0))
            wet = 50.0 + change * part * 100.0 * (window.jump_humidity + window.jump_humidity_rate * 60.0)
            assert checks.check(reading(10.0, wet, time=NOW + 60)).flags == flag, (change, part)
    checks = Plausibility()
    checks.check(reading())
    assert isinstance(checks.check(reading(time=NOW + 1)._replace(sequence=0)), Reading)
    assert checks.check(reading(time=NOW + 2)._replace(sequence=0)).reason == Reason.DUPLICATE


@pytest.mark.parametrize(
    ("pressure", "kept"), [(79_999.0, None), (80_000.0, 80_000.0), (110_000.0, 110_000.0), (110_001.0, None)]
)
def test_a_pressure_of_no_place_on_the_ground_is_left_out(pressure: float, kept: float | None):
    """The rest of the reading counts, of the first one and of those that follow."""
    checks = Plausibility()
    for number in range(3):
        found = checks.check(reading(time=NOW + 60 * number)._replace(pressure=pressure))
        assert (found.pressure, found.temperature) == (kept, 285.15)


EVEN = reading(time=NOW)._replace(temperature=280.0, relative_humidity=0.15)  # so that differences are exact
USUAL = {
    "the same": {},
    "warmer by a jump": {"temperature": 283.0},
    "colder by a jump": {"temperature": 277.0},
    "wetter by a jump": {"relative_humidity": 0.30},
    "with a pressure": {"pressure": 101_325.0},
    "numbered": {"sequence": 0},
    "ahead of arrival": {"received": NOW - 60.0},
    "almost late": {"received": NOW + 660.0},
    "stamped by us": {"flags": int(Flag.ARRIVAL_TIME)},
    "in the same moment, stamped by us": {"flags": int(Flag.AGE_GIVEN), "time": NOW},
}


@pytest.mark.parametrize("change", USUAL.values(), ids=USUAL)
def test_a_usual_report_is_judged_in_one_go(change: dict[str, float], monkeypatch: pytest.MonkeyPatch):
    """Thousands may come in a second: nothing that needs no flag is looked at again, up to the limits."""
    checks = Plausibility()
    checks.check(EVEN)
    late = checks.window.late, checks.window.ahead
    assert late == (600.0, 120.0)
    monkeypatch.delattr(Plausibility, "_judge")
    found = checks.check(EVEN._replace(**{"time": NOW + 60.0, "received": NOW + 60.0, **change}))
    assert isinstance(found, Reading)
    with pytest.raises(AttributeError, match="_judge"):  # the control: this one needs a flag
        checks.check(EVEN._replace(time=NOW + 120.0, temperature=290.0))


@pytest.mark.parametrize("limit", [273.15 - 40.0, 333.15])
def test_what_is_judged_in_one_go_reaches_to_the_edge_of_what_is_believed(limit: float, monkeypatch):
    """The coldest and the warmest, the driest and the wettest; a jump drier; as soon as our clock is set."""
    checks = Plausibility()
    wetter = EVEN._replace(relative_humidity=0.30, sensor="drier")
    unset = EVEN._replace(time=CLOCK_SET - 60.0, received=CLOCK_SET - 60.0, sensor="set")
    for first in (wetter, unset):
        checks.check(first)
        with monkeypatch.context() as patched:
            patched.delattr(Plausibility, "_judge")
            second = first._replace(time=first.time + 60.0, received=first.received + 60.0)
            assert isinstance(checks.check(second._replace(relative_humidity=0.15)), Reading)
    driest = checks.window.humidity_lowest
    for humidity in (driest, 1.0):
        first = EVEN._replace(temperature=limit, relative_humidity=humidity, sensor=f"at {humidity}")
        checks.check(first)
        with monkeypatch.context() as patched:
            patched.delattr(Plausibility, "_judge")
            assert isinstance(checks.check(first._replace(time=NOW + 60, received=NOW + 60)), Reading)


def test_what_is_judged_in_one_go_is_judged_as_in_every_other_case():
    """With every reading looked at closely the answers are the same, and so is what is remembered."""
    quick, close, drawn = Plausibility(), Plausibility(), random.Random(5)
    close._usual = (1e9, *close._usual[1:])  # nothing is usual

    def mostly(usual: Any, *strange: Any) -> Any:
        return usual if drawn.random() < 0.85 else drawn.choice(strange)

    now = NOW
    for number in range(2000):
        now += mostly(60.0, -700.0, -60.0, 0.0, 0.0004, 0.5, 200.0)
        told = reading(
            mostly(15.0, None, -50.0, -40.0, 12.0, 18.0, 19.1, 60.0, 70.0),
            mostly(60.0, None, 0.8, 3.0, 5.0, 45.0, 75.0, 81.0, 100.0, 101.0, 103.0),
            time=now,
            received=now + mostly(0.0, -130.0, -120.0, 600.0, 601.0),
            flags=mostly(0, int(Flag.ARRIVAL_TIME), int(Flag.AGE_GIVEN | Flag.BACKLOG)),
            carbon_dioxide=mostly(None, 4e-4, 0.2),
        )._replace(sequence=mostly(None, number, number - 1), pressure=mostly(None, 101_325.0, 7e4))
        assert quick.check(told) == close.check(told)
    remembered = [
        {place: (last.newest, last.highest, [*last.recent]) for place, last in checks._lasts.items()}
        for checks in (quick, close)
    ]
    assert remembered[0] == remembered[1]
