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

LARGEST = 1000  # in flight at once, where a MQTT 3.1.1 broker chose it

_FORM = struct.Struct("<HI")


def mark(topic: str, payload: bytes, identifier: int) -> bytes:
    """What tells one delivery from another: packet identifier and a digest of the content."""
    return _FORM.pack(identifier, crc32(payload, crc32(topic.encode())))


class Deliveries:
    """The last deliveries of one broker, oldest first; at most ``largest``."""

    def __init__(self, packed: bytes | None = None, largest: int = LARGEST) -> None:
        self._largest = largest
        self._marks: OrderedDict[bytes, None] = OrderedDict()
        usable = len(packed or b"") // _FORM.size * _FORM.size
        self.add((packed or b"")[at : at + _FORM.size] for at in range(0, usable, _FORM.size))

    def __contains__(self, delivery: bytes) -> bool:
        return delivery in self._marks

    def __len__(self) -> int:
        return len(self._marks)

    def add(self, deliveries: Iterable[bytes]) -> None:
        marks = self._marks
        for delivery in deliveries:
            marks[delivery] = None
        while len(marks) > self._largest:
            marks.popitem(last=False)

    def packed(self) -> bytes:
        """The same as bytes, for the logbook's memory."""
        return b"".join(self._marks)
