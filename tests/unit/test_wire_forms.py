"""The one door reads every form, and refuses the rest with a reason."""

import pytest

from curewatch.clock import Instant
from curewatch.readings import Flag, Reading, Rejected
from curewatch.wire import Parser, Reason
from curewatch.wire.fields import Words

NOW = Instant(1_790_000_000.0, 50.0)


def told(data: bytes, **options) -> Reading | Rejected:
    (event,) = Parser().payload(data, NOW, "topic", "bench", **options)
    return event


@pytest.mark.parametrize(
    "data",
    [
        b"T=12.5 RH=80.9",
        b"temp=12.5C;hum=80.9%",
        b"Temperature: 12.5 degC, Humidity: 80.9 %",
        b"t=54.5 degF h=80.9",
        b"12.5,80.9",
        b"12.5;80.9",
        b"bench,12.5,80.9",
        b'{"temperature": 12.5, "humidity": 80.9}',
        b'{"temperature": "12.5 \xc2\xb0C", "humidity": "80.9 %"}',
        b'{"temperature": 54.5, "temperature_unit": "degF", "humidity": 80.9}',
        b'{"temp": 54.5, "unit": "\xc2\xb0F", "rh": 80.9}',
        b'{"chip": {"Temperature": 12.5, "Humidity": 80.9}, "wifi": {"rssi": -70}}',
        b'[{"bn":"bench:","n":"temperature","u":"Cel","v":12.5},{"n":"humidity","u":"%RH","v":80.9}]',
        b'[{"n":"temperature","u":"Cel","v":12.5},{"n":"humidity","u":"%RH","v":80.9}]',
        b'[{"n":"bench","u":"K","v":285.65},{"n":"bench","u":"%RH","v":80.9}]',
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


def test_a_csv_header_names_the_columns_of_its_source():
    """Columns in any order, with columns that are not ours between them."""
    parser = Parser()
    assert parser.line(b"humidity;time;wind;temperature\r", NOW, "a") == []
    (reading,) = parser.line(b"80.9;2026-09-21T13:00:00Z;3;12.5\r", NOW, "a")
    assert reading.temperature == pytest.approx(285.65)
    assert reading.time == 1_789_995_600.0
    (other,) = parser.line(b"12.5;80.9", NOW, "b")
    assert other.temperature == pytest.approx(285.65)


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


def test_a_corpus_is_read_to_its_last_byte():
    """Comments and empty lines say nothing; a line without its end is refused."""
    events = Parser().corpus(b"# a recording\n\nT=12.5 RH=80.9\nT=12.6 RH=8", NOW)
    assert isinstance(events[0], Reading)
    assert events[1].reason == Reason.CUT_OFF
    assert len(events) == 2
