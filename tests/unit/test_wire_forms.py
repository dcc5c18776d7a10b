"""The one door reads every form, and refuses the rest with a reason."""

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from curewatch.clock import Instant
from curewatch.readings import Flag, Reading, Rejected
from curewatch.wire import Parser, Reason, json_fields, lines
from curewatch.wire.fields import ValuePlace, Words
from curewatch.wire.plausibility import Plausibility
from curewatch.wire.reasons import WHAT_TO_DO

NOW = Instant(1_790_000_000.0, 50.0)


def told(data: bytes, **options) -> Reading | Rejected:
    (event,) = Parser().payload(data, NOW, "topic", "bench", **options)
    return event


@pytest.mark.parametrize(
    "data",
    [
        b"T=12.5 RH=80.9",
        lines.encode("bench", 12.5, 80.9),
        b"temp=12.5C;hum=80.9%",
        b"Temperature: 12.5 degC, Humidity: 80.9 %",
        b"t=54.5 degF h=80.9",
        b'{"temperature": 12.5, "humidity": 80.9}',
        b'{"temperature": "12.5 \xc2\xb0C", "humidity": "80.9 %"}',
        b'{"temperature": 54.5, "temperature_unit": "degF", "humidity": 80.9}',
        b'{"temp": 54.5, "unit": "\xc2\xb0F", "rh": 80.9}',
        b'{"chip": {"Temperature": 12.5, "Humidity": 80.9}, "wifi": {"rssi": -70}}',
        b'[{"bn":"bench:","n":"temperature","u":"Cel","v":12.5},{"n":"humidity","u":"%RH","v":80.9}]',
        b'[{"n":"temperature","u":"Cel","v":12.5},{"n":"humidity","u":"%RH","v":80.9}]',
        b'[{"n":"bench","u":"K","v":285.65},{"n":"bench","u":"%RH","v":80.9}]',
        b' [{"n":"bench","u":"K","v":285.65},\n{"n":"bench","u":"%RH","v":80.9}]',
        b'\n {"temperature": 12.5,\n "humidity": 80.9}',
    ],
)
def test_each_form_gives_the_same_reading(data):
    """Twelve and a half degrees and 80.9 per cent, however they are spelt."""
    reading = told(data)
    assert isinstance(reading, Reading), reading
    assert reading.sensor == "bench"
    assert reading.temperature == pytest.approx(285.65)
    assert reading.relative_humidity == pytest.approx(0.809)
    assert reading.time == NOW.utc
    assert reading.flags == Flag.ARRIVAL_TIME


@pytest.mark.parametrize(
    "data", [b"0.7000000000000001", b'"0.7000000000000001"', b'{"humidity": "0.7000000000000001"}']
)
def test_a_number_as_a_program_prints_a_sum_is_read(data: bytes) -> None:
    """Seventeen digits are what a double takes to come back the same."""
    fraction = Words(units={"relative_humidity": "1"})
    (event,) = Parser(check=False).payload(data, NOW, "topic", "bench", fraction, quantity="humidity")
    assert isinstance(event, Reading), event
    assert event.relative_humidity == pytest.approx(0.7)


def test_a_mapping_names_the_devices_own_words():
    """The configuration says which of the device's fields is which of ours; a path with dots goes inwards."""
    payload = b'{"a": 12.5, "more": {"b": 80.9}, "temperature": 99, "ts": 1789999000123}'
    fields = {"temperature_c": "a", "humidity_percent": "more.b", "time": "ts"}
    reading = told(payload, words=Words(fields))
    assert reading.temperature == pytest.approx(285.65)
    assert reading.relative_humidity == pytest.approx(0.809)
    assert reading.time == pytest.approx(1_789_999_000.123)


@pytest.mark.parametrize(
    ("data", "reason"),
    [
        (b"T=nan RH=80", Reason.BAD_NUMBER),
        (b"T=1_2 RH=80", Reason.BAD_NUMBER),
        (b"T=\xef\xbc\x91\xef\xbc\x92 RH=80", Reason.BAD_NUMBER),
        (b"T=1e400 RH=80", Reason.BAD_NUMBER),
        (b"T=12 T=13", Reason.TWICE),
        (b"T=12 volts RH=80", Reason.NOT_A_LINE),
        (b"T=12 RH=80 ppm", Reason.BAD_UNIT),
        (b"pressure=1013", Reason.NO_QUANTITY),
        (b"hello", Reason.NOT_A_LINE),
        (b"\xff\xfe\x00", Reason.NOT_TEXT),
        (b"1,2,3,4", Reason.NOT_A_LINE),
        (b'{"temperature": NaN}', Reason.BAD_NUMBER),
        (b'{"temperature": 1e400}', Reason.BAD_NUMBER),
        (b'{"temperature": 1, "temperature": 2}', Reason.TWICE),
        (b'{"temperature": ' + b"9" * 5000 + b"}", Reason.BAD_JSON),
        (b'{"temperature": true}', Reason.BAD_NUMBER),
        (b'{"temperature": "hot"}', Reason.BAD_NUMBER),
        (b'{"temperature": "12,4"}', Reason.COMMA),
        (b'{"temperature": 12, "humidity": "80,9 %"}', Reason.COMMA),
        (b'{"temperature": 12', Reason.BAD_JSON),
        (b'{"a":' * 20000, Reason.TOO_LARGE),
        (b'{"a":' * 12000, Reason.BAD_JSON),
        (b'{"a":' * 20 + b"1" + b"}" * 20, Reason.BAD_JSON),
        (b'{"temperature": 12, "time": "yesterday"}', Reason.BAD_TIME),
        (b'{"temperature": 12, "sensor": "\\u001b[31mred"}', Reason.BAD_NAME),
        (b'{"temperature": 12, "sensor": "' + b"n" * 300 + b'"}', Reason.BAD_NAME),
        (b'{"voltage": 3.3}', Reason.NO_QUANTITY),
        (b"", Reason.NOT_A_LINE),
        (b"[1, 2]", Reason.BAD_SENML),
        (b"\x9f\x9f\x9f", Reason.BAD_CBOR),
    ],
)
def test_each_defect_has_its_reason(data, reason):
    """Nothing raises, and nothing is guessed."""
    event = told(data)
    assert isinstance(event, Rejected), event
    assert event.reason == reason
    assert len(event.raw) <= 160


@pytest.mark.parametrize("data", [b"", b'{"a":' * 20000], ids=["empty", "large"])
def test_what_is_refused_unread_has_the_name_of_its_device_if_that_is_one(data: bytes) -> None:
    """A name that may not be a sensor's is not kept."""
    assert told(data).sensor == "bench"
    (unnamed,) = Parser().payload(data, NOW, "topic", "\x1b[31mred")
    assert unnamed.sensor == ""


def test_a_number_is_json_too() -> None:
    """A device said to send JSON has a topic for each quantity."""
    reading = told(b"12.5", form="json", quantity="temperature_c")
    assert isinstance(reading, Reading), reading
    assert reading.temperature == pytest.approx(285.65)


def test_a_csv_header_names_the_columns_of_its_source():
    """Columns in any order, with columns that are not ours between them."""
    parser = Parser()
    assert parser.line(b"humidity;time;wind;temperature\r", NOW, "a") == []
    (reading,) = parser.line(b"80.9;2026-09-21T13:00:00Z;3;12.5\r", NOW, "a")
    assert reading.temperature == pytest.approx(285.65)
    assert reading.time == 1_789_995_600.0
    (other,) = parser.line(b"12.5;80.9", NOW, "b")
    assert other.reason == Reason.COLUMNS  # the header was of another source


@pytest.mark.parametrize("data", [b"12.5,80.9", b"12.5;80.9", b"bench,12.5,80.9"])
def test_numbers_alone_are_read_only_where_somebody_says_of_what(data: bytes) -> None:
    """Two numbers may be two temperatures, and dry air is a go. The control is a port of form CSV."""
    for said in (*Parser().line(data, NOW, "usb", "bench", form="csv"), told(data, form="csv")):
        assert isinstance(said, Reading), said
        assert (said.sensor, said.temperature) == ("bench", pytest.approx(285.65))
        assert said.relative_humidity == pytest.approx(0.809)
    for guessed in (*Parser().line(data, NOW, "usb", "bench"), told(data), told(b"18.0,17.2")):
        assert isinstance(guessed, Rejected), guessed
        assert guessed.reason == Reason.COLUMNS
    assert 'form = "csv"' in WHAT_TO_DO[Reason.COLUMNS]


NUMBERED = Words({"temperature_c": ValuePlace("2", 0.1), "humidity_fraction": "4", "sensor": "1"})


@pytest.mark.parametrize(
    ("line", "wanted"),
    [
        (b"k-17,124,x,0.81,9", ("k-17", 285.55, 0.81)),
        (b"k-17;124;;0,81", ("k-17", 285.55, 0.81)),
        (b"2,4,1,0.81", ("2", 273.55, 0.81)),  # no cell is taken for a word
        (b"k-17,124,x", Reason.CUT_OFF),  # it ends before the last column that is configured
        (b"k-17,warm,x,0.81", Reason.BAD_NUMBER),
        (b"sensor,temperature,x,humidity", Reason.BAD_NUMBER),  # nor is it a header
    ],
)
def test_columns_without_a_header_are_told_by_their_numbers(line: bytes, wanted: Any) -> None:
    """Counted from 1, with scale and unit as for a word."""
    (said,) = Parser().line(line, NOW, "usb", "bench", words=NUMBERED)
    if isinstance(said, Rejected):
        assert said.reason == wanted
    else:
        assert (said.sensor, said.temperature, said.relative_humidity) == pytest.approx(wanted)


def test_a_file_of_another_country_is_read():
    """Semicolons between cells, decimal commas, a byte order mark in front, quotes around words."""
    parser = Parser()
    assert parser.line(b'\xef\xbb\xbf"time";"temperature";"humidity"', NOW, "a") == []
    (reading,) = parser.line(b"1789995600;12,5;80,9", NOW, "a")
    assert reading.temperature == pytest.approx(285.65)
    assert reading.relative_humidity == pytest.approx(0.809)
    assert reading.time == 1_789_995_600.0


def test_a_reading_the_broker_kept_is_marked():
    """A retained message may be of yesterday."""
    assert told(b"T=12.5 RH=80.9", retained=True).flags & Flag.RETAINED


def test_the_header_of_the_oldest_of_very_many_sources_is_forgotten() -> None:
    """256 are remembered. Its numbers are refused then, and not taken in another order."""
    parser = Parser(check=False)
    for number in range(257):
        assert parser.line(b"humidity,temperature", NOW, f"source {number}") == []
    (forgotten,) = parser.line(b"80.9,12.5", NOW, "source 0", "bench")
    assert forgotten.reason == Reason.COLUMNS
    for number in (1, 256):
        (reading,) = parser.line(b"80.9,12.5", NOW, f"source {number}", "bench")
        assert isinstance(reading, Reading), reading
        assert reading.temperature == pytest.approx(285.65)


def test_a_corpus_is_read_to_its_last_byte():
    """Comments and empty lines say nothing; a line without its end is refused."""
    events = Parser().corpus(b"# a recording\n\nT=12.5 RH=80.9\nT=12.6 RH=8", NOW)
    assert isinstance(events[0], Reading)
    assert events[1].reason == Reason.CUT_OFF
    assert len(events) == 2


def test_a_corpus_is_read_from_its_first_byte() -> None:
    """It is no port that was opened in the middle of a line."""
    first, second = Parser().corpus(b"T=12.5 RH=80.9\nT=12.6 RH=80.8\n", NOW)
    assert isinstance(first, Reading)
    assert isinstance(second, Reading)


def test_the_largest_payload_is_read() -> None:
    """A byte more is refused unread, above."""
    reading = told(b'{"temperature": 12.5}'.ljust(json_fields.LARGEST))
    assert isinstance(reading, Reading), reading
    assert reading.temperature == pytest.approx(285.65)


def test_earlier_readings_are_those_of_the_check_that_was_given() -> None:
    """A jump of 40 degrees in a second is seen by whoever kept the reading before it."""

    def jumped(first: Parser, second: Parser) -> bool:
        first.payload(b"T=12.5 RH=80.9", NOW, "topic", "bench")
        later = Instant(NOW.utc + 1.0, NOW.monotonic + 1.0)
        (event,) = second.payload(b"T=52.5 RH=80.9", later, "topic", "bench")
        assert isinstance(event, Reading), event
        return bool(event.flags & Flag.JUMP)

    kept, alone, unchecked = Plausibility(), Parser(), Parser(check=False)
    assert jumped(Parser(kept), Parser(kept))
    assert jumped(alone, alone)
    assert not jumped(Parser(), Parser())
    assert not jumped(unchecked, unchecked)


def test_a_corpus_tells_of_a_line_that_was_too_long() -> None:
    """What stands after it is read."""
    long, after = Parser().corpus(b"T=" + b"1" * 5000 + b"\nT=12.5 RH=80.9\n", NOW)
    assert isinstance(long, Rejected)
    assert long.reason == Reason.TOO_LONG
    assert isinstance(after, Reading)


PARTS = (
    "temperature",
    "humidity",
    "Temperature",
    "TempUnit",
    "unit",
    "value",
    "id",
    "name",
    "model",
    "uptime",
    "signal",
)
SIMPLE = st.sampled_from([12.4, 81, "F", "degC", "bench", "a: b", None, True, [{"temperature": 3}]])
# pairs, so that a key may come twice; and the same keys again with other values
INNER = st.lists(st.tuples(st.sampled_from(PARTS), SIMPLE), max_size=4)
MESSAGES = st.lists(
    st.tuples(st.sampled_from((*PARTS, "device", "AM2301")), st.one_of(SIMPLE, INNER.map(tuple))), max_size=5
)


def as_text(value: Any) -> str:
    if not isinstance(value, tuple):
        return json.dumps(value)
    return "{" + ", ".join(f"{json.dumps(key)}: {as_text(inner)}" for key, inner in value) + "}"


def both_ways(payload: bytes, words: Words) -> tuple[Any, Any]:
    """What is read with what these words remember of shapes, and without."""
    at = Instant(1_795_600_000.0, 0.0)
    short = json_fields.parse(payload, at, "yard", "bench", words)
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(json_fields, "_of_known_shape", lambda payload, words: None)
        patched.setattr(json_fields, "_is_plain", lambda found, words: False)
        return short, json_fields.parse(payload, at, "yard", "bench", words)


@given(st.lists(MESSAGES, min_size=1, max_size=4), st.permutations([12.5, -3, "70", "NaN", "", None]))
def test_the_short_way_through_a_message_says_what_the_long_way_says(
    messages: list[list[tuple[str, Any]]], others: list[Any]
) -> None:
    """Whatever stands in objects of a message, also one after another of one shape."""
    words = Words()
    for message in messages:
        changed = [
            (key, value if isinstance(value, tuple) else other)
            for (key, value), other in zip(message, others, strict=False)
        ]
        for pairs in (message, changed, message):
            short, long = both_ways(as_text(tuple(pairs)).encode(), words)
            assert short == long


KNOWN = b'{"temperature": 12.5, "humidity": 80.9, "device": {"model": "demo"}}'


@pytest.mark.parametrize(
    "payload",
    [
        b'{"temperature": 12.5, "humidity": 8.9, "humidity": 80.9, "device": {"model": "demo"}}',
        b'{"temperature": 12.5, "humidity" : 8.9, "humidity": 80.9, "device": {"model": "demo"}}',
        b'{"temperature": 12.5, "humidity": 80.9, "device": {"unit": "F"}}',
        b'{"temperature": 12.5, "humidity": 80.9, "device": {"model": {"humidity": 8.9}}}',
        b'{"temperature": 12.5, "humidity": NaN, "device": {"model": "demo"}}',
        b'{"temperature": 1e400, "humidity": 80.9, "device": {"model": "demo"}}',
        b'{"temperature": 12.5, "humidity": 80.9, "device": {"model": "\\ud800"}}',
    ],
)
def test_what_only_looks_like_a_known_shape_is_read_the_long_way(payload: bytes) -> None:
    """A key given twice, another object within, or what the faster decoder takes for no JSON."""
    words = Words()
    both_ways(KNOWN, words)
    assert words.shapes
    short, long = both_ways(payload, words)
    assert short == long


def test_shapes_that_come_once_leave_room() -> None:
    """A sender whose words change with each message costs no other device its memory for long."""
    words = Words()
    for number in range(json_fields.SHAPES + 5):
        both_ways(b'{"temperature": 12.5, "humidity": 80.9, "x%d": 1}' % number, words)
    both_ways(KNOWN, words)
    assert len(words.shapes) == json_fields.SHAPES
    assert any("device" in shape for shape in words.shapes)


def test_a_known_shape_is_read_the_short_way(monkeypatch: pytest.MonkeyPatch) -> None:
    """The second message of a device is not decoded the long way."""
    words = Words()
    both_ways(KNOWN, words)
    monkeypatch.setattr(json_fields, "_load_object", lambda payload: pytest.fail("the long way"))
    (reading,) = json_fields.parse(KNOWN.replace(b"12.5", b"13.5"), NOW, "yard", "bench", words)
    assert reading.temperature == pytest.approx(286.65)
