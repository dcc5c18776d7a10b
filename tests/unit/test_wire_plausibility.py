"""What cannot be true is refused; what is strange is kept with a flag."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from curewatch.logbook import Logbook
from curewatch.readings import Flag, Reading, Rejected
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
        (reading(80.9, 12.5), Reason.SWAPPED),
        (reading(12.0, 102.1), Reason.HUMIDITY),
        (reading(12.0, -0.1), Reason.HUMIDITY),
        (reading(12.0, 0.0), Reason.HUMIDITY),
        (reading(carbon_dioxide=0.2), Reason.CARBON_DIOXIDE),
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
    "limit", [reading(-40.0), reading(60.0), reading(12.0, 5.0), reading(40.0, 1.1), reading(12.0, 100.0)]
)
def test_the_edges_of_the_window_are_believed(limit):
    """A limit belongs to what is allowed."""
    assert Plausibility().check(limit) == limit


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


def test_when_our_own_clock_goes_back_the_stamp_is_doubted():
    """An arrival before the last arrival: it is our clock that moved."""
    checks = Plausibility()
    checks.check(reading(12.0, flags=Flag.ARRIVAL_TIME))
    back = checks.check(reading(12.0, time=NOW - 3600, flags=Flag.ARRIVAL_TIME))
    assert back.flags == Flag.ARRIVAL_TIME | Flag.CLOCK_DOUBT
    after = checks.check(reading(12.0, time=NOW - 3540, flags=Flag.ARRIVAL_TIME))
    assert after.flags == Flag.ARRIVAL_TIME


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
    assert len(checks._lasts) == MOST_SENSORS
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
