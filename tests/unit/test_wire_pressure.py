"""Air pressure: read in every form with words or units; whatever is wrong with it costs no temperature."""

import math

import pytest

from curewatch.clock import Instant
from curewatch.readings import Flag, Reading, Rejected
from curewatch.wire import Parser, Plausibility, Reason

NOW = Instant(1_790_000_000.0, 50.0)


def told(data: str) -> Reading | Rejected:
    """What the wire says of one message, or of the last line of a file."""
    found = Parser().payload(data.encode(), NOW, "topic", "bench")
    return found[-1]


def pack(*records: str) -> str:
    air = '{"bn":"bench:","n":"temperature","u":"Cel","v":12.5}', '{"n":"humidity","u":"%RH","v":80.9}'
    return f"[{','.join((*air, *records))}]"


def message(more: str) -> str:
    return f'{{"temperature": 12.5, "humidity": 80.9, {more}}}'


READ = [
    message('"pressure_hpa": 1013.25'),
    message('"pressure_pa": 101325'),
    message('"pressure": 1013.25'),
    message('"Pressure": "1013.25 hPa"'),
    message('"pressure": "1013.25 mbar"'),
    message('"pressure": 101325, "pressure_unit": "Pa"'),
    message('"pressure": {"value": 101325, "unit": "Pa"}'),
    '{"chip": {"Temperature": 12.5, "Humidity": 80.9, "Pressure": 1013.25}, "PressureUnit": "hPa"}',
    "T=12.5 RH=80.9 pressure=1013.25 hPa",
    "T=12.5, RH=80.9, pressure_pa=101325",
    pack('{"n":"pressure","u":"hPa","v":1013.25}'),
    pack('{"n":"pressure","u":"Pa","v":101325}'),
]
NOT_READ = [
    message('"pressure": "760 mmHg"'),
    message('"pressure": 760, "pressure_unit": "mmHg"'),
    message('"pressure_hpa": "101325 Pa"'),
    message('"pressure": 12.5, "pressure_unit": "degC"'),
    message('"pressure": "rising"'),
    message('"pressure": true'),
    "T=12.5 RH=80.9 pressure=29.92inHg",
    pack('{"n":"pressure","u":"bar","v":1.01325}'),
    pack('{"n":"pressure","u":"hPa","vs":"rising"}'),
    pack('{"n":"' + 70 * "p" + '","u":"Pa","v":101325}'),
]
TWICE = [
    message('"pressure": 1013.25, "pressure_hpa": 990'),
    "T=12.5 RH=80.9 pressure=1013.25 pressure_hpa=990",
    pack('{"n":"pressure","u":"hPa","v":1013.25}', '{"n":"pressure","u":"hPa","v":990}'),
]


@pytest.mark.parametrize("data", [*READ, *TWICE])
def test_a_pressure_is_read_in_pascal(data: str):
    """By its word, by the unit beside it, by that of RFC 8428 or RFC 8798; of two the first."""
    reading = told(data)
    assert isinstance(reading, Reading)
    assert reading.pressure == pytest.approx(101_325.0)


@pytest.mark.parametrize("data", [*READ, *NOT_READ, *TWICE])
def test_a_pressure_costs_nothing_else(data: str):
    """The rest of the reading is the one that comes without it."""
    reading = told(data)
    assert isinstance(reading, Reading)
    assert reading._replace(pressure=None) == told(pack())


@pytest.mark.parametrize("data", NOT_READ)
def test_a_pressure_in_another_unit_is_not_taken(data: str):
    """No number goes into the logbook of which the unit is not known."""
    reading = told(data)
    assert isinstance(reading, Reading)
    assert reading.pressure is None


def test_a_file_has_its_column():
    """Under the heading of our own export; a second column of it changes nothing."""
    heading = b"temperature_c,humidity_percent,pressure_hpa,pressure\n"
    (reading,) = Parser().corpus(heading + b"12.5,80.9,1013.25,990\n", NOW, "file")
    assert isinstance(reading, Reading)
    assert reading.pressure == pytest.approx(101_325.0)


@pytest.mark.parametrize(
    "data", ['{"pressure_hpa": 1013.25}', '[{"n":"bench:pressure","u":"hPa","v":1013.25}]']
)
def test_a_pressure_alone_is_no_reading(data: str):
    """A reading is of temperature or humidity."""
    event = told(data)
    assert isinstance(event, Rejected)
    assert event.reason == Reason.NO_QUANTITY


@pytest.mark.parametrize("earlier", [False, True])
@pytest.mark.parametrize(
    "pressure", [1013.0, 76_000.0, 79_999.0, 110_001.0, 10_132_500.0, -1.0, math.nan, math.inf]
)
def test_a_pressure_that_cannot_be_is_left_out_with_a_flag(pressure: float, earlier: bool):
    """760 mmHg taken for hPa, say. The temperature beside it stays."""
    checks = Plausibility()
    plain = Reading("bench", NOW.utc, NOW.utc, 285.65, 0.809)
    if earlier:
        checks.check(plain._replace(time=NOW.utc - 60, received=NOW.utc - 60))
    assert checks.check(plain._replace(pressure=pressure)) == plain._replace(flags=Flag.LEFT_OUT)


@pytest.mark.parametrize("pressure", [80_000.0, 101_325.0, 110_000.0])
def test_the_edges_are_believed(pressure: float):
    """A limit belongs to what is allowed, on the quick way and on the other."""
    checks = Plausibility()
    for minute in range(2):
        at = NOW.utc + 60 * minute
        reading = Reading("bench", at, at, 285.65, 0.809, pressure=pressure)
        assert checks.check(reading) == reading
