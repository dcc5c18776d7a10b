"""Our own line form: what a small board prints, one report a line, with a checksum.

    cw1 bench t=15.32 h=81.40 n=118 age=0 *9A3C

``cw1`` names the form and its version; then the sensor's name; then fields in any order, each once:

    t    temperature [degC]               h    relative humidity over water [%]
    c    carbon dioxide [ppm]             b    battery [%]
    n    running number of the report     age  seconds since it was measured
    at   when it was measured, UTC seconds since 1970 (instead of age)

``*`` and four hexadecimal digits end it: CRC-16/IBM-3740 (polynomial 1021, start FFFF, no reflection,
no final exclusive-or; check value of "123456789" is 29B1) over everything before the blank in front
of the star. A field that is not known is passed over, unless its key ends in ``_``: then the sender
insists that it be understood, and the line is rejected.

firmware_notes/LINE_FORM.md says the same to whoever writes the board's code, with test vectors.
"""

import re
from binascii import crc_hqx

from curewatch.clock import Instant
from curewatch.readings import UNSAID, Flag, Reading, Rejected
from curewatch.units import ZERO_CELSIUS
from curewatch.wire.fields import unit_named
from curewatch.wire.numbers import name_allowed, number
from curewatch.wire.reasons import Reason, reject
from curewatch.wire.stated import rest_of

START = b"cw"
VERSION = 1
KEYS = ("t", "h", "c", "b", "n", "age", "at")

# The usual order, in which our own encoders print: one match reads the whole line.
_USUAL = re.compile(
    r"cw1 ([A-Za-z0-9_][A-Za-z0-9_.:/-]{0,63})"
    r"(?: t=(-?[0-9]{1,3}(?:\.[0-9]{1,4})?))?"
    r"(?: h=([0-9]{1,3}(?:\.[0-9]{1,4})?))?"
    r"(?: c=([0-9]{1,6}(?:\.[0-9]{1,2})?))?"
    r"(?: b=([0-9]{1,3}(?:\.[0-9])?))?"
    r"(?: n=([0-9]{1,9}))?"
    r"(?: (?:age=([0-9]{1,9}(?:\.[0-9]{1,3})?)|at=([0-9]{1,11}(?:\.[0-9]{1,3})?)))?"
    r" \*([0-9A-F]{4})"
).fullmatch
_SHAPE = re.compile(rb"cw([0-9]{1,3}) (.*) \*([0-9A-Fa-f]{4})", re.DOTALL)
_KEY = re.compile(r"[a-z][a-z0-9]*_?")
_SEQUENCE_LIMIT = 1 << 32

_make = tuple.__new__  # a NamedTuple without its Python-level constructor: 0.3 us less a line
_ARRIVAL = int(Flag.ARRIVAL_TIME)
_AGE = int(Flag.AGE_GIVEN)


def checksum(body: bytes) -> int:
    """CRC-16/IBM-3740 of a line's body."""
    return crc_hqx(body, 0xFFFF)


def is_whole(line: bytes) -> bool:
    """Whether its checksum shows that nothing of a line of our form is missing."""
    return _whole(line.rstrip(b"\r"))[0] is None


def parse(line: bytes, at: Instant, source: str = "") -> Reading | Rejected:
    """One line of our form, without its line end, as a reading; or the reason why it is none."""
    line = line.rstrip(b"\r")
    match = _USUAL(str(line, "latin-1"))  # a text: its parts become numbers faster than bytes do
    if match is None:
        return _parse_any_order(line, at, source)
    name, t, h, c, b, n, age, stamp, crc = match.groups()
    if crc_hqx(line[:-6], 0xFFFF) != int(crc, 16):
        return reject(Reason.BAD_CHECKSUM, line, at.utc, source, name)
    if t is None and h is None:
        return reject(Reason.NO_QUANTITY, line, at.utc, source, name)
    utc = at[0]
    if stamp is not None:
        time, flags = float(stamp), 0
    elif age is not None:
        time, flags = utc - float(age), _AGE
    else:
        time, flags = utc, _ARRIVAL
    return _make(
        Reading,
        (
            name,
            time,
            utc,
            None if t is None else float(t) + ZERO_CELSIUS,
            None if h is None else float(h) / 100.0,
            None if c is None else float(c) * 1e-6,
            None if b is None else float(b) / 100.0,
            flags,
            None if n is None else int(n),
            *UNSAID,
        ),
    )


def _parse_any_order(line: bytes, at: Instant, source: str) -> Reading | Rejected:
    """The slow path: fields in another order, fields of later versions, and every rejection."""
    trouble, name, fields = _whole(line)
    if trouble is None and not name_allowed(name):
        trouble, name = Reason.BAD_NAME, ""
    if trouble is not None:
        return reject(trouble, line, at.utc, source, name)
    values = _values(fields)
    if isinstance(values, Reason):
        return reject(values, line, at.utc, source, name)
    return _reading(name, values, line, at, source)


def _whole(line: bytes) -> tuple[Reason | None, str, list[str]]:
    """Name and fields of a line whose checksum and version are right, or the reason why not."""
    shape = _SHAPE.fullmatch(line)
    if shape is None:
        return _why_no_line(line), "", []
    if checksum(line[:-6]) != int(shape[3], 16):
        return Reason.BAD_CHECKSUM, "", []
    if int(shape[1]) != VERSION:
        return Reason.VERSION, "", []
    if not shape[2].isascii():
        return Reason.NOT_TEXT, "", []
    name, *fields = shape[2].decode("ascii").split(" ")
    return None, name, fields


def _why_no_line(line: bytes) -> Reason:
    if not line.startswith(START):
        return Reason.NOT_A_LINE
    return Reason.NO_CHECKSUM if b"*" not in line else Reason.CUT_OFF


def _values(fields: list[str]) -> dict[str, float] | Reason:
    values: dict[str, float] = {}
    for field in fields:
        key, equals, text = field.partition("=")
        if not equals or not _KEY.fullmatch(key):
            return Reason.NOT_A_LINE
        if key not in KEYS:
            if key.endswith("_"):
                return Reason.MUST_UNDERSTAND
            if rest_of(key) is not None and unit_named(text) not in {"degC", "%"}:
                return Reason.BAD_UNIT  # the form has its units
            continue
        if key in values:
            return Reason.TWICE
        value = number(text)
        if value is None:
            return Reason.BAD_NUMBER
        values[key] = value
    return values


def _reading(
    name: str, values: dict[str, float], line: bytes, at: Instant, source: str
) -> Reading | Rejected:
    t, h, c, b, n = (values.get(key) for key in ("t", "h", "c", "b", "n"))
    if t is None and h is None:
        return reject(Reason.NO_QUANTITY, line, at.utc, source, name)
    if "age" in values and "at" in values:
        return reject(Reason.TWICE, line, at.utc, source, name)
    if n is not None and not (0 <= n < _SEQUENCE_LIMIT and n == int(n)):
        return reject(Reason.BAD_NUMBER, line, at.utc, source, name)
    if values.get("age", 0.0) < 0:
        return reject(Reason.BAD_TIME, line, at.utc, source, name)
    return Reading(
        sensor=name,
        time=values.get("at", at.utc - values.get("age", 0.0)),
        received=at.utc,
        temperature=None if t is None else t + ZERO_CELSIUS,
        relative_humidity=None if h is None else h / 100.0,
        carbon_dioxide=None if c is None else c * 1e-6,
        battery=None if b is None else b / 100.0,
        flags=0 if "at" in values else _AGE if "age" in values else _ARRIVAL,
        sequence=None if n is None else int(n),
    )


def encode(
    sensor: str,
    temperature_c: float | None = None,
    humidity_percent: float | None = None,
    *,
    carbon_dioxide_ppm: float | None = None,
    battery_percent: float | None = None,
    sequence: int | None = None,
    age: float | None = None,
    at: float | None = None,
) -> bytes:
    """A line of our form, without its line end, as the boards print it.

    Raises
    ------
    ValueError
        The sensor's name has characters that the form does not allow.
    """
    if not name_allowed(sensor):
        raise ValueError(f"sensor name: found {sensor!r}. Use 1 to 64 letters, digits and _ . : / -")
    parts = [f"cw{VERSION} {sensor}"]
    for key, value, digits in (
        ("t", temperature_c, 2),
        ("h", humidity_percent, 2),
        ("c", carbon_dioxide_ppm, 0),
        ("b", battery_percent, 0),
        ("n", sequence, 0),
        ("age", age, 0),
        ("at", at, 0),
    ):
        if value is not None:
            text = f"{value:.{digits}f}"
            parts.append(f"{key}={text if text.strip('-0.') else text.lstrip('-')}")  # no minus at zero
    body = " ".join(parts).encode("ascii")
    return b"%s *%04X" % (body, checksum(body))
