"""One line an event, for the daemon's journal and for a replay."""

from curewatch.answers.event import EventDocument
from curewatch.clock import utc_from_iso
from curewatch.safe_text import safe_line
from curewatch.wording import Wording

WIDEST = 200  # characters of an event's text


def line(event: EventDocument, words: Wording) -> str:
    """``2026-10-17 15:31:00   source   usb answers``; loud ones are marked with an exclamation mark."""
    mark, shed = "!" if event.loud else " ", event.detail.get("shed")
    text = f"[{shed}] {event.text}" if shed else event.text  # one of several
    return f"{words.stamp(utc_from_iso(event.at))} {mark} {event.event:<8} {safe_line(text, WIDEST)}"
