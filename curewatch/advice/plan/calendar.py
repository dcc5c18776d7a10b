"""An iCalendar file: a chosen window and its countdowns, for a phone.

Source
------
RFC 5545: content lines end in CRLF and fold at 75 octets (3.1), TEXT is escaped (3.3.11), a VEVENT
carries UID, DTSTAMP and DTSTART (3.6.1), a VALARM a TRIGGER relative to the start (3.6.6).
"""

import hashlib
from collections.abc import Iterable
from datetime import UTC, datetime

from msgspec import Struct

FOLD = 75  # octets a line, without its CRLF (RFC 5545, 3.1)


class Appointment(Struct, frozen=True):
    """One event: a span of time, or a moment if ``end`` is none."""

    summary: str
    start: float  # UTC [s]
    end: float | None = None
    description: str = ""
    reminders: tuple[int, ...] = ()  # minutes ahead
    identity: str = ""  # what stays when its time moves; summary and start where nothing does


def write(appointments: Iterable[Appointment], stamped: float, every: int | None = None) -> str:
    """The appointments as one iCalendar object, stamped with the moment it was made. [UTC s]

    ``every`` tells who asks again and again how often it is worth it (RFC 7986, 5.7). [min]
    """
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//curewatch//windows//EN", "CALSCALE:GREGORIAN"]
    if every is not None:
        lines.append(f"REFRESH-INTERVAL;VALUE=DURATION:PT{every}M")
    for appointment in appointments:
        lines += _event(appointment, stamped)
    lines.append("END:VCALENDAR")
    return "".join(fold(line) + "\r\n" for line in lines)


def fold(line: str) -> str:
    """A content line folded at 75 octets, never inside a character."""
    pieces, piece, room = [], "", FOLD
    for character in line:
        size = len(character.encode())
        if size > room:
            pieces.append(piece)
            piece, room = "", FOLD - 1  # the space that begins a folded line counts
        piece += character
        room -= size
    return "\r\n ".join([*pieces, piece])


def escape(text: str) -> str:
    """TEXT as RFC 5545, 3.3.11 wants it; control characters other than a line break are dropped."""
    kept = "".join(character for character in text if character == "\n" or not _is_control(character))
    return kept.replace("\\", "\\\\").replace(";", "\\;").replace(",", "\\,").replace("\n", "\\n")


def _is_control(character: str) -> bool:
    return character < " " or "\x7f" <= character <= "\x9f"


def _event(appointment: Appointment, stamped: float) -> list[str]:
    lines = [
        "BEGIN:VEVENT",
        f"UID:{_identity(appointment)}",
        f"DTSTAMP:{_stamp(stamped)}",
        f"DTSTART:{_stamp(appointment.start)}",
    ]
    if appointment.end is not None:
        lines.append(f"DTEND:{_stamp(appointment.end)}")
    lines.append(f"SUMMARY:{escape(appointment.summary)}")
    if appointment.description:
        lines.append(f"DESCRIPTION:{escape(appointment.description)}")
    for minutes in appointment.reminders:
        lines += [
            "BEGIN:VALARM",
            "ACTION:DISPLAY",
            f"TRIGGER:-PT{minutes}M",
            f"DESCRIPTION:{escape(appointment.summary)}",
            "END:VALARM",
        ]
    lines.append("END:VEVENT")
    return lines


def _identity(appointment: Appointment) -> str:
    """The same appointment written twice is the same event to a calendar."""
    same = appointment.identity or f"{appointment.summary}|{appointment.start:.0f}"
    digest = hashlib.sha256(same.encode()).hexdigest()
    return f"{digest[:32]}@curewatch.invalid"


def _stamp(utc: float) -> str:
    return datetime.fromtimestamp(round(utc), UTC).strftime("%Y%m%dT%H%M%SZ")
