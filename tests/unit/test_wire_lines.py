"""Our own line form, read strictly."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from curewatch.clock import Instant
from curewatch.readings import Flag, Reading, Rejected
from curewatch.wire import lines
from curewatch.wire.reasons import Reason

NOW = Instant(1_790_000_000.0, 50.0)


def sealed(body: str) -> bytes:
    return b"%s *%04X" % (body.encode(), lines.checksum(body.encode()))


def test_the_checksum_is_the_one_of_the_catalogue():
    """CRC-16/IBM-3740 of "123456789" is 29B1 in the catalogue of parametrised CRC algorithms. [published]"""
    assert lines.checksum(b"123456789") == 0x29B1


def test_a_line_becomes_a_reading_in_si():
    """Degrees become kelvin, per cent become one, and the age goes off the time of arrival."""
    reading = lines.parse(sealed("cw1 bench t=15.32 h=81.40 c=612 b=93 n=118 age=30"), NOW, "usb")
    assert reading == Reading(
        sensor="bench",
        time=NOW.utc - 30,
        received=NOW.utc,
        temperature=pytest.approx(288.47),
        relative_humidity=pytest.approx(0.8140),
        carbon_dioxide=pytest.approx(612e-6),
        battery=pytest.approx(0.93),
        flags=Flag.AGE_GIVEN,
        sequence=118,
    )


def test_the_order_of_fields_does_not_matter():
    """The quick way for the usual order and the slow way for any other agree."""
    usual = lines.parse(sealed("cw1 hull t=11.20 h=70.00 n=4 at=1789999990"), NOW)
    other = lines.parse(sealed("cw1 hull at=1789999990 n=4 h=70.00 t=11.20"), NOW)
    assert usual == other
    assert usual.time == 1_789_999_990.0
    assert usual.flags == 0


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        (sealed("cw1 bench t=15.32")[:-1], Reason.CUT_OFF),
        (b"cw1 bench t=15.3", Reason.NO_CHECKSUM),
        (b"cw1 bench t=15.32 *0000", Reason.BAD_CHECKSUM),
        (sealed("cw2 bench t=15.32"), Reason.VERSION),
        (sealed("cw1 bench"), Reason.NO_QUANTITY),
        (sealed("cw1 bench n=4"), Reason.NO_QUANTITY),
        (sealed("cw1 bench t=nan"), Reason.BAD_NUMBER),
        (sealed("cw1 bench t=1_0"), Reason.BAD_NUMBER),
        (sealed("cw1 bench t=1 h=1e400"), Reason.BAD_NUMBER),
        (sealed("cw1 bench t=1 t=2"), Reason.TWICE),
        (sealed("cw1 bench t=1 age=2 at=3"), Reason.TWICE),
        (sealed("cw1 bench t=1 age=-2"), Reason.BAD_TIME),
        (sealed("cw1 bench t=1 n=4294967296"), Reason.BAD_NUMBER),
        (sealed("cw1 bench t=1 n=0.5"), Reason.BAD_NUMBER),
        (sealed("cw1 bench t=1 mode_=7"), Reason.MUST_UNDERSTAND),
        (sealed("cw1 be\x1bnch t=1"), Reason.BAD_NAME),
        (sealed("cw1 " + "b" * 65 + " t=1"), Reason.BAD_NAME),
        (sealed("cw1 bench t=１２"), Reason.NOT_TEXT),
        (sealed("cw1 bench t"), Reason.NOT_A_LINE),
        (sealed("cw1  bench t=1"), Reason.BAD_NAME),
    ],
)
def test_each_defect_has_its_reason(line, reason):
    """What is wrong with a line is said, and what came in is kept."""
    event = lines.parse(line, NOW, "usb")
    assert isinstance(event, Rejected)
    assert event.reason == reason
    assert event.raw == line[:160]
    assert event.source == "usb"


def test_a_field_of_a_later_version_is_passed_over():
    """A board may say more than we know."""
    assert lines.parse(sealed("cw1 bench t=15.32 lux=300"), NOW).temperature == pytest.approx(288.47)


@given(st.integers(0, 40), st.integers(1, 255))
def test_any_changed_byte_is_noticed(place, change):
    """One changed byte never gives another reading."""
    line = bytearray(lines.encode("bench", 15.32, 81.4, sequence=118, age=0))
    line[place % len(line)] ^= change
    event = lines.parse(bytes(line), NOW)
    assert isinstance(event, Rejected) or event == lines.parse(
        lines.encode("bench", 15.32, 81.4, sequence=118, age=0), NOW
    )


@given(
    st.floats(-40, 60),
    st.floats(0, 100),
    st.one_of(st.none(), st.integers(0, 2**32 - 1)),
    st.one_of(st.none(), st.integers(0, 100_000)),
)
def test_what_is_encoded_is_read_back(temperature_c, humidity_percent, sequence, age):
    """The encoder and the parser agree to the digits that are printed."""
    line = lines.encode("yard", temperature_c, humidity_percent, sequence=sequence, age=age)
    reading = lines.parse(line, NOW)
    assert isinstance(reading, Reading)
    assert reading.temperature - 273.15 == pytest.approx(temperature_c, abs=0.00501)
    assert reading.relative_humidity * 100 == pytest.approx(humidity_percent, abs=0.00501)
    assert reading.sequence == sequence
    assert reading.time == NOW.utc - (age or 0)


def test_a_name_that_the_form_does_not_allow_is_not_encoded():
    """An encoder that printed it would be refused at the other end."""
    with pytest.raises(ValueError, match="Use"):
        lines.encode("be nch", 1.0)
