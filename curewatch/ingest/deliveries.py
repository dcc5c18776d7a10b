"""Which messages are already in the logbook, so that a second delivery is not a second reading.

A broker delivers a QoS 1 message again when it never saw our acknowledgement: with the same packet
identifier, and marked as a possible duplicate (MQTT 5.0, OASIS 2019, 3.3.1.1 and 4.4). A reading
that carries its own time is the same row twice and harmless; one without would get a new arrival
time. So the last deliveries are kept, and committed together with what they brought. Only messages in
flight can come again, so as many are kept as may be in flight.
"""

import struct
from collections import OrderedDict
from collections.abc import Iterable
from zlib import crc32

LARGEST = 1000  # in flight at once: our receive maximum, or what a MQTT 3.1.1 broker chose

_FORM = struct.Struct("<HI")


def mark(topic: str, payload: bytes, identifier: int) -> tuple[int, int]:
    """What tells one delivery from another: packet identifier and a digest of the content."""
    return identifier, crc32(payload, crc32(topic.encode()))


class Deliveries:
    """The last deliveries of one broker, oldest first; at most :data:`LARGEST`."""

    def __init__(self, packed: bytes | None = None) -> None:
        self._marks: OrderedDict[tuple[int, int], None] = OrderedDict()
        usable = len(packed or b"") // _FORM.size * _FORM.size
        self.add(_FORM.iter_unpack((packed or b"")[:usable]))

    def __contains__(self, delivery: tuple[int, int]) -> bool:
        return delivery in self._marks

    def __len__(self) -> int:
        return len(self._marks)

    def add(self, deliveries: Iterable[tuple[int, int]]) -> None:
        for delivery in deliveries:
            self._marks[delivery] = None
        while len(self._marks) > LARGEST:
            self._marks.popitem(last=False)

    def packed(self) -> bytes:
        """The same as bytes, for the logbook's memory."""
        return b"".join(_FORM.pack(*delivery) for delivery in self._marks)
