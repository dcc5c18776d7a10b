"""The one door: lines and payloads of every form we read become readings or rejections.

The form is told by the first bytes; nothing has to be configured for our own line form, SenML,
``key=value`` lines, plain CSV and JSON objects in the usual words.
"""

import re
from datetime import UTC, tzinfo

from curewatch.clock import Instant
from curewatch.readings import Flag, Reading, Rejected
from curewatch.wire import bare, json_fields, lines, plain, senml
from curewatch.wire.fields import OURS, Words, in_zone
from curewatch.wire.framing import LONGEST, LineFramer
from curewatch.wire.numbers import name_allowed
from curewatch.wire.plausibility import Plausibility
from curewatch.wire.reasons import Reason, reject

Event = Reading | Rejected
FORMS = ("auto", "line", "senml", "json", "csv")
MOST_SOURCES = 256  # sources whose CSV header is remembered
PAYLOAD_LONGEST = json_fields.LARGEST

_PAIR = re.compile(rb"[A-Za-z][A-Za-z0-9_]{0,31}[ \t]*[=:]")
BYTE_ORDER_MARK = b"\xef\xbb\xbf"  # what some programs put before a text file
_RETAINED = int(Flag.RETAINED)


class Parser:
    """Bytes in, readings or rejections out. It keeps each source's CSV header and each sensor's last reading.

    ``check`` false leaves out the check against earlier readings, for whoever keeps it elsewhere. ``zone`` is
    that of stamps without an offset; without one they stay as they are, ``fields.Local``.
    """

    def __init__(
        self, plausibility: Plausibility | None = None, *, check: bool = True, zone: tzinfo | None = UTC
    ) -> None:
        self.zone = zone
        self.plausibility = (plausibility or Plausibility()) if check else None
        self._tables: dict[str, plain.ColumnTable] = {}  # by source; at most MOST_SOURCES

    def line(
        self,
        line: bytes,
        at: Instant,
        source: str = "",
        sensor: str | None = None,
        *,
        form: str = "auto",
        words: Words = OURS,
    ) -> list[Event]:
        """What one line says; ``sensor`` names a reading whose line names nobody.

        Nothing at all for an empty line, a comment (``#``) and a CSV header.
        """
        if line.startswith(b"cw") and form in ("auto", "line"):
            event = lines.parse(line, at, source)
            return [self._checked(event, line, source)]
        line = line.removeprefix(BYTE_ORDER_MARK).strip()
        if not line or line.startswith(b"#"):
            return []
        if form == "auto":
            form = _form_of_line(line)
        return self._told(line, at, source, sensor or "", form=form, words=words)

    def payload(
        self,
        payload: bytes,
        at: Instant,
        source: str = "",
        device: str = "",
        words: Words = OURS,
        *,
        form: str = "auto",
        retained: bool = False,
        quantity: str = "",
    ) -> list[Event]:
        """What one message says; ``device`` names a reading whose payload names nobody.

        ``quantity`` is the word of ours for a payload that is a bare number.
        """
        if len(payload) > PAYLOAD_LONGEST:
            return [reject(Reason.TOO_LARGE, payload, at.utc, source, _name_or_none(device))]
        if form == "auto":
            form = _form_of_payload(payload) or _bare(payload, quantity) or form
        elif form == "json":
            form = _bare(payload, quantity) or form
        if form in ("json", "senml", "bare", "number"):
            events = self._told(payload, at, source, device, form=form, words=words, quantity=quantity)
        else:
            events = self._lines(payload, at, source, device, form=form, words=words)
        return [_kept_by_broker(event) for event in events] if retained else events

    def corpus(
        self, data: bytes, at: Instant, source: str = "", sensor: str | None = None, form: str = "auto"
    ) -> list[Event]:
        """Everything that a heap of lines says, from its first byte to its last.

        Stamps are judged against ``at``: for a heap of another year give ``at`` of that time, or leave
        the judging out with ``Parser(check=False)``.
        """
        framer = LineFramer(LONGEST, source, from_start=True)
        events: list[Event] = []
        for framed in framer.feed(data, at.utc):
            if isinstance(framed, Rejected):
                events.append(framed)
            else:
                events.extend(self.line(framed, at, source, sensor, form=form))
        events.extend(framer.close(at.utc))
        return events

    def _lines(
        self,
        payload: bytes,
        at: Instant,
        source: str,
        device: str,
        *,
        form: str,
        words: Words,
    ) -> list[Event]:
        """What a payload of one or several lines says: never nothing."""
        events: list[Event] = []
        for line in payload.splitlines():
            events.extend(self.line(line, at, source, device, form=form, words=words))
        return events or [reject(Reason.NOT_A_LINE, payload, at.utc, source, _name_or_none(device))]

    def _told(
        self,
        data: bytes,
        at: Instant,
        source: str,
        sensor: str,
        *,
        form: str,
        words: Words,
        quantity: str = "",
    ) -> list[Event]:
        """What data of a known form says."""
        if sensor and not name_allowed(sensor):
            return [reject(Reason.BAD_NAME, data, at.utc, source)]
        if form == "json":
            events = json_fields.parse(data, at, source, sensor, words)
            return [self._checked(event, data, source) for event in events]
        if form == "senml":
            return [self._checked(event, data, source) for event in senml.parse(data, at, source, sensor)]
        if form in ("csv", "cells"):
            return self._cells(data, at, source, sensor, words, told=form == "csv")
        if form == "pairs":
            event: Event = plain.parse_pairs(data, at, source, sensor, words)
        elif form == "bare":
            event = bare.parse(data, quantity, at, source, sensor, words=words)
        elif form == "number":
            event = reject(Reason.BARE, data, at.utc, source, sensor)
        else:
            event = reject(_why_unknown(data), data, at.utc, source, sensor)
        return [self._checked(event, data, source)]

    def _cells(
        self, line: bytes, at: Instant, source: str, sensor: str, words: Words, *, told: bool
    ) -> list[Event]:
        """A CSV line. Without a header, and if nobody ``told`` which column is what, it is no reading.

        Two lone numbers may be two temperatures: taken for a humidity of 17 % the second made a go.
        """
        table = plain.header(line, words)
        if table is not None:
            if source not in self._tables and len(self._tables) >= MOST_SOURCES:
                del self._tables[next(iter(self._tables))]
            self._tables[source] = table
            return []
        table = self._tables.get(source)
        event = plain.parse_cells(line, table, at, source, sensor, words=words)
        if isinstance(event, Reading) and table is None and not (told or words.columns):
            event = reject(Reason.COLUMNS, line, at.utc, source, sensor)
        return [self._checked(event, line, source)]

    def _checked(self, event: Event, raw: bytes, source: str) -> Event:
        if self.zone is not None:
            event = in_zone(event, self.zone)
        if self.plausibility is None or isinstance(event, Rejected):
            return event
        return self.plausibility.check(event, raw, source)


def _form_of_payload(payload: bytes) -> str:
    """What its first bytes tell; nothing when they could begin a line or a number."""
    if payload.startswith(b"{"):
        return "json"
    if senml.is_cbor(payload) or payload.lstrip()[:1] == b"[":
        return "senml"
    return "json" if payload.lstrip()[:1] == b"{" else ""


def _bare(payload: bytes, quantity: str) -> str:
    """Whether it is a number alone; where the topic says of what, also one that is broken."""
    start = payload.lstrip()
    if quantity and not start.startswith((b"cw", b"{", b"[")) and not _PAIR.match(start):
        return "bare"
    return "number" if bare.is_number(payload) else ""


def _form_of_line(line: bytes) -> str:
    if line.startswith(b"{"):
        return "json"
    if line.startswith(b"["):
        return "senml"
    if _PAIR.match(line):
        return "pairs"
    return "cells" if any(mark in line for mark in (b",", b";", b"\t")) else "none"


def _why_unknown(data: bytes) -> Reason:
    return Reason.NOT_A_LINE if data.isascii() and data.decode("ascii").isprintable() else Reason.NOT_TEXT


def _name_or_none(name: str) -> str:
    return name if name_allowed(name) else ""


def _kept_by_broker(event: Event) -> Event:
    return event._replace(flags=event.flags | _RETAINED) if isinstance(event, Reading) else event
