"""Which alerts are active: those that the logbook's entries raised and did not clear, however long ago.

The one way for all of them: the board, the list of alerts, the record of a restart. An alert is active
everywhere or nowhere. A daemon that died clears nothing: what a look now would clear at once, as a go that is
over, is left out by `advice.alert.alerts.reworded`.
"""

from collections.abc import Iterable
from typing import NamedTuple

from curewatch.advice.alert import alerts
from curewatch.advice.alert.alerts import ActiveAlert, Happening, Key, State
from curewatch.logbook import Entry, EntryKind, LogbookStore
from curewatch.wording import Wording, plain_wording


class NumberedAlert(NamedTuple):
    """An active alert, by the number of the entry that raised it."""

    number: int
    alert: ActiveAlert


def active(logbook: LogbookStore, before: int | None = None) -> State:
    """The active alerts; those of the time before an entry, where its number is given."""
    entries = logbook.entries(EntryKind.ALERT)
    told = (entry.payload for entry in entries if before is None or entry.number < before)
    return alerts.rebuild(alerts.events_told(told))


def numbered(logbook: LogbookStore) -> tuple[NumberedAlert, ...]:
    """The active alerts with their numbers, oldest first."""
    entries = logbook.entries(EntryKind.ALERT)
    raised: dict[Key, int] = {}
    for entry in entries:
        for event in alerts.events_told([entry.payload]):
            if event.happening is Happening.CLEARED:
                raised.pop(event.key, None)
            else:
                raised.setdefault(event.key, entry.number)
    state = alerts.rebuild(alerts.events_told(entry.payload for entry in entries))
    found = (NumberedAlert(raised[key], alert) for key, alert in state.items())
    return tuple(sorted(found, key=lambda each: each.number))


def acknowledge(
    logbook: LogbookStore, these: Iterable[ActiveAlert], by: str | None, now: float, words: Wording
) -> None:
    """Write down that somebody acknowledged them; the daemon takes it up within seconds. [UTC s]"""
    plainly, who = plain_wording(words.zone), {"by": by} if by else {}
    for each in these:
        _, events = alerts.acknowledge({each.key: each}, each.key, now)
        told = [alerts.event_as_plain(event, plainly) | who for event in events]
        logbook.append(entries=[Entry(EntryKind.ALERT, one, now) for one in told])
