"""Which messages are already in the logbook, so that a second delivery is not a second reading.

A broker delivers a QoS 1 message again when it never saw our acknowledgement: with the same packet
identifier, and marked as a possible duplicate (MQTT 5.0, OASIS 2019, 3.3.1.1 and 4.4). A reading
that carries its own time is the same row twice and harmless; one without would get a new arrival
time. So the deliveries of each commit are kept in the logbook, in that commit, for the last
:data:`KEPT` commits.

Theory of operation: acknowledgements leave right after their commit, so what a broker may not know of are
the last commits, however many messages it sent. How many that can be it does not say: mosquitto 2.0.11 in a
flood has thousands on the way where it was told that 500 may be (measured). Each commit writes a note of
its own, over the oldest one.
"""

import struct
from collections import deque
from collections.abc import Callable
from zlib import crc32

KEPT = 64  # commits: 13 s of them at a hundred messages a second, 16,000 messages in a flood

_FORM = struct.Struct("<HI")
_COUNT = struct.Struct(">Q")  # running number of the commit; big-endian, so that notes sort by it


def mark(topic: str, payload: bytes, identifier: int) -> bytes:
    """What tells one delivery from another: packet identifier and a digest of the content."""
    return _FORM.pack(identifier, crc32(payload, crc32(topic.encode())))


def note_key(source: str, commit: int) -> str:
    """The logbook's note that holds the deliveries of this commit."""
    return f"deliveries:{source}:{commit % KEPT}"


class Deliveries:
    """The last deliveries of one broker, commit by commit, as they lie in their notes."""

    def __init__(self, source: str, memory: Callable[[str], bytes | None] = lambda key: None) -> None:
        self._source = source
        found = [memory(note_key(source, slot)) for slot in range(KEPT)]
        notes = sorted(note for note in found if note is not None and len(note) >= _COUNT.size)
        self._commits = deque((note[_COUNT.size :] for note in notes), KEPT)
        self._count = _COUNT.unpack_from(notes[-1])[0] + 1 if notes else 0
        self._open = bytearray()  # of the batch that is not closed yet; at most what it waits to acknowledge

    def __contains__(self, delivery: bytes) -> bool:
        return _holds(self._open, delivery) or any(_holds(each, delivery) for each in self._commits)

    def add(self, delivery: bytes) -> None:
        """One more, of the open batch."""
        self._open += delivery

    def close(self) -> tuple[str, bytes]:
        """The batch is closed: the note to be written with it, and its key."""
        closed, count = bytes(self._open), self._count
        self._commits.append(closed)
        self._open.clear()
        self._count += 1
        return note_key(self._source, count), _COUNT.pack(count) + closed


def _holds(packed: bytes | bytearray, delivery: bytes) -> bool:
    at = packed.find(delivery)
    while at >= 0 and at % _FORM.size:
        at = packed.find(delivery, at + 1)
    return at >= 0
