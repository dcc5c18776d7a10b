"""A chip over saturated salts: when it is at rest, what it shows, and what is corrected from then on."""

import numpy as np
import pytest

from curewatch.errors import OutOfValidity, UsageError
from curewatch.logbook import Entry, Logbook
from curewatch.readings import Flag, Reading
from curewatch.shed import corrections, salt_check
from curewatch.shed.corrections import Correction
from curewatch.shed.salt_check import CheckOutcome, CorrectionLine, SaltPoint, Samples, Settled, Unsettled
from curewatch.wording import plain_wording

NOW = 1_790_000_000.0


def samples(humidity: list[float], temperature: float = 291.15, step: float = 60.0) -> Samples:
    count = len(humidity)
    time = NOW - step * np.arange(count - 1, -1, -1, dtype=float)
    return Samples(time, np.full(count, temperature), np.array(humidity) / 100.0)


def shown(salt: str, found: float, expected: float, uncertainty: float = 0.004, at: float = NOW) -> SaltPoint:
    return SaltPoint(salt, at, 291.15, expected, found, uncertainty)


def test_a_chip_is_given_its_time_in_the_jar():
    """Before twenty minutes no reading counts, however steady."""
    found = salt_check.settle(samples([75.0] * 30), NOW - 600, NOW)
    assert found == Unsettled("in the jar for 10 min of 20")


@pytest.mark.parametrize(
    ("told", "reason"),
    [
        (samples([75.0] * 3), "3 readings"),
        (samples(list(np.linspace(60, 75, 40))), "humidity still moves"),
        (samples([75.0] * 40)._replace(temperature=np.linspace(285, 291, 40)), "temperature still moves"),
        (samples([float("nan")] * 40), "0 readings"),
    ],
)
def test_a_chip_that_moves_is_not_at_rest(told, reason):
    """A drifting humidity, a warming jar and a silent chip each say what is missing."""
    found = salt_check.settle(told, NOW - 3000, NOW)
    assert isinstance(found, Unsettled)
    assert reason in plain_wording().say(found.reason)


def test_a_chip_at_rest_is_averaged_over_its_last_minutes():
    """The mean of the last ten minutes, not of the way there."""
    found = salt_check.settle(samples([*np.linspace(50, 75, 30), *[75.2, 75.4] * 6]), NOW - 3000, NOW)
    assert isinstance(found, Settled)
    assert found.readings == 10
    assert found.relative_humidity == pytest.approx(0.753)


def test_a_point_says_what_the_salt_holds_and_how_sure_it_is():
    """NaCl at 18 degC holds 75.5 %; a tenth of a kelvin between salt and chip costs half a per cent."""
    settled = Settled(NOW - 600, NOW, 10, 291.15, 0.785, 0.0005)
    point = salt_check.point("NaCl", settled)
    assert point.expected == pytest.approx(0.7554, abs=0.0005)
    assert point.difference == pytest.approx(0.0296, abs=0.0005)
    assert 0.003 < point.uncertainty < 0.008
    with pytest.raises(OutOfValidity):
        salt_check.point("NaCl", settled._replace(temperature=271.0))


def test_lithium_chloride_is_refused_and_why():
    """It changes for good in a cold shed."""
    with pytest.raises(UsageError, match="18 degC"):
        salt_check.known_salt("LiCl")
    with pytest.raises(UsageError, match="allowed: MgCl2"):
        salt_check.known_salt("sugar")
    assert salt_check.known_salt("sodium chloride") == salt_check.known_salt("nacl") == "NaCl"


def test_one_salt_corrects_nothing_and_two_make_a_line_through_both():
    """With the line applied, each point comes out as expected."""
    low, high = shown("MgCl2", 0.343, 0.332), shown("NaCl", 0.785, 0.755)
    assert salt_check.conclude([low]) == (CheckOutcome.SECOND_SALT, None)
    outcome, line = salt_check.conclude([low, high])
    assert outcome is CheckOutcome.CORRECTED
    for point in (low, high):
        assert line.offset + line.gain * point.found == pytest.approx(point.expected)


def test_a_difference_smaller_than_the_check_can_tell_is_left_alone():
    """Twice its uncertainty is what a check can tell."""
    points = [shown("MgCl2", 0.335, 0.332), shown("NaCl", 0.760, 0.755)]
    assert salt_check.conclude(points) == (CheckOutcome.RIGHT, None)


def test_a_chip_far_off_is_not_corrected_but_replaced():
    """Eleven per cent, or a slope no chip has, is damage."""
    assert salt_check.conclude([shown("NaCl", 0.87, 0.755)])[0] is CheckOutcome.REPLACE
    bent = [shown("MgCl2", 0.42, 0.332), shown("NaCl", 0.68, 0.755)]
    assert salt_check.conclude(bent)[0] is CheckOutcome.REPLACE


def test_only_points_of_one_month_and_the_newest_of_each_salt_count():
    """A point of last spring and a point of today are not one check."""
    old = shown("MgCl2", 0.30, 0.332, at=NOW - 40 * 86400)
    twice = [shown("NaCl", 0.70, 0.755, at=NOW - 86400), shown("NaCl", 0.76, 0.755)]
    assert salt_check.together([*twice, old], NOW) == [twice[1]]


def test_points_come_back_from_the_logbook_as_they_went_in():
    """What was kept is what was seen."""
    points = [shown("MgCl2", 0.343, 0.332), shown("NaCl", 0.785, 0.755)]
    told = salt_check.payload("bench", "humidity-2", points, CorrectionLine(0.003, 0.96), NOW)
    assert salt_check.points_of([told]) == points
    assert told["due"] - NOW == 365 * 86400


def test_a_correction_is_applied_from_its_check_on_and_flagged():
    """Readings of before stay as they were; a chip at its upper end may be wet and stays at 100 %."""
    correction = Correction(0.003, 0.96, NOW)
    reading = Reading("bench", NOW + 60, NOW + 60, 291.15, 0.80)
    righted = corrections.corrected(reading, correction)
    assert righted.relative_humidity == pytest.approx(0.771)
    assert righted.flags == Flag.CORRECTED
    assert correction.reported(np.array([0.771]))[0] == pytest.approx(0.80)
    assert corrections.corrected(reading._replace(time=NOW - 1), correction).flags == 0
    assert corrections.corrected(reading._replace(relative_humidity=None), correction).flags == 0
    assert corrections.corrected(reading._replace(relative_humidity=1.0), correction).relative_humidity == 1.0


def test_the_last_check_of_a_sensor_counts(tmp_path):
    """A later check that finds the chip right takes the correction away; a comparison changes nothing."""
    with Logbook(tmp_path / "l.sqlite") as logbook:
        points = [shown("MgCl2", 0.343, 0.332), shown("NaCl", 0.785, 0.755)]
        told = salt_check.payload("bench", "humidity-2", points, CorrectionLine(0.003, 0.96), NOW)
        logbook.write(Entry("sensor-check", told, NOW))
        logbook.write(Entry("sensor-check", {"sensor": "bench", "beside": "yard"}, NOW + 1))
        assert corrections.current(logbook) == {"bench": Correction(0.003, 0.96, NOW)}
        logbook.write(Entry("sensor-check", told | {"correction": None}, NOW + 2))
        assert corrections.current(logbook) == {}


def test_two_sensors_side_by_side_agree_within_their_parts_errors():
    """Half a kelvin and two per cent lie within two good chips' errors; three kelvin do not."""
    one, other = samples([75.0] * 30), samples([73.0] * 30, 291.4)
    found = salt_check.beside(one, other, (0.3, 0.3), (0.02, 0.02))
    assert found.agree
    assert found.pairs == 30
    assert found.temperature == pytest.approx(-0.25)
    assert found.relative_humidity == pytest.approx(0.02)
    apart = salt_check.beside(one, samples([75.0] * 30, 294.15), (0.3, 0.3), (0.02, 0.02))
    assert not apart.agree
    shifted = other._replace(time=other.time - 40.0)
    assert salt_check.beside(one, shifted, (0.3, 0.3), (0.02, 0.02)).pairs >= 29
    never = other._replace(time=other.time - 9000.0)
    assert isinstance(salt_check.beside(one, never, (0.3, 0.3), (0.02, 0.02)), Unsettled)


def test_a_probe_without_humidity_is_compared_by_temperature_alone():
    """A one-wire probe beside a chip."""
    probe = samples([float("nan")] * 30, 291.2)
    found = salt_check.beside(samples([75.0] * 30), probe, (0.3, 0.4), (0.02, None))
    assert found.relative_humidity is None
    assert found.agree
