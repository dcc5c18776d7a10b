"""RFC 8428 (Sensor Measurement Lists, August 2018): its own examples, typed from the document."""

import json

import pytest

from curewatch.clock import Instant
from curewatch.readings import Flag, Reading
from curewatch.wire import Parser, senml

NOW = Instant(1_790_000_000.0, 0.0)
DEVICE = "urn:dev:ow:10e2073a01080063"

# Section 5.1.2, the pack with times before its base time
CURRENTS = """[
 {"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,
  "bu":"A","bver":5,
  "n":"voltage","u":"V","v":120.1},
 {"n":"current","t":-5,"v":1.2},
 {"n":"current","t":-4,"v":1.3},
 {"n":"current","t":-3,"v":1.4},
 {"n":"current","t":-2,"v":1.5},
 {"n":"current","t":-1,"v":1.6},
 {"n":"current","v":1.7}
]"""

# Section 6, the same pack in CBOR
CURRENTS_CBOR = (
    "87a721781b75726e3a6465763a6f773a3130653230373361303130383030363a22fb41d303a15b001062"
    "23614120050067766f6c7461676501615602fb405e066666666666a3006763757272656e74062402fb3f"
    "f3333333333333a3006763757272656e74062302fb3ff4cccccccccccda3006763757272656e74062202"
    "fb3ff6666666666666a3006763757272656e74062102f93e00a3006763757272656e74062002fb3ff999"
    "999999999aa3006763757272656e74060002fb3ffb333333333333"
)

# Section 5.1.3
MOVING = """[
 {"bn":"urn:dev:ow:10e2073a01080063","bt":1.320067464e+09,
  "bu":"%RH","v":20},
 {"u":"lon","v":24.30621},
 {"u":"lat","v":60.07965},
 {"t":60,"v":20.3},
 {"u":"lon","t":60,"v":24.30622},
 {"u":"lat","t":60,"v":60.07965},
 {"t":120,"v":20.7},
 {"u":"lon","t":120,"v":24.30623},
 {"u":"lat","t":120,"v":60.07966},
 {"u":"%EL","t":150,"v":98},
 {"t":180,"v":21.2},
 {"u":"lon","t":180,"v":24.30628},
 {"u":"lat","t":180,"v":60.07967}
]"""

# Section 5.1.4, the same pack resolved: unit, time, value; the name is the device's throughout
MOVING_RESOLVED = [
    ("%RH", 1320067464.0, 20),
    ("lon", 1320067464.0, 24.30621),
    ("lat", 1320067464.0, 60.07965),
    ("%RH", 1320067524.0, 20.3),
    ("lon", 1320067524.0, 24.30622),
    ("lat", 1320067524.0, 60.07965),
    ("%RH", 1320067584.0, 20.7),
    ("lon", 1320067584.0, 24.30623),
    ("lat", 1320067584.0, 60.07966),
    ("%EL", 1320067614.0, 98),
    ("%RH", 1320067644.0, 21.2),
    ("lon", 1320067644.0, 24.30628),
    ("lat", 1320067644.0, 60.07967),
]


def test_single_data_point() -> None:
    """Section 5.1.1: one temperature, without a time: it is now."""
    (record,) = senml.resolve(b'[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]', NOW)
    assert (record.name, record.unit, record.value, record.time) == (DEVICE, "Cel", 23.1, NOW.utc)
    (reading,) = Parser().payload(b'[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]', NOW)
    assert reading.sensor == DEVICE
    assert reading.temperature == pytest.approx(296.25)
    assert reading.flags == Flag.ARRIVAL_TIME


def test_times_before_the_base_time() -> None:
    """Section 5.1.2: names are joined, the unit carries on, and records come in time order."""
    records = senml.resolve(CURRENTS.encode(), NOW)
    currents = [
        (record.time, record.unit, record.value) for record in records if record.name.endswith("current")
    ]
    assert currents == [
        (pytest.approx(1276020076.001 - age), "A", value)
        for age, value in zip(range(5, -1, -1), (1.2, 1.3, 1.4, 1.5, 1.6, 1.7), strict=True)
    ]
    assert [record.time for record in records] == sorted(record.time for record in records)
    voltage = next(record for record in records if record.name == "urn:dev:ow:10e2073a0108006:voltage")
    assert (voltage.unit, voltage.value) == ("V", 120.1)


def test_cbor_form_says_the_same() -> None:
    """Section 6: the CBOR bytes of the document resolve to what its JSON does."""
    from_json = senml.resolve(CURRENTS.encode(), NOW)
    from_cbor = senml.resolve(bytes.fromhex(CURRENTS_CBOR), NOW)
    assert [record._replace(time=pytest.approx(record.time)) for record in from_json] == from_cbor


def test_resolved_pack() -> None:
    """Sections 5.1.3 and 5.1.4: thirteen records resolve to the document's own thirteen."""
    records = senml.resolve(MOVING.encode(), NOW)
    assert [record.name for record in records] == [DEVICE] * 13
    assert [(record.unit, record.time, record.value) for record in records] == MOVING_RESOLVED


def test_multiple_data_types() -> None:
    """Section 5.1.5: texts, truth values and data beside a temperature, which alone is a reading."""
    pack = """[
     {"bn":"urn:dev:ow:10e2073a01080063:","n":"temp","u":"Cel","v":23.1},
     {"n":"label","vs":"Machine Room"},
     {"n":"open","vb":false},
     {"n":"nfc-reader","vd":"aGkgCg"}
    ]"""
    values = [record.value for record in senml.resolve(pack.encode(), NOW)]
    assert values == [23.1, "Machine Room", False, None]
    (reading,) = Parser().payload(pack.encode(), NOW)
    assert isinstance(reading, Reading)
    assert reading.sensor == DEVICE


def test_collection_of_resources() -> None:
    """Section 5.1.6: two devices in one pack are two readings, each with its own humidity."""
    pack = """[
     {"bn":"2001:db8::2/","bt":1.320078429e+09,"n":"temperature","u":"Cel","v":25.2},
     {"n":"humidity","u":"%RH","v":30},
     {"bn":"2001:db8::1/","n":"temperature","u":"Cel","v":12.3},
     {"n":"humidity","u":"%RH","v":67}
    ]"""
    readings = senml.parse(pack.encode(), NOW)
    assert [(reading.sensor, reading.time) for reading in readings] == [
        ("2001:db8::2", 1320078429.0),
        ("2001:db8::1", 1320078429.0),
    ]
    assert [reading.relative_humidity for reading in readings] == [pytest.approx(0.30), pytest.approx(0.67)]


@pytest.mark.parametrize(
    ("pack", "reason"),
    [
        ([{"bver": 11, "n": "a", "u": "Cel", "v": 1}], "newer version"),
        ([{"bver": 5, "n": "a", "v": 1}, {"bver": 6, "n": "a", "v": 1}], "broken SenML"),
        ([{"n": "a", "v": 1}, {"bver": 5, "n": "a", "v": 1}], "broken SenML"),
        ([{"n": "a", "v": 1, "far_": 1}], "must be understood"),
        ([{"v": 1}], "name not allowed"),
        ([{"n": "-a", "v": 1}], "name not allowed"),
        ([{"n": "a(", "v": 1}], "name not allowed"),
        ([{"n": "a"}], "broken SenML"),
        ([{"n": "a", "v": 1, "vs": "x"}], "broken SenML"),
        ([{"n": "a", "v": "1"}], "not a number"),
        ([{"n": "a", "v": True}], "not a number"),
        ([{"n": 5, "v": 1}], "broken SenML"),
        ([], "broken SenML"),
    ],
)
def test_what_the_document_forbids_is_refused(pack: list[dict[str, object]], reason: str) -> None:
    """Sections 4.2, 4.4 and 4.5.1: versions, labels that must be understood, names, one value each."""
    (event,) = senml.parse(json.dumps(pack).encode(), NOW)
    assert not isinstance(event, Reading)
    assert reason in event.reason


def test_a_time_below_two_to_the_28_is_relative_to_now() -> None:
    """Section 4.5.3: -30 is half a minute ago, 2^28 is a moment in 1978."""
    (ago,) = senml.resolve(b'[{"n":"a","u":"Cel","v":1,"t":-30}]', NOW)
    assert (ago.time, ago.relative) == (NOW.utc - 30, True)
    (then,) = senml.resolve(b'[{"n":"a","u":"Cel","v":1,"t":268435456}]', NOW)
    assert (then.time, then.relative) == (268435456.0, False)


def test_base_values_add_and_unknown_fields_are_passed_over() -> None:
    """Sections 4.1 and 4.4: a base value is added to each value; a field nobody knows is no error."""
    records = senml.resolve(b'[{"bn":"a","bv":20,"u":"Cel","v":1.5,"rssi":-70},{"u":"Cel","t":1,"v":2}]', NOW)
    assert [record.value for record in records] == [21.5, 22]
