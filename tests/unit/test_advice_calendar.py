"""The calendar file is one that a calendar reads."""

from datetime import UTC, datetime, timedelta

import icalendar
from hypothesis import given, settings
from hypothesis import strategies as some

from curewatch.advice.plan.calendar import Appointment, fold, write
from tests.examples import up_to

AT = 1_795_000_000.0


def test_an_independent_reader_finds_the_same_event() -> None:
    """published: RFC 5545 as the icalendar package reads it."""
    text = write(
        [Appointment("Lay up; rudder cheek, demo", AT, AT + 3600, "Gel 22:10\nTack-free 04:30", (60, 10))],
        stamped=AT - 100,
    )
    calendar = icalendar.Calendar.from_ical(text)
    (event,) = calendar.walk("VEVENT")
    assert event["SUMMARY"] == "Lay up; rudder cheek, demo"
    assert event["DESCRIPTION"] == "Gel 22:10\nTack-free 04:30"
    assert event["DTSTART"].dt == datetime.fromtimestamp(AT, UTC)
    assert event["DTEND"].dt - event["DTSTART"].dt == timedelta(hours=1)
    assert [alarm["TRIGGER"].dt.total_seconds() for alarm in event.walk("VALARM")] == [-3600, -600]
    assert not calendar.errors


@settings(max_examples=up_to(40))
@given(some.text(max_size=200))
def test_any_text_stays_text_and_every_line_is_short_enough(text: str) -> None:
    """Nothing that comes in can open a property or a line longer than 75 octets."""
    written = write([Appointment(text, AT, description=text)], stamped=AT)
    assert all(len(line.encode()) <= 75 for line in written.split("\r\n"))
    assert "\n" not in written.replace("\r\n", "")
    assert written.count("BEGIN:") == written.count("END:") == 2 or "BEGIN:" in text or "END:" in text
    assert len(icalendar.Calendar.from_ical(written).walk("VEVENT")) == 1


def test_a_long_line_of_wide_characters_unfolds_to_itself() -> None:
    """Folding never cuts a character in two."""
    line = "SUMMARY:" + "ü→漆" * 60
    assert fold(line).replace("\r\n ", "") == line


def test_the_same_appointment_keeps_its_identity() -> None:
    """Writing the file again replaces the event instead of doubling it."""
    first, again = (
        icalendar.Calendar.from_ical(write([Appointment("Lay up", AT)], stamped=stamp)).walk("VEVENT")[0][
            "UID"
        ]
        for stamp in (AT, AT + 60)
    )
    assert first == again
