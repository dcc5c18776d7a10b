"""The situation read from the logbook: every place that can be believed, every trouble that there is."""

import shutil
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from curewatch import configuration
from curewatch.advice.judge.situation import Situation, TroubleKind
from curewatch.logbook import Entry, Logbook
from curewatch.readings import Flag, Reading, Rejected
from curewatch.shed import past_grid, present, recall
from curewatch.wire import Reason

NOW = 1_790_000_000.0
MINUTE = 60.0
HOUR = 3600.0

SETTINGS = configuration.parse(
    '[sensors.bench]\nrole = "air"\npart = "humidity-2"\n[sensors.hull]\nrole = "surface"\npart = "probe"'
)


def _readings(
    sensor: str, minutes: int, until: float = NOW, *, flags: int = 0, temperature: float = 285.0
) -> list[Reading]:
    humidity = None if sensor == "hull" else 0.7
    return [
        Reading(
            sensor,
            until - minute * MINUTE,
            until - minute * MINUTE,
            temperature + 0.01 * (minute % 7),
            humidity,
            flags=flags,
        )
        for minute in reversed(range(minutes))
    ]


@pytest.fixture
def logbook(tmp_path: Path) -> Iterator[Logbook]:
    with Logbook(tmp_path / "logbook.sqlite") as opened:
        yield opened


def _kinds(found: Situation) -> dict[str, TroubleKind]:
    return {trouble.sensor: trouble.kind for trouble in found.troubles}


def test_fresh_sensors_give_places_and_no_trouble(logbook: Logbook) -> None:
    """Each role has its place with the error of its part; the past is on one grid without holes."""
    logbook.append([*_readings("bench", 180), *_readings("hull", 180)])
    found = present.situation(logbook, SETTINGS, NOW + 10)
    assert found.troubles == ()
    assert found.air is not None
    assert found.air.sensor == "bench"
    assert found.air.vapour_pressure == pytest.approx(0.7 * 1390, rel=0.02)
    assert found.surface is not None
    assert found.surface.temperature_sd < 1.0
    assert found.outside is None
    assert np.allclose(np.diff(found.past.time), past_grid.STEP)
    assert np.isfinite(found.past.air_temperature[:-1]).sum() >= 12
    assert np.isnan(found.past.outside_temperature).all()


def test_an_empty_logbook_is_all_trouble(logbook: Logbook) -> None:
    """Nothing ever heard of two configured sensors is two troubles, not an empty success."""
    found = present.situation(logbook, SETTINGS, NOW)
    assert _kinds(found) == {"bench": TroubleKind.NO_READING, "hull": TroubleKind.NO_READING}
    assert found.places() == ()


def test_one_silent_of_two_is_a_trouble(logbook: Logbook) -> None:
    """The other one being fine does not heal it."""
    logbook.append([*_readings("bench", 60), *_readings("hull", 60, NOW - HOUR)])
    found = present.situation(logbook, SETTINGS, NOW)
    assert _kinds(found) == {"hull": TroubleKind.SILENT}
    assert found.surface is not None  # its last word is still shown, with its age


def test_days_of_silence_are_silence_and_not_nothing(logbook: Logbook) -> None:
    """The last word counts however old it is."""
    logbook.append(_readings("bench", 5, NOW - 50 * HOUR))
    found = present.situation(logbook, SETTINGS, NOW)
    assert _kinds(found)["bench"] is TroubleKind.SILENT
    assert found.air is not None
    assert found.age(found.air) == pytest.approx(50 * HOUR)


def test_a_clock_that_was_never_set_is_a_trouble(logbook: Logbook) -> None:
    """Every reading is either ahead of it or doubtful."""
    logbook.append(_readings("bench", 60))
    found = present.situation(logbook, SETTINGS, 5_000.0)
    assert TroubleKind.CLOCK in {trouble.kind for trouble in found.troubles}


def test_a_clock_set_back_is_a_trouble_until_the_sensors_speak(logbook: Logbook) -> None:
    """Stamps that now lie in the future are not fresh; readings after the step are."""
    later = NOW + 5 * HOUR
    logbook.append([*_readings("bench", 30, later), *_readings("hull", 30, later)])
    step = {"step": -5 * HOUR, "before": later, "after": NOW, "begun": later - HOUR}
    logbook.append([], [Entry("clock", step, NOW)])
    found = present.situation(logbook, SETTINGS, NOW + 5)
    assert set(_kinds(found).values()) == {TroubleKind.CLOCK}
    both = [*_readings("bench", 1, NOW + 30), *_readings("hull", 1, NOW + 30)]
    logbook.append(both)
    after = present.situation(logbook, SETTINGS, NOW + 40)
    assert after.troubles == ()
    assert after.air is not None
    assert after.air.time == pytest.approx(NOW + 30)
    logbook.append([*_readings("bench", 1, later - 60), *_readings("hull", 1, later - 60)])
    [mixed] = present.situation(logbook, SETTINGS, later - 60).troubles
    assert "cannot be told apart" in mixed.reason


def test_a_clock_set_forward_is_a_trouble_until_all_have_spoken(logbook: Logbook) -> None:
    """One of two sensors has spoken since the step: still a trouble, and it names the other."""
    logbook.append([*_readings("bench", 60, NOW - 120), *_readings("hull", 60, NOW - 120)])
    logbook.append([], [Entry("clock", {"step": 100.0, "before": NOW - 200, "after": NOW - 100}, NOW - 100)])
    logbook.append(_readings("bench", 1, NOW))
    [trouble] = present.situation(logbook, SETTINGS, NOW).troubles
    assert trouble.kind is TroubleKind.CLOCK
    assert "hull" in trouble.reason
    assert "bench" not in trouble.reason


def test_doubtful_and_kept_readings_are_not_believed(logbook: Logbook) -> None:
    """Stamped by an unset clock, or kept by a broker without a time: neither says anything of now."""
    logbook.append(_readings("bench", 3, flags=int(Flag.CLOCK_DOUBT)))
    logbook.append(_readings("hull", 3, flags=int(Flag.RETAINED | Flag.ARRIVAL_TIME)))
    found = present.situation(logbook, SETTINGS, NOW)
    assert found.places() == ()
    assert set(_kinds(found)) == {"bench", "hull"}


HELD_BACK = [
    Flag.BACKLOG | Flag.ARRIVAL_TIME,
    Flag.BACKLOG | Flag.AGE_GIVEN,
    Flag.RETAINED | Flag.AGE_GIVEN,
]


@pytest.mark.parametrize("flags", HELD_BACK)
def test_what_a_broker_held_back_is_of_unknown_age(logbook: Logbook, flags: Flag) -> None:
    """However new its stamp is: no place, no past, a trouble that says so; until the sensor speaks."""
    logbook.append([*_readings("bench", 180, flags=int(flags)), *_readings("hull", 180)])
    found = present.situation(logbook, SETTINGS, NOW)
    assert found.air is None
    assert np.isnan(found.past.air_temperature).all()
    [trouble] = found.troubles
    assert (trouble.sensor, trouble.kind) == ("bench", TroubleKind.NO_READING)
    assert "held back" in str(trouble)
    assert recall.look_up(logbook, ("bench",), NOW)["bench"].shown is None
    logbook.append(_readings("bench", 1, flags=int(Flag.ARRIVAL_TIME)))
    found = present.situation(logbook, SETTINGS, NOW)
    assert found.troubles == ()
    assert np.isfinite(found.past.air_temperature).sum() == 1


def test_a_message_that_waited_with_its_own_time_counts(logbook: Logbook) -> None:
    """The flag alone says how it came, not that it is old."""
    logbook.append([*_readings("bench", 60, flags=int(Flag.BACKLOG)), *_readings("hull", 60)])
    assert present.situation(logbook, SETTINGS, NOW).troubles == ()


def test_of_two_sensors_of_a_role_the_healthy_one_speaks(logbook: Logbook) -> None:
    """And the broken one remains a trouble."""
    settings = configuration.parse('[sensors.bench]\nrole = "air"\n[sensors.beam]\nrole = "air"')
    logbook.append(_readings("beam", 30, NOW - HOUR / 2))
    logbook.append(_readings("bench", 60, NOW - 60))
    found = present.situation(logbook, settings, NOW)
    assert found.air is not None
    assert found.air.sensor == "bench"
    assert _kinds(found) == {"beam": TroubleKind.SILENT}


def test_without_sensors_in_the_file_names_tell_roles(logbook: Logbook) -> None:
    """The defaults serve whoever has written no configuration."""
    logbook.append([*_readings("bench", 60), *_readings("hull", 60), *_readings("cellar", 60)])
    found = present.situation(logbook, configuration.Configuration(), NOW)
    assert [place.sensor for place in found.places()] == ["bench", "hull"]
    assert found.troubles == ()


def test_a_gap_in_the_past_stays_a_gap(logbook: Logbook) -> None:
    """Two hours without a reading are cells without a number, never a line drawn across."""
    logbook.append([*_readings("bench", 120, NOW - 4 * HOUR), *_readings("bench", 120)])
    past = present.situation(logbook, SETTINGS, NOW).past
    hole = np.isnan(past.air_temperature)
    assert 6 <= hole.sum() <= 9
    assert np.isnan(past.vapour_pressure[hole]).all()


def _rejected(sensor: str, minutes: int, until: float = NOW) -> list[Rejected]:
    return [
        Rejected(Reason.FAHRENHEIT, b"cut", until - minute * MINUTE, "usb", sensor)
        for minute in reversed(range(minutes))
    ]


def test_a_sensor_whose_readings_are_refused_is_implausible_and_not_silent(logbook: Logbook) -> None:
    """It speaks each minute and nothing can be believed: the cable is not what to look at."""
    logbook.append([*_readings("bench", 60, NOW - 30 * MINUTE), *_readings("hull", 90)])
    logbook.append(rejected=_rejected("bench", 30))
    [trouble] = present.situation(logbook, SETTINGS, NOW + 10).troubles
    assert (trouble.sensor, trouble.kind) == ("bench", TroubleKind.IMPLAUSIBLE)
    assert "30 were rejected: looks like Fahrenheit" in trouble.reason
    assert trouble.remedy == "set the device to degC, or name the field temperature_f"


def test_a_sensor_that_is_believed_again_has_no_trouble_left(logbook: Logbook) -> None:
    """Old refusals are still counted, but stand against nobody; a silent one was refused long ago."""
    logbook.append([*_readings("bench", 180), *_readings("hull", 30, NOW - 2 * HOUR)])
    logbook.append(rejected=[*_rejected("bench", 5), *_rejected("hull", 5, NOW - HOUR)])
    found = present.situation(logbook, SETTINGS, NOW + 10)
    assert _kinds(found) == {"hull": TroubleKind.SILENT}
    assert found.rejected == "10 rejected since yesterday: looks like Fahrenheit 10"
    assert present.situation(logbook, SETTINGS, NOW + 30 * HOUR).rejected == ""


def test_a_board_whose_clock_went_back_is_a_trouble_of_its_clock(logbook: Logbook) -> None:
    """Its readings still come, stamped an hour early: not a cable, and the remedy says so."""
    logbook.append([*_readings("hull", 60), *_readings("bench", 60, NOW - 20 * MINUTE)])
    back = [r._replace(received=r.time + 2 * HOUR) for r in _readings("bench", 20, NOW - 2 * HOUR)]
    logbook.append(back)
    [trouble] = present.situation(logbook, SETTINGS, NOW).troubles
    assert (trouble.sensor, trouble.kind) == ("bench", TroubleKind.CLOCK)
    assert "2.0 h behind" in str(trouble.reason)
    assert "board's clock" in trouble.remedy


def test_a_sensor_that_may_speak_under_a_new_name_is_asked_for(logbook: Logbook) -> None:
    """One that nobody configured, and that began as the other fell silent; not one that has always spoken."""
    begun = NOW - 60 * MINUTE
    logbook.append([*_readings("bench", 180), *_readings("hull", 120, begun), *_readings("attic", 180)])
    cable = "check its cable and battery; the verdict comes back with its next reading"
    assert [trouble.remedy for trouble in present.situation(logbook, SETTINGS, NOW).troubles] == [cable]
    logbook.append(_readings("keel", 59))
    assert [trouble.remedy for trouble in present.situation(logbook, SETTINGS, NOW).troubles] == [
        'is keel its new name? Then put address = "keel" below [sensors.hull]; else check its cable'
    ]
    assert [trouble.remedy for trouble in present.situation(logbook, SETTINGS, NOW + HOUR).troubles] == [
        cable,
        cable,
    ]


@pytest.mark.parametrize(
    ("sources", "told", "remedy"),
    [
        ("[mqtt.yard]", {"up": False, "reason": "Connection refused"},
         "see to the broker: yard does not answer (Connection refused)"),
        ("[mqtt.yard]", {"up": True}, "check its power, and what sends it to the broker yard"),
        ('[serial.usb]\nurl = "/dev/x"\nsensor = "bench"\n[mqtt.yard]', {"up": False, "reason": "no answer"},
         "see to the broker: yard does not answer (no answer)"),
        ('[serial.usb]\nurl = "/dev/x"\nsensor = "hull"\n[mqtt.yard]', {"up": False, "reason": "no answer"},
         "check its cable and battery; the verdict comes back with its next reading"),
        ('[serial.yard]\nurl = "/dev/x"', {"up": False, "reason": "No such file or directory"},
         "see to the port: yard does not answer (No such file or directory)"),
    ],
)  # fmt: skip
def test_a_silent_sensor_is_not_blamed_for_what_brings_it(
    logbook: Logbook,
    sources: str,
    told: dict[str, object],
    remedy: str,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """No daemon, a full disk, a broker that does not answer, a sender by radio: no cable mends them.

    A recording tells nothing of a daemon that runs now.
    """
    found = configuration.parse(f'{sources}\n[sensors.bench]\nrole = "air"\n[sensors.hull]\nrole = "surface"')
    logbook.append([*_readings("bench", 180), *_readings("hull", 120, NOW - HOUR)])

    def asked(**given: float) -> str:
        [trouble] = present.situation(logbook, found, NOW, **given).troubles
        assert (trouble.sensor, trouble.kind) == ("hull", TroubleKind.SILENT)
        return trouble.remedy

    assert asked() == "start the daemon: curewatch watch. Without one no reading comes in"
    assert "check its cable and battery" in asked(not_before=0.0)
    logbook.hold("a daemon", NOW)
    logbook.write(Entry("source", {"source": "yard", "up": True}, NOW - 62 * MINUTE))
    logbook.write(Entry("source", {"source": "yard", **told}, NOW - 61 * MINUTE))
    assert asked() == remedy
    monkeypatch.setattr("shutil.disk_usage", lambda _: shutil._ntuple_diskusage(10**9, 10**9, 4096))
    assert asked() == "make room: the disk of the logbook is full, and no reading is kept"


def test_a_sensor_that_never_spoke_may_have_another_name(logbook: Logbook) -> None:
    """All that speak and that nobody configured are named, unless they are many."""
    logbook.append([*_readings("bench", 180), *_readings("attic", 180), *_readings("keel", 59)])
    asked = (
        'is attic or keel its new name? Then put address = "NAME" below [sensors.hull]; else check its cable'
    )
    assert [trouble.remedy for trouble in present.situation(logbook, SETTINGS, NOW).troubles] == [asked]
    for name in ("a", "b"):
        logbook.append(_readings(name, 30))
    [many] = present.situation(logbook, SETTINGS, NOW).troubles
    assert "name" not in many.remedy
