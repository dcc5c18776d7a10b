"""A socket that takes the messages out of a broker's stream before the client sees it.

Theory of operation: the client (paho) reads each packet with three calls and makes seven objects of it; at
tens of thousands of messages a second that is two thirds of all work. So the stream is read in large
pieces, whole PUBLISH packets are set aside for us, and every other packet (CONNACK, SUBACK, PINGRESP …)
is left for the client, which goes on doing all that is seldom. Law: cut anywhere, the same stream gives
the same messages and the same bytes for the client.

Source: MQTT 5.0 (OASIS 2019), 2.1 packet form, 3.3 PUBLISH, 3.4 PUBACK; MQTT 3.1.1 differs by the properties.
"""

import ssl
import struct
from collections.abc import Iterable
from typing import Any, NamedTuple

PIECE = 16_384  # bytes read at once: some ninety messages; larger pieces are not faster, and take memory
PUBLISH = 3  # packet type

_PUBACK = struct.Struct(">HH")
_PUBACK_HEAD = 0x4002  # type 4, two bytes follow: the identifier; MQTT 5 reads that as success


class Publication(NamedTuple):
    """One PUBLISH packet."""

    topic: str  # '' for one that is not UTF-8: such a name belongs to no sensor
    payload: bytes
    quality: int  # of service
    duplicate: bool
    retained: bool
    identifier: int


class MessageSocket:
    """Wraps a connected socket; what is not named here is the socket's own."""

    def __init__(self, inner: Any, *, modern: bool) -> None:
        self._inner = inner
        self._modern = modern  # MQTT 5: properties stand before the payload
        self._held = bytearray()  # an unfinished packet; at most one, and one piece
        self._wanted = 2  # bytes in it before looking again is of use
        self._others = bytearray()  # whole packets for the client; at most what one piece holds
        self._messages: list[tuple[int, bytes]] = []  # first byte and body; at most what one piece holds
        self._ended: bool | OSError = False
        self._written = bytearray()  # at most what is sent in one turn of the loop

    def __getattr__(self, name: str) -> Any:
        return getattr(self._inner, name)

    def fileno(self) -> int:
        return int(self._inner.fileno())

    def pending(self) -> int:
        """Bytes that can be read without asking the system."""
        return len(self._others) or (self._inner.pending() if isinstance(self._inner, ssl.SSLSocket) else 0)

    # ---- reading

    def fill(self) -> None:
        """Read one piece and sort its packets. An end or a fault is the client's to find, in order."""
        try:
            piece = self._inner.recv(PIECE)
        except (BlockingIOError, ssl.SSLWantReadError, ssl.SSLWantWriteError):
            return
        except OSError as trouble:
            self._ended = trouble
            return
        self._ended = not piece
        self._held += piece
        if len(self._held) >= self._wanted:
            self._sort(bytes(self._held))

    def _sort(self, stream: bytes) -> None:
        start, size = 0, len(stream)
        self._wanted = 2
        while size - start >= 2:
            length, body = stream[start + 1], start + 2
            if length >= 0x80:
                length, body = _length(stream, start + 1)
                if not body:
                    break
            end = body + length
            if end > size:
                self._wanted = end - start
                break
            if stream[start] >> 4 == PUBLISH:
                self._messages.append((stream[start], stream[body:end]))
            else:
                self._others += stream[start:end]
            start = end
        self._held = bytearray(stream[start:])

    def taken(self) -> list[Publication]:
        """The messages that came since last asked, in their order.

        Raises
        ------
        ValueError
            A packet is not as MQTT has it: nothing after it can be trusted.
        """
        messages, self._messages = self._messages, []
        modern = self._modern
        return [publication(first, body, modern=modern) for first, body in messages]

    def recv(self, size: int) -> bytes:
        """For the client: its packets, then the end."""
        if self._others:
            piece = bytes(self._others[:size])
            del self._others[:size]
            return piece
        if isinstance(self._ended, OSError):
            raise self._ended
        if self._ended:
            return b""
        raise BlockingIOError

    @property
    def trouble(self) -> OSError | None:
        """What ended it, where that was a fault and not a plain end."""
        return self._ended if isinstance(self._ended, OSError) else None

    @property
    def for_client(self) -> bool:
        """Whether the client has something to find: a packet or the end."""
        return bool(self._others or self._ended)

    # ---- writing

    def send(self, data: bytes) -> int:
        self._written += data
        return len(data)

    def acknowledge(self, identifiers: Iterable[int]) -> None:
        """Write a PUBACK for each."""
        pack = _PUBACK.pack
        self._written += b"".join([pack(_PUBACK_HEAD, identifier) for identifier in identifiers])

    @property
    def unsent(self) -> int:
        return len(self._written)

    def flush(self) -> None:
        """Send what was written, as far as the socket takes it now."""
        while self._written:
            try:
                sent = self._inner.send(self._written)
            except (BlockingIOError, ssl.SSLWantWriteError, ssl.SSLWantReadError):
                return
            del self._written[:sent]

    def close(self) -> None:
        self._inner.close()


def publication(first: int, body: bytes, *, modern: bool) -> Publication:
    """What a PUBLISH packet says, from its first byte and what follows its length.

    Raises
    ------
    ValueError
        It is not as MQTT has it.
    """
    quality = first >> 1 & 3
    try:
        at = 2 + (body[0] << 8 | body[1])
        name, identifier = body[2:at], 0
        if quality:
            identifier = body[at] << 8 | body[at + 1]
            at += 2
        if modern:
            properties = body[at]
            at += 1
            if properties >= 0x80:
                properties, at = _length(body, at - 1)
            at += properties
    except IndexError as cut:
        raise ValueError("the broker sent a message that is shorter than it says") from cut
    if at > len(body) or quality > 1:
        raise ValueError(
            "the broker sent a message that is shorter than it says"
            if at > len(body)
            else "the broker sent a message at QoS 2 or 3; we subscribe at 1"
        )
    try:
        topic = name.decode()
    except UnicodeDecodeError:
        topic = ""
    return tuple.__new__(Publication, (topic, body[at:], quality, first & 8 != 0, first & 1 != 0, identifier))


def _length(stream: bytes, at: int) -> tuple[int, int]:
    """A length of up to four bytes, low ones first (2.2.2.1), and where it ends; 0, 0 if it is cut off."""
    value = 0
    for place, byte in enumerate(stream[at : at + 4]):
        value |= (byte & 0x7F) << 7 * place
        if byte < 0x80:
            return value, at + place + 1
    if len(stream) >= at + 4:
        raise ValueError("the broker sent a packet whose length is no length of MQTT")
    return 0, 0
