"""From what came in to readings that can be believed: named, plausible, put right by the last check.

The first half is :class:`Naming`. Where several sheds share their sources it is done once, before what came
in is sorted by shed, and the event brings what it gave. The second half, here, is of one shed: what it
remembers of its sensors is taken back with the batch that is given up.
"""

from collections.abc import Iterable, Mapping
from typing import Self

from curewatch.configuration import Configuration
from curewatch.daemon.events import BytesArrived, MessageArrived
from curewatch.daemon.naming import Named, Naming
from curewatch.readings import Reading, Rejected
from curewatch.shed import forecasts
from curewatch.shed.corrections import Correction, corrected
from curewatch.wire import Plausibility, PlausibleRange, Reason
from curewatch.wire.reasons import reject


class Intake:
    """Bytes and messages in, readings and rejections out."""

    def __init__(self, configuration: Configuration, before: Self | None = None) -> None:
        self._naming: Naming = Naming(configuration, before=before._naming if before else None)
        self._plausibility: Plausibility = before._plausibility if before else Plausibility()
        self.corrections: Mapping[str, Correction] = before.corrections if before else {}  # by sensor

    def from_start(self, sensor: str | None = None) -> None:
        """Streams are files, not ports: see :meth:`Naming.from_start`; and their own time is the time."""
        self._naming.from_start(sensor)
        self._plausibility = Plausibility(PlausibleRange(clock_set=0.0))

    def begin(self) -> None:
        """A batch begins: what is remembered of its readings can be taken back with it."""
        self._plausibility.begin()

    def keep(self) -> None:
        """The batch is committed."""
        self._plausibility.keep()

    def take_back(self) -> None:
        """The batch is given up: a redelivery is new. (Half a line stays: its bytes do not come again.)"""
        self._plausibility.take_back()

    def reopened(self, source: str) -> None:
        """A port is gone or was opened anew: what it says first may be the tail of a line."""
        self._naming.reopened(source)

    def bytes_arrived(self, event: BytesArrived) -> list[Reading | Rejected]:
        """What these bytes give."""
        return self._checked(
            self._naming.of_bytes(event) if event.named is None else event.named, event.source
        )

    def message_arrived(self, event: MessageArrived) -> list[Reading | Rejected]:
        """What this message gives."""
        found = self._naming.of_message(event) if event.named is None else event.named
        items = [item for item, _ in found]
        if forecasts.are_told(items):
            return items  # its times lie ahead; what is made of it is checked there
        return self._checked(found, event.source)

    def _checked(self, found: Iterable[Named], source: str) -> list[Reading | Rejected]:
        return [self._believed(item, raw, source) for item, raw in found]

    def _believed(self, item: Reading | Rejected, raw: bytes, source: str) -> Reading | Rejected:
        """Plausible, and put right by its sensor's last check; or rejected.

        After naming, because two names on the wire may be one sensor.
        """
        if isinstance(item, Rejected):
            return item
        if not item.sensor:
            return reject(Reason.NO_NAME, raw, item.received, source)
        found = self._plausibility.check(item, raw, source)
        if isinstance(found, Rejected) or found.sensor not in self.corrections:
            return found
        return corrected(found, self.corrections[found.sensor])
