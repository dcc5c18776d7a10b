"""The unit that was said is heeded, in every usual place; one that is not known refuses the reading.

54.5 degF is 12.5 degC. Taken as degC it would pass for a warm shed.
"""

import pytest

from curewatch import configuration
from curewatch.clock import Instant
from curewatch.daemon.events import BytesArrived, MessageArrived
from curewatch.daemon.intake import Intake
from curewatch.readings import Reading, Rejected
from curewatch.wire import WHAT_TO_DO, Parser, Reason
from curewatch.wire.fields import Words

NOW = Instant(1_790_000_000.0, 50.0)

FAHRENHEIT = [
    '{"temperature": 54.5, "humidity": 80.9, "TempUnit": "F"}',
    '{"temperature": 54.5, "humidity": 80.9, "TempUnit": "f"}',
    '{"temperature": 54.5, "humidity": 80.9, "unit": "F"}',
    '{"temperature": 54.5, "humidity": 80.9, "units": "imperial"}',
    '{"temperature": 54.5, "humidity": 80.9, "unit": "°F"}',
    '{"temperature": 54.5, "humidity": 80.9, "unit": "℉"}',
    '{"temperature": 54.5, "humidity": 80.9, "unit": "deg F"}',
    '{"temperature": 54.5, "humidity": 80.9, "unit": "Degrees Fahrenheit"}',
    '{"temperature": 54.5, "humidity": 80.9, "temperature_unit": "degF"}',
    '{"temperature": 54.5, "humidity": 80.9, "temperatureUnit": "F"}',
    '{"temperature": 54.5, "humidity": 80.9, "temp_units": "F"}',
    '{"temp": 54.5, "humidity": 80.9, "unit_temp": "F"}',
    '{"temperature": 54.5, "humidity": 80.9, "unit_of_measurement": "°F"}',
    '{"temperature": 54.5, "humidity": 80.9, "temperature_scale": "F"}',
    '{"temperature": 54.5, "humidity": 80.9, "temperature.unit": "F"}',
    '{"temperature": 54.5, "humidity": 80.9, "units": {"temperature": "F", "humidity": "%"}}',
    '{"temperature": 54.5, "humidity": 80.9, "units": ["F", "%"]}',
    '{"PROBE": {"Temperature": 54.5, "Humidity": 80.9}, "TempUnit": "F"}',
    '{"PROBE": {"Temperature": 54.5, "Humidity": 80.9, "TempUnit": "F"}, "unit": "C"}',
    '{"a": {"b": {"Temperature": 54.5, "Humidity": 80.9}}, "unit": "F"}',
    '{"settings": {"TempUnit": "F"}, "data": {"temperature": 54.5, "humidity": 80.9}}',
    '{"settings": {"unit": "F"}, "data": {"temperature": 54.5, "humidity": 80.9}}',
    '{"temperature": {"value": 54.5, "unit": "F"}, "humidity": {"value": 80.9, "unit": "%"}}',
    '{"temperature": {"val": "54.5", "units": "°F"}, "humidity": {"v": 80.9}}',
    '{"temperature": {"value": 54.5}, "humidity": {"value": 80.9}, "unit": "F"}',
    '{"temperature": 54.5, "humidity": 0.809, "unit": "F", "humidity_unit": "fraction"}',
    '{"temperature": 54.5, "humidity": 0.809, "temp_unit": "F", "hum_unit": "1"}',
    '{"temperature": 285.65, "humidity": 80.9, "unit": "K"}',
    '{"temperature_f": 54.5, "humidity": 80.9, "unit": "F"}',
    '{"temperature": 54.5, "humidity_fraction": 0.809, "unit": "F"}',
    '{"temperature": 54.5, "humidity": 80.9, "unit": "F", "pressure_unit": "hPa", "unit_id": "x"}',
    '{"temperature": 54.5, "humidity": 80.9, "TempUnit": "F", "pressure": {"value": 1, "unit": "hPa"}}',
    '{"temperature": 12.5, "humidity": 80.9, "dewpoint": {"value": 48.7, "unit": "F"}}',
    '{"temperature": 12.5, "humidity": 80.9, "unit": 3}',
    '{"temperature": 12.5, "humidity": 80.9, "unit": null}',
    '{"temperature": 12.5, "humidity": 80.9, "community": "F"}',
    '{"outdoor_unit": {"temperature": 12.5, "humidity": 80.9}}',
    '{"temperature": 54.5, "humidity": 80.9, "fahrenheit": true}',
    '{"temperature": 54.5, "humidity": 80.9, "isCelsius": false}',
    '{"temperature": 12.5, "humidity": 80.9, "celsius": true, "scale": "log", "u": "me"}',
    '{"t": 54.5, "h": 80.9, "u": "F"}',
    '{"temperature": 54.5, "humidity": 80.9, "scale": "F"}',
    "T=54.5 unit=F RH=80.9",
    "T=54.5 RH=80.9 temp_unit=degF",
    "T=54.5F RH=80.9%",
    "T=54.5 F RH=80.9 %",
    "T=54.5 °F, RH=80.9",
    "T: 54.5 fahrenheit; RH: 80.9 percent",
    "temp=54.5;unit=deg F;hum=80.9",
    "T=12.5 c=400 RH=80.9",
    "T=12.5 C = 400 RH=80.9",
]


def told(text: str, words: Words | None = None) -> Reading | Rejected:
    (event,) = Parser().payload(text.encode(), NOW, "topic", "bench", words or Words())
    return event


@pytest.mark.parametrize("text", FAHRENHEIT)
def test_a_stated_unit_is_heeded(text: str) -> None:
    """12.5 degC and 80.9 %, whichever unit they are sent in and wherever it stands."""
    reading = told(text)
    assert isinstance(reading, Reading), reading
    assert reading.temperature == pytest.approx(285.65)
    assert reading.relative_humidity == pytest.approx(0.809)


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ('{"temperature": 24, "TempUnit": "R"}', Reason.BAD_UNIT),
        ('{"temperature": 24, "unit": "grad"}', Reason.BAD_UNIT),
        ('{"temperature": 24, "temperature_unit": 1}', Reason.BAD_UNIT),
        ('{"temperature": 24, "temperature_unit": "%"}', Reason.BAD_UNIT),
        ('{"temperature": {"value": 24, "unit": "Rankine"}}', Reason.BAD_UNIT),
        ('{"PROBE": {"Temperature": 24}, "TempUnit": "Reaumur"}', Reason.BAD_UNIT),
        ('{"temperature": 24, "units": {"temperature": "R"}}', Reason.BAD_UNIT),
        ('{"humidity": 60, "unit": "g/m3"}', Reason.BAD_UNIT),
        ("T=24 unit=R", Reason.BAD_UNIT),
        ("T=24R", Reason.BAD_UNIT),
        ('{"temperature_c": 24, "unit": "F"}', Reason.UNITS_DIFFER),
        ('{"temperature": "24 C", "unit": "F"}', Reason.UNITS_DIFFER),
        ('{"temperature": 24, "unit": "C", "TempUnit": "F"}', Reason.UNITS_DIFFER),
        ('{"a": {"temp_unit": "C"}, "b": {"temp_unit": "F"}, "d": {"temp": 24}}', Reason.UNITS_DIFFER),
        ("temp_f=75C", Reason.UNITS_DIFFER),
        ('{"temperature": 20, "humidity": 0.93}', Reason.FRACTION),
        ("T=20 RH=0.93", Reason.FRACTION),
        ("temperature,humidity\n20,0.93", Reason.FRACTION),
        ('{"temperature": 60, "humidity": 1}', Reason.FRACTION),
        ('{"temperature": 20, "humidity": 4.9}', Reason.HUMIDITY),
        ('{"humidity": 4.9}', Reason.HUMIDITY),
    ],
)
def test_what_is_not_sure_is_refused_with_its_cure(text: str, reason: Reason) -> None:
    """A unit that is not known, two that differ, and a number that may be a fraction: never a guess."""
    rejected = told(text)
    assert isinstance(rejected, Rejected), rejected
    assert rejected.reason == reason
    assert reason is Reason.HUMIDITY or "wire_units" in WHAT_TO_DO[reason]


def test_a_line_of_ours_has_its_own_units() -> None:
    """A field that states another unit refuses it; one that states the form's own does not."""
    from curewatch.wire.lines import checksum

    def said(body: str) -> Reading | Rejected:
        return told(f"{body} *{checksum(body.encode()):04X}")

    assert said("cw1 bench t=75.00 unit=F").reason == Reason.BAD_UNIT
    assert said("cw1 bench t=15.00 unit=degC").temperature == pytest.approx(288.15)


@pytest.mark.parametrize(
    ("header", "row"),
    [
        ("Temperature [degF],Humidity [%]", "54.5,80.9"),
        ("temp (°F);humidity", "54,5;80,9"),
        ("temperature,unit,humidity", "54.5,F,80.9"),
        ("temperature,humidity,temperature_unit", "54.5,80.9,degF"),
        ("temp [K],rh [1]", "285.65,0.809"),
    ],
)
def test_a_table_states_its_units(header: str, row: str) -> None:
    """In its header, or in a column."""
    parser = Parser()
    assert parser.line(header.encode(), NOW, "a") == []
    (reading,) = parser.line(row.encode(), NOW, "a", "bench")
    assert reading.temperature == pytest.approx(285.65)
    assert reading.relative_humidity == pytest.approx(0.809)


def test_a_tables_unknown_unit_refuses_its_rows() -> None:
    """Each of them, with the reason."""
    parser = Parser()
    assert parser.line(b"temperature [R],humidity", NOW, "a") == []
    (rejected,) = parser.line(b"54.5,80.9", NOW, "a", "bench")
    assert rejected.reason == Reason.BAD_UNIT


SENSOR = '[sensors.bench]\nrole = "air"\n'
BROKER = '[mqtt.yard]\ntopics = "shed/+/state"\n'


@pytest.mark.parametrize(
    "settings",
    [
        f'{SENSOR}wire_units = {{ temperature = "degF", humidity = "1" }}\n{BROKER}',
        f'{SENSOR}{BROKER}wire_units = {{ temperature = "degF", humidity = "1" }}\n',
        f'{SENSOR}wire_units = {{ temperature = "degF" }}\n{BROKER}wire_units = {{ humidity = "1" }}\n',
    ],
)
@pytest.mark.parametrize(
    "payload",
    [
        '{"temperature": 54.5, "humidity": 0.809}',
        '{"temperature": 54.5, "humidity": 0.809, "unit": "Grad"}',
        '{"temperature": 54.5, "humidity": 0.809, "unit": "F"}',
        "T=54.5 RH=0.809",
        "temperature,humidity\n54.5,0.809",
    ],
)
def test_the_configuration_says_what_the_device_does_not(settings: str, payload: str) -> None:
    """At its sensor or its broker; also where the device states a unit that is not known."""
    (reading,) = Intake(configuration.parse(settings)).message_arrived(
        MessageArrived("yard", "shed/bench/state", payload.encode(), NOW)
    )
    assert isinstance(reading, Reading), reading
    assert reading.temperature == pytest.approx(285.65)
    assert reading.relative_humidity == pytest.approx(0.809)


def test_a_port_has_units_too() -> None:
    """For every board on it."""
    port = '[serial.usb]\nurl = "x"\nsensor = "bench"\nwire_units = { temperature = "degF" }\n'
    intake = Intake(configuration.parse(SENSOR + port))
    *_, reading = intake.bytes_arrived(BytesArrived("usb", b"noise\nT=54.5 RH=80.9\n", NOW))
    assert isinstance(reading, Reading), reading
    assert reading.temperature == pytest.approx(285.65)


def test_bare_numbers_have_units_too() -> None:
    """On a topic of their own, in the unit of the key or of the sensor."""
    topics = '{ temperature_f = "shed/1/state", humidity_fraction = "shed/2/state" }'
    intake = Intake(configuration.parse(f"{SENSOR}topics = {topics}\n{BROKER}"))
    (warm,) = intake.message_arrived(MessageArrived("yard", "shed/1/state", b"54.5", NOW))
    (damp,) = intake.message_arrived(MessageArrived("yard", "shed/2/state", b"0.809", NOW))
    assert warm.temperature == pytest.approx(285.65)
    assert damp.relative_humidity == pytest.approx(0.809)


def test_a_message_that_contradicts_the_configuration_is_refused() -> None:
    """Which of the two is wrong cannot be told."""
    intake = Intake(configuration.parse(f'{SENSOR}wire_units = {{ temperature = "degC" }}\n{BROKER}'))
    (rejected,) = intake.message_arrived(
        MessageArrived("yard", "shed/bench/state", b'{"temperature": 75, "TempUnit": "F"}', NOW)
    )
    assert rejected.reason == Reason.UNITS_DIFFER


def test_a_device_that_names_itself_is_read_in_its_own_units() -> None:
    """On a topic, and on a port, of several: by the table of the sensor that it names."""
    units = 'wire_units = { humidity = "1" }\n'
    hull = '[sensors.hull]\nrole = "surface"\n'
    intake = Intake(configuration.parse(f'{SENSOR}{units}{hull}{BROKER}[serial.usb]\nurl = "x"\n'))
    said = b'{"name": "bench", "temperature": 12.5, "humidity": 0.809}'
    (reading,) = intake.message_arrived(MessageArrived("yard", "shed/gate/state", said, NOW))
    *_, line = intake.bytes_arrived(BytesArrived("usb", b"noise\nname=bench T=12.5 RH=0.809\n", NOW))
    for each in (reading, line):
        assert isinstance(each, Reading), each
        assert each.relative_humidity == pytest.approx(0.809)
