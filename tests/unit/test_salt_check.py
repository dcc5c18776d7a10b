"""A chip over saturated salts: when it is at rest, what it shows, and what is corrected from then on."""

import numpy as np
import pytest

from curewatch.errors import OutOfValidity, UsageError
from curewatch.logbook import Entry, Logbook
from curewatch.physics.moist_air import saturation_pressure
from curewatch.physics.saturated_salts import SALTS
from curewatch.readings import Flag, Reading
from curewatch.shed import corrections, salt_check
from curewatch.shed.corrections import Correction
from curewatch.shed.salt_check import CheckOutcome, CorrectionLine, SaltPoint, Samples, Settled, Unsettled
from curewatch.wording import plain_wording

NOW = 1_790_000_000.0


def saturation(kelvin: float) -> float:
    return float(saturation_pressure(kelvin))


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
    assert found.scatter == pytest.approx(0.001 * (10.0 / 9.0) ** 0.5)


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
    with pytest.raises(UsageError, match="Use MgCl2"):
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


def test_every_limit_is_met_just_within_and_missed_just_beyond():
    """How long in the jar, how many readings, how still: each from both sides."""
    steady = [75.0] * 40
    assert isinstance(salt_check.settle(samples(steady), NOW - 1200, NOW), Settled)
    assert salt_check.settle(samples(steady), NOW - 1199, NOW) == Unsettled("in the jar for 20 min of 20")
    five = samples(steady, step=120.0)
    assert salt_check.settle(five, NOW - 3000, NOW) == Settled(NOW - 480, NOW, 5, 291.15, 0.75, 0.0)
    few = salt_check.settle(samples(steady, step=150.0), NOW - 3000, NOW)
    assert few == Unsettled("4 readings in the last 10 min; 5 are needed")
    assert isinstance(salt_check.settle(samples([*steady, 75.39]), NOW - 3000, NOW), Settled)
    moved = salt_check.settle(samples([*steady, 75.41]), NOW - 3000, NOW)
    assert moved == Unsettled("humidity still moves: 0.4 % in 10 min")
    far = salt_check.settle(samples([*[75.0] * 40, 85.0]), NOW - 3000, NOW)
    assert far == Unsettled("humidity still moves: 10.0 % in 10 min")
    assert salt_check.SALT_WET == 24 * 3600
    before_it_went_in = salt_check.settle(samples([*[50.0] * 20, *[75.0] * 21]), NOW - 1200, NOW)
    assert isinstance(before_it_went_in, Settled)


def test_the_uncertainty_of_a_point_has_three_parts():
    """The salt's own, a tenth of a kelvin between salt and chip, and the chip's scatter or its step."""
    still = Settled(NOW - 600, NOW, 4, 291.15, 0.785, 0.0)
    salt, kelvin = SALTS["NaCl"].uncertainty, 0.7554 * (1.0 - saturation(291.15) / saturation(292.15))
    for scatter, chip in ((0.0, 0.0005), (0.01, 0.005)):
        found = salt_check.point("NaCl", still._replace(scatter=scatter)).uncertainty
        assert found == pytest.approx(np.sqrt(salt**2 + (0.1 * kelvin) ** 2 + chip**2), rel=1e-3)


def test_what_follows_turns_at_its_limits():
    """Two uncertainties, a tenth of humidity, slopes of 0.8 and 1.25, salts a fifth apart, thirty days."""
    for off, outcome in ((0.0079, CheckOutcome.RIGHT), (0.0081, CheckOutcome.CORRECTED)):
        assert (
            salt_check.conclude([shown("MgCl2", 0.332, 0.332), shown("NaCl", 0.755 + off, 0.755)])[0]
            is outcome
        )
    just = [shown("MgCl2", 0.25, 0.25), shown("NaCl", 0.765625, 0.75, 0.0078125)]
    assert salt_check.conclude(just)[0] is CheckOutcome.RIGHT
    for off, outcome in ((0.0995, CheckOutcome.SECOND_SALT), (0.1005, CheckOutcome.REPLACE)):
        assert salt_check.conclude([shown("NaCl", 0.755 + off, 0.755)])[0] is outcome
    for low, high, outcome in (
        (0.300, 0.70, CheckOutcome.CORRECTED),  # 1.05
        (0.332, 0.669, CheckOutcome.CORRECTED),  # a gain of 1.248
        (0.332, 0.667, CheckOutcome.REPLACE),  # 1.254
        (0.300, 0.823, CheckOutcome.CORRECTED),  # 0.803
        (0.298, 0.830, CheckOutcome.REPLACE),  # 0.789
    ):
        points = [shown("MgCl2", low, 0.332), shown("NaCl", high, 0.752)]
        assert salt_check.conclude(points)[0] is outcome, (low, high)
    for apart, outcome in ((0.199, CheckOutcome.SECOND_SALT), (0.201, CheckOutcome.CORRECTED)):
        points = [shown("NaCl", 0.785, 0.755), shown("K2SO4", 0.755 + apart, 0.755 + apart)]
        assert salt_check.conclude(points)[0] is outcome
    for days, count in ((29.9, 1), (30.1, 0)):
        assert len(salt_check.together([shown("NaCl", 0.76, 0.755, at=NOW - days * 86400)], NOW)) == count


def test_three_points_count_by_how_sure_each_is():
    """The line goes near the sure two and passes the unsure one by."""
    sure = [shown("MgCl2", 0.342, 0.332, 0.002), shown("KCl", 0.870, 0.850, 0.002)]
    outcome, line = salt_check.conclude([sure[0], shown("NaCl", 0.80, 0.755, 0.05), sure[1]])
    assert (outcome, line is not None) == (CheckOutcome.CORRECTED, True)
    for each in sure:
        assert line.offset + line.gain * each.found == pytest.approx(each.expected, abs=2e-4)


def test_two_side_by_side_are_compared_number_by_number():
    """Means, vapour and twice what two such parts may differ by; five moments within 90 s, and no fewer."""
    one = Samples(NOW + 60.0 * np.arange(5.0), np.full(5, 292.15), np.full(5, 0.62))
    other = Samples(one.time + 90.0, np.full(5, 291.15), np.full(5, 0.60))
    found = salt_check.beside(one, other, (0.3, 0.4), (0.018, 0.024))
    assert isinstance(found, salt_check.Beside)
    assert (found.pairs, found.temperature_allowed) == (5, pytest.approx(1.0))
    assert (found.temperature, found.relative_humidity) == (pytest.approx(1.0), pytest.approx(0.02))
    assert found.humidity_allowed == pytest.approx(0.06)
    mine, yours = 0.62 * saturation(292.15), 0.60 * saturation(291.15)
    assert found.vapour_pressure == pytest.approx(2 * (mine - yours) / (mine + yours))
    assert found._replace(temperature=0.99).agree
    assert not found._replace(temperature=1.01).agree
    assert found._replace(temperature=0.0, relative_humidity=-0.0599).agree
    assert not found._replace(temperature=0.0, relative_humidity=-0.0601).agree
    assert found._replace(temperature=0.0, relative_humidity=0.0625, humidity_allowed=0.0625).agree
    assert found._replace(temperature=0.0, relative_humidity=0.9, humidity_allowed=None).agree
    far = Samples(one.time[-1] + 91.0 + np.arange(5.0), *other[1:])
    assert salt_check.beside(one, far, (0.3, 0.4), (None, None)) == Unsettled(
        "they spoke together 0 times; 5 are needed"
    )
    four = Samples(*(column[:4] for column in one))
    assert salt_check.beside(four, other, (0.3, 0.4), (None, None)) == Unsettled(
        "one of them has hardly spoken"
    )


def test_a_moment_is_paired_with_the_nearest_word():
    """Of two words of the other, the nearer one, of two as near the later; the first and the last, too."""
    time = NOW + 600.0 * np.arange(6.0)
    one = Samples(time, np.arange(6.0) + 290.0, np.full(6, 0.5))
    for shift in (-80.0, 80.0):
        other = Samples(time + shift, np.arange(6.0) + 290.0, np.full(6, 0.5))
        found = salt_check.beside(one, other, (0.3, 0.3), (0.02, 0.02))
        assert (found.pairs, found.temperature) == (6, pytest.approx(0.0))
    other = Samples(NOW + 60.0 * np.arange(11.0), np.arange(11.0) + 290.0, np.full(11, 0.5))
    between = Samples(other.time[:-1] + 30.0, other.temperature[1:], np.full(10, 0.5))
    assert salt_check.beside(between, other, (0.3, 0.3), (0.02, 0.02)).temperature == 0.0


def test_what_lies_on_a_limit_is_within_it(monkeypatch):
    """A jar that moved by 0.3 K or 0.4 %, a point of thirty days, a chip off by a tenth, two that differ so.

    Salts a fifth apart, and slopes of 0.8 and 1.25.
    """
    for wet, rests in ((0.4, True), (0.41, False)):
        told = samples([0.0, wet] * 20)
        assert isinstance(salt_check.settle(told, NOW - 3000, NOW), Settled) == rests
    fifth = [shown("MgCl2", 0.30, 0.25), shown("NaCl", 0.50, 0.45)]
    assert fifth[1].expected - fifth[0].expected == 0.2
    for gain, outcome in (
        *((0.8, CheckOutcome.CORRECTED), (0.79, CheckOutcome.REPLACE)),
        *((1.25, CheckOutcome.CORRECTED), (1.26, CheckOutcome.REPLACE)),
    ):
        monkeypatch.setattr(salt_check, "_line", lambda _, gain=gain: CorrectionLine(0.0, gain))
        assert salt_check.conclude(fifth)[0] is outcome
    for moved, rests in ((0.3, True), (0.35, False)):
        told = samples([75.0] * 40)._replace(temperature=np.where(np.arange(40) % 2, moved, 0.0))
        assert isinstance(salt_check.settle(told, NOW - 3000, NOW), Settled) == rests
    month = [shown("NaCl", 0.75, 0.75, at=NOW - 30 * 86400.0)]
    assert salt_check.together(month, NOW) == month
    assert salt_check.together(month, NOW + 1.0) == []
    for found, outcome in ((0.1, CheckOutcome.SECOND_SALT), (0.101, CheckOutcome.REPLACE)):
        assert salt_check.conclude([shown("NaCl", found, 0.0)]) == (outcome, None)
    pair = salt_check.Beside(5, 0.5, 0.02, None, 0.5, 0.02)
    for changed, agree in (
        ({}, True),
        ({"temperature": -0.51}, False),
        ({"relative_humidity": -0.021}, False),
        ({"relative_humidity": 0.0}, True),
        ({"humidity_allowed": 0.0}, False),
    ):
        assert pair._replace(**changed).agree == agree


def test_a_kelvin_between_salt_and_chip_costs_what_the_vapour_loses():
    """The same vapour at a chip one kelvin warmer; and the minutes in the jar are rounded."""
    share = 1.0 - saturation(291.15) / saturation(292.15)
    assert salt_check._cost_of_a_kelvin(0.75, 291.15) == pytest.approx(0.75 * share, rel=1e-9)
    found = salt_check.settle(samples([75.0] * 30), NOW - 1175.0, NOW)
    assert found == Unsettled("in the jar for 20 min of 20")
