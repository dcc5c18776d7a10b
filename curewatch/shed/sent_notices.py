"""Which notices were sent, to whom and about what, as the logbook has it."""

from collections.abc import Iterator
from typing import NamedTuple

from curewatch.logbook import EntryKind, LogbookStore, StoredEntry


class Sent(NamedTuple):
    """One notice that was sent."""

    at: float  # UTC [s]
    to: str
    about: frozenset[int]  # numbers of entries
    again: bool  # it was told before, and nobody had acknowledged it
    text: str


def from_entry(entry: StoredEntry) -> Iterator[Sent]:
    """The notice; one that another program wrote in a form of its own is passed over."""
    about, to = entry.payload.get("about"), entry.payload.get("to")
    if isinstance(about, list) and isinstance(to, str):
        numbers = frozenset(number for number in about if isinstance(number, int))
        again, text = bool(entry.payload.get("again")), str(entry.payload.get("text", ""))
        yield Sent(entry.at, to, numbers, again, text)


def lately(logbook: LogbookStore, start: float) -> tuple[Sent, ...]:
    """The notices sent since a moment, oldest first. [UTC s]"""
    entries = logbook.entries(EntryKind.NOTICE, start=start)
    return tuple(sent for entry in entries for sent in from_entry(entry))
