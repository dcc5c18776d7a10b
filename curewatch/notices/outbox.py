"""The logbook is the outbox: which notice is due for one receiver, from what was written and what was sent.

Theory of operation
-------------------
An alert that rings is an entry. A notice that was sent is an entry, too: it names the entries it was about
and its receiver. What is due is what rang, stands, was not acknowledged, and is in no notice to this
receiver. So nothing waits in memory, and a daemon that dies loses nothing. Laws:

- sent, then noted: what was sent and not noted is sent again, and nothing is noted that was not sent;
- what is over, or acknowledged, is not told; what came together goes together;
- in quiet hours only what cannot wait is told; the rest waits for their end;
- what cannot wait and nobody acknowledged is told a second time, and not a third.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime, time, timedelta
from typing import NamedTuple
from zoneinfo import ZoneInfo

from msgspec.structs import replace

from curewatch.advice.alert.alerts import AlertKind, Event, Happening, Key, events_told
from curewatch.logbook import Entry, EntryKind, LogbookStore, StoredEntry
from curewatch.phrases import numbers_of, phrase, recalled
from curewatch.shed import sent_notices
from curewatch.shed.sent_notices import Sent
from curewatch.units import HOUR, MINUTE

# All assumed; none is a trade's figure.
SETTLE = 60.0  # what rings within a minute goes together [s]
BETWEEN = 20 * MINUTE  # two notices of what can wait [s]
URGENT_BETWEEN = 60.0  # two notices of what cannot [s]
REPEAT = 10 * MINUTE  # after which what cannot wait is told again, once [s]
WITHDRAWN_WITHIN = 12 * HOUR  # a "go now" that was told is taken back [s]

URGENT = {AlertKind.POT, AlertKind.CONDENSATION}
# and these meanings, as the watchers have them: to import those loads the whole model
CLOSING, SHORT, BOILS = "closing", "short", "boils"


class Ring(NamedTuple):
    """An alert that rang and stands."""

    number: int  # of the entry
    event: Event

    @property
    def urgent(self) -> bool:
        """Whether it cannot wait for the morning."""
        kind = self.event.key.kind
        return kind in URGENT or self.event.meaning in {CLOSING, SHORT, BOILS}


class FollowUp(NamedTuple):
    """What became of an alert that rang: acknowledged or cleared."""

    number: int
    event: Event
    ring: int  # number of the entry with which it last rang


class LastVerdict(NamedTuple):
    """The verdict that holds."""

    number: int
    verdict: str
    event: Event  # what is told if it takes a "go now" back


@dataclass(slots=True)
class Outbox:
    """What the logbook has of alerts and notices."""

    standing: dict[Key, Ring] = field(default_factory=dict)  # not acknowledged
    follow_ups: list[FollowUp] = field(default_factory=list)
    go: Ring | None = None  # the last "go now", standing or not
    verdict: LastVerdict | None = None
    sent: list[Sent] = field(default_factory=list)


class QuietHours(NamedTuple):
    """When nobody is rung for what can wait; by the shed's clock, and over midnight."""

    start: time
    end: time
    zone: ZoneInfo

    def until(self, now: float) -> float | None:
        """Their end, where they hold now. [UTC s]"""
        here = datetime.fromtimestamp(now, self.zone)
        over_midnight = self.end <= self.start
        begun = here.time() >= self.start
        quiet = begun or here.time() < self.end if over_midnight else begun and here.time() < self.end
        if not quiet:
            return None
        last = here.date() + timedelta(days=1) if over_midnight and begun else here.date()
        return datetime.combine(last, self.end, self.zone).timestamp()


class Receiver(NamedTuple):
    """One who is told: its name, and whether it is told of ends, too, as a lamp must be."""

    name: str
    told_of_ends: bool = False


class Notice(NamedTuple):
    """One message that is due."""

    about: tuple[int, ...]  # numbers of entries
    events: tuple[Event, ...]  # what cannot wait first, then the latest first
    urgent: bool
    again: bool = False  # it was told before, and nobody acknowledged it


class Due(NamedTuple):
    """What is to be sent now, and when to look next."""

    notice: Notice | None
    look_at: float | None  # UTC [s]


def read(logbook: LogbookStore) -> Outbox:
    """What was raised, what became of it, what was sent."""
    found, last = Outbox(), dict[Key, int]()
    for entry in logbook.entries((EntryKind.ALERT, EntryKind.NOTICE, EntryKind.VERDICT)):
        if entry.kind == EntryKind.NOTICE:
            found.sent += sent_notices.from_entry(entry)
        elif entry.kind == EntryKind.VERDICT:
            found.verdict = _verdict(entry)
        else:
            for event in events_told([entry.payload]):
                _take(found, last, entry.number, event)
    return found


def entry_of(notice: Notice, to: str, text: str, at: float) -> Entry:
    """What is written once a notice was sent."""
    payload = {"to": to, "about": list(notice.about), "text": text, "again": notice.again}
    return Entry(EntryKind.NOTICE, payload, at)


def due(outbox: Outbox, to: Receiver, now: float, quiet: QuietHours | None = None) -> Due:
    """What this receiver is told now. [UTC s]"""
    own = [sent for sent in outbox.sent if sent.to == to.name]
    told = _first_told(own)
    silent_until = None if quiet is None else quiet.until(now)
    waiting = [ring for ring in outbox.standing.values() if ring.number not in told and not _over(ring, now)]
    withdrawn = None if to.told_of_ends else _withdrawn(outbox, told, now)
    last = max((sent.at for sent in own if sent.at <= now), default=0.0)  # a clock may have been set back
    moments = list(_ends(outbox, told, last) if to.told_of_ends else ())
    moments += [_when(ring, min(ring.event.at, now), last, silent_until) for ring in waiting]
    if withdrawn is not None:
        moments.append(silent_until or now)
    if min(moments, default=now + 1.0) <= now:
        first = [ring for ring in waiting if silent_until is None or ring.urgent]
        further = [] if withdrawn is None or silent_until is not None else [withdrawn]
        ends = list(_ended(outbox, told)) if to.told_of_ends else []
        return Due(_notice(first, [*further, *ends]), now)
    return _repeated(outbox, own, told, now, min(moments, default=None))


def _repeated(
    outbox: Outbox, own: Iterable[Sent], told: Mapping[int, float], now: float, then: float | None
) -> Due:
    """What cannot wait, was told and not acknowledged: once more."""
    repeated = {number for sent in own if sent.again for number in sent.about}
    open_ones = [
        ring
        for ring in outbox.standing.values()
        if ring.urgent and ring.number in told and ring.number not in repeated
    ]
    ready = [ring for ring in open_ones if told[ring.number] + REPEAT <= now]
    if ready:
        return Due(_notice(ready, ())._replace(again=True), now)
    later = [told[ring.number] + REPEAT for ring in open_ones]
    return Due(None, min([*later, *([] if then is None else [then])], default=None))


def _when(ring: Ring, rang: float, last: float, silent_until: float | None) -> float:
    """When a notice of it may be sent. [UTC s]"""
    if ring.urgent:
        return max(rang, last + URGENT_BETWEEN)
    if silent_until is not None:
        return silent_until
    soon = rang + SETTLE
    return soon if ring.event.key.kind is AlertKind.GO_NOW else max(soon, last + BETWEEN)


def _over(ring: Ring, now: float) -> bool:
    """A "go now" whose last start is past is over before its alert is."""
    event = ring.event
    return event.key.kind is AlertKind.GO_NOW and event.due is not None and event.due <= now


def _withdrawn(outbox: Outbox, told: Mapping[int, float], now: float) -> FollowUp | None:
    """The verdict that takes back a "go now" which this receiver was told and could still trust."""
    go, verdict = outbox.go, outbox.verdict
    if go is None or verdict is None or go.number not in told or go.event.key in outbox.standing:
        return None
    trusted = now < (go.event.due or go.event.at + WITHDRAWN_WITHIN)
    if not trusted or verdict.number < go.number or verdict.verdict == "go" or verdict.number in told:
        return None
    work, said = numbers_of(go.event.text).get("work"), verdict.event.text
    text = phrase("{work}: {said}", work=work, said=said) if work else said
    return FollowUp(verdict.number, replace(verdict.event, text=text), go.number)


def _ended(outbox: Outbox, told: Mapping[int, float]) -> Iterator[FollowUp]:
    """What was told and is over or acknowledged, and that was not told; the last word of each."""
    last = {follow.event.key: follow for follow in outbox.follow_ups if follow.ring in told}
    yield from (follow for follow in last.values() if follow.number not in told)


def _ends(outbox: Outbox, told: Mapping[int, float], last: float) -> Iterator[float]:
    yield from (last + URGENT_BETWEEN for _ in _ended(outbox, told))


def _notice(rings: Iterable[Ring], further: Iterable[FollowUp]) -> Notice:
    ordered = sorted(rings, key=lambda ring: (not ring.urgent, -ring.number))
    of_all = [*((ring.number, ring.event) for ring in ordered), *((one.number, one.event) for one in further)]
    numbers, events = zip(*of_all, strict=True)
    return Notice(numbers, events, any(ring.urgent for ring in ordered))


def _first_told(own: Iterable[Sent]) -> dict[int, float]:
    """When each entry was first told."""
    told: dict[int, float] = {}
    for sent in own:
        for number in sent.about:
            told.setdefault(number, sent.at)
    return told


# ---- from entries


def _take(found: Outbox, last: dict[Key, int], number: int, event: Event) -> None:
    key = event.key
    if event.happening in {Happening.RAISED, Happening.CHANGED}:
        found.standing[key] = Ring(number, event)
        last[key] = number
        if key.kind is AlertKind.GO_NOW:
            found.go = found.standing[key]
        return
    found.standing.pop(key, None)
    if key in last:
        found.follow_ups.append(FollowUp(number, event, last[key]))


def _verdict(entry: StoredEntry) -> LastVerdict | None:
    try:
        reason = recalled(entry.payload, "headline")
    except KeyError:
        return None
    text = phrase("no longer go: {reason}", reason=reason)
    event = Event(Happening.CHANGED, Key(AlertKind.GO_NOW), entry.at, text, "Ask again: curewatch tonight")
    return LastVerdict(entry.number, str(entry.payload.get("verdict")), event)
