"""The line form, version 1, for MicroPython. The form itself is described in LINE_FORM.md beside this folder.

Runs on any MicroPython and, unchanged, on CPython.
"""

VERSION = 1


def checksum(body):
    """CRC-16/IBM-3740 of bytes: polynomial 0x1021, start 0xFFFF; b"123456789" gives 0x29B1."""
    crc = 0xFFFF
    for byte in body:
        crc ^= byte << 8
        for _ in range(8):
            crc = ((crc << 1) ^ 0x1021 if crc & 0x8000 else crc << 1) & 0xFFFF
    return crc


def _number(value, digits):
    text = "%.*f" % (digits, value)
    return text[1:] if text.startswith("-") and not text.strip("-0.") else text


def encode(sensor, t=None, h=None, c=None, b=None, n=None, age=None, at=None):
    """One line as bytes, without its end; None when there is neither temperature nor humidity.

    t [degC], h [%] over water, c [ppm], b [%], n running number, age [s], at [UTC s]. A value that is None or
    not a number is left out: a chip that failed is better silent than wrong.
    """
    body = "cw%d %s" % (VERSION, sensor)
    measured = False
    for key, value, digits in (
        ("t", t, 2),
        ("h", h, 2),
        ("c", c, 0),
        ("b", b, 0),
        ("n", n, 0),
        ("age", age, 0),
        ("at", at, 0),
    ):
        if value is None or value != value or value in (float("inf"), float("-inf")):
            continue
        measured = measured or key in ("t", "h")
        body += " %s=%s" % (
            key,
            "%d" % value if isinstance(value, int) and not digits else _number(value, digits),
        )
    if not measured:
        return None
    body = body.encode()
    return body + b" *%04X" % checksum(body)
