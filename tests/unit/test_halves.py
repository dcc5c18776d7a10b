"""Temperature and humidity of one chip that come as two messages: bare numbers, each on its topic."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from curewatch import configuration
from curewatch.advice.judge.data_quality import troubles
from curewatch.advice.judge.limits import standard
from curewatch.advice.judge.situation import TroubleKind
from curewatch.clock import Instant
from curewatch.daemon.events import MessageArrived
from curewatch.daemon.intake import Intake
from curewatch.logbook import Logbook
from curewatch.readings import Flag, Reading, Rejected
from curewatch.shed import halves, health, present, recall
from curewatch.shed.halves import TOGETHER, Halves
from curewatch.shed.health import Track
from curewatch.wire import Reason

NOW = 1_790_000_000.0
MINUTE = 60.0
AIR = configuration.parse('[sensors.bench]\nrole = "air"\npart = "humidity-2"')
OWN_TOPICS = (
    '[mqtt.yard]\ntopics = ["creek/#"]\n[sensors.bench]\nrole = "air"\n'
    'topics = { temperature_f = "creek/a/1", humidity_percent = "creek/a/2" }\n'
)


def told(settings: str, topic: str, payload: bytes) -> Reading | Rejected:
    intake = Intake(configuration.parse(settings))
    [found] = intake.message_arrived(MessageArrived("yard", topic, payload, Instant(NOW, 0.0)))
    return found


def warm(at: float, temperature: float = 285.0) -> Reading:
    return Reading("bench", at, at, temperature, flags=Flag.ARRIVAL_TIME)


def damp(at: float, humidity: float = 0.7) -> Reading:
    return Reading("bench", at, at, None, humidity, flags=Flag.ARRIVAL_TIME)


@pytest.mark.parametrize(
    ("topics", "topic", "sensor"),
    [
        ("shed/+/temperature", "shed/bench/temperature", "bench"),
        ("shed/#", "shed/bench/temperature", "bench"),
        ("shed/bench/+", "shed/bench/temp", "bench"),
        ("shed/bench/temperature", "shed/bench/temperature", "bench"),
        ("+/air/temperature", "bench/air/temperature", "bench"),
    ],
)
def test_a_topic_that_ends_in_a_quantity_says_whose_and_what(topics: str, topic: str, sensor: str) -> None:
    """The word at the end is the quantity, the level of the + or the one before it the device."""
    found = told(f'[mqtt.yard]\ntopics = ["{topics}"]', topic, b"12.4")
    assert isinstance(found, Reading)
    assert (found.sensor, found.relative_humidity) == (sensor, None)
    assert found.temperature == pytest.approx(285.55)


@pytest.mark.parametrize(
    ("topic", "payload", "temperature", "humidity"),
    [
        ("s/bench/temperature", b'"12.4"', 285.55, None),
        ("s/bench/temperature", " 12.4 °C\n".encode(), 285.55, None),
        ("s/bench/temperature_f", b"54.32", 285.55, None),
        ("s/bench/temperature", b"54.32 degF", 285.55, None),
        ("s/bench/humidity", b"71", None, 0.71),
        ("s/bench/humidity", b"71.5 %", None, 0.715),
        ("s/bench/HUMIDITY", b"71", None, 0.71),
        ("s/bench/humidity", b'{"temperature": 12.4, "humidity": 71}', 285.55, 0.71),
        ("s/bench/humidity", b"T=12.4 RH=71", 285.55, 0.71),
    ],
)
def test_the_number_may_be_text_or_json_with_its_unit(
    topic: str, payload: bytes, temperature: float | None, humidity: float | None
) -> None:
    """As devices send it; a message that says more than a number is still read for what it says."""
    found = told('[mqtt.yard]\ntopics = ["s/+/+"]', topic, payload)
    assert isinstance(found, Reading), found
    assert found.sensor == "bench"
    assert found.temperature == (None if temperature is None else pytest.approx(temperature))
    assert found.relative_humidity == (None if humidity is None else pytest.approx(humidity))


@pytest.mark.parametrize(
    ("topic", "payload", "reason"),
    [
        ("s/bench/temperature", b"unavailable", Reason.BAD_NUMBER),
        ("s/bench/temperature", b"nan", Reason.BAD_NUMBER),
        ("s/bench/temperature", b"12,4", Reason.COMMA),
        ("s/bench/temperature", b"", Reason.NO_QUANTITY),
        ("s/bench/temperature", b"71 %", Reason.BAD_UNIT),
        ("s/bench/temperature", b"\x1b[2J12.4", Reason.BAD_NUMBER),
        ("s/bench/temperature", b"1" * 10_000, Reason.NOT_A_LINE),
        ("s/bench/humidity", b"171", Reason.HUMIDITY),
        ("s/bench/power", b"12.4", Reason.BARE),
        ("s/bench/power", b"on", Reason.NOT_A_LINE),
    ],
)
def test_what_is_no_number_of_ours_is_refused_with_its_reason(
    topic: str, payload: bytes, reason: Reason
) -> None:
    """A number of nobody knows what is never guessed at."""
    found = told('[mqtt.yard]\ntopics = ["s/+/+"]', topic, payload)
    assert isinstance(found, Rejected), found
    assert found.reason == reason


def test_a_sensors_own_topics_say_what_each_carries() -> None:
    """Topics without a telling word are named at the sensor, with the unit in the key."""
    hot, wet = told(OWN_TOPICS, "creek/a/1", b"54.32"), told(OWN_TOPICS, "creek/a/2", b"71")
    assert isinstance(hot, Reading)
    assert isinstance(wet, Reading)
    assert (hot.sensor, hot.temperature) == ("bench", pytest.approx(285.55))
    assert (wet.sensor, wet.relative_humidity) == ("bench", pytest.approx(0.71))


def test_two_halves_make_a_pair_as_old_as_the_older(tmp_path: Path) -> None:
    """What is stored are the halves; the place has both, and the age of the humidity."""
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        logbook.append([damp(NOW - 100.0), warm(NOW - 10.0)])
        found = present.situation(logbook, AIR, NOW)
        stored = logbook.series("bench", NOW - 1000.0, NOW)
    assert np.isnan(stored.temperature).sum() == np.isnan(stored.relative_humidity).sum() == 1
    assert found.air is not None
    assert (found.air.temperature, found.air.relative_humidity) == (285.0, 0.7)
    assert found.air.time == NOW - 100.0
    assert found.air.vapour_pressure is not None
    assert troubles(found, standard()) == ()
    assert np.isfinite(found.past.vapour_pressure).any()


@pytest.mark.parametrize("stopped", ["humidity", "temperature"])
def test_an_old_half_never_hides_in_a_pair(tmp_path: Path, stopped: str) -> None:
    """One half stops while the other goes on: incomplete, said so, and so no answer but unknown."""
    going, gone = (warm, damp) if stopped == "humidity" else (damp, warm)
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        logbook.append([gone(NOW - TOGETHER - 61.0), *(going(NOW - 60.0 * k) for k in range(20, -1, -1))])
        found = present.situation(logbook, AIR, NOW)
    assert found.air is not None
    assert found.air.vapour_pressure is None
    [trouble] = troubles(found, standard())
    assert trouble.kind is TroubleKind.INCOMPLETE
    assert f"its {stopped} is 6 min old" in trouble.reason


def test_a_whole_sensor_that_loses_its_humidity_is_incomplete_at_once() -> None:
    """A chip that sent both in one message and now sends one does not live on its last humidity."""
    track = health.step(Track(), Reading("bench", NOW, NOW, 285.0, 0.7))
    last = health.step(track, warm(NOW + 60.0)).last
    assert last is not None
    assert last.relative_humidity is None


def test_halves_that_never_change_are_stuck_and_a_door_is_no_fault() -> None:
    """Health looks at the pair: the same values for hours are stuck, both halves of one jump are one jump."""
    track = Track()
    for minute in range(0, 300, 2):
        for half in (warm(NOW + minute * MINUTE), damp(NOW + minute * MINUTE + 1.0)):
            track = health.step(track, half)
    assert health.judge("bench", track, NOW + 299 * MINUTE, 120.0).health is health.Health.STUCK
    for minute in (300, 310):  # opened, and shut again
        for half in (warm(NOW + minute * MINUTE, 275.0 + minute), damp(NOW + minute * MINUTE + 1.0, 0.5)):
            track = health.step(track, half._replace(flags=int(Flag.JUMP)))
    assert len(track.jumps) == 2


def test_humidity_alone_is_held_against_the_last_humidity() -> None:
    """A jump of either half is seen although the two come in turns."""
    settings = configuration.parse('[mqtt.yard]\ntopics = ["s/+/+"]')
    intake, flags = Intake(settings), []
    for second, (word, payload) in enumerate(
        [("temperature", b"12"), ("humidity", b"70"), ("temperature", b"12.1"), ("humidity", b"95")]
    ):
        at = Instant(NOW + second, float(second))
        [found] = intake.message_arrived(MessageArrived("yard", f"s/bench/{word}", payload, at))
        assert isinstance(found, Reading)
        flags.append(bool(found.flags & Flag.JUMP))
    assert flags == [False, False, False, True]


@given(
    st.lists(
        st.tuples(st.integers(1, 400), st.sampled_from(["warm", "damp", "whole"]), st.integers(1, 9)),
        max_size=40,
    )
)
def test_one_by_one_and_all_at_once_agree(steps: list[tuple[int, str, int]]) -> None:
    """The daemon's way, half by half, and the reader's way over a stretch of time pair the same."""
    from curewatch.logbook import Series

    at, readings = NOW, []
    for seconds, kind, value in steps:
        at += seconds
        temperature = None if kind == "damp" else 280.0 + value
        readings.append(Reading("bench", at, at, temperature, None if kind == "warm" else value / 10))
    kept, singly = Halves(), []
    for reading in readings:
        kept = halves.step(kept, reading)
        singly.append(halves.joined(reading, kept))
    columns = {
        name: np.array([np.nan if (v := getattr(r, name)) is None else v for r in readings], dtype=float)
        for name in ("time", "received", "temperature", "relative_humidity")
    }
    whole = halves.joined_series(
        Series(
            columns.pop("time"),
            columns.pop("received"),
            flags=np.zeros(len(readings), np.uint16),
            sequence=np.zeros(len(readings), np.int64),
            quantities=columns,
        )
    )
    for name in ("temperature", "relative_humidity"):
        expected = [np.nan if (v := getattr(r, name)) is None else v for r in singly]
        assert np.array_equal(getattr(whole, name), np.array(expected, dtype=float), equal_nan=True)


def test_what_the_board_shows_is_the_pair(tmp_path: Path) -> None:
    """The last word of a sensor that speaks in halves has both of them."""
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        logbook.append([warm(NOW - 30.0), damp(NOW - 29.0)])
        last = recall.look_up(logbook, ("bench",), NOW)["bench"].last
    assert last is not None
    assert (last.time, last.temperature, last.relative_humidity) == (NOW - 30.0, 285.0, 0.7)
