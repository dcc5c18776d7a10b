"""A socket that takes the messages out of a broker's stream before the client sees it.

Theory of operation: the client (paho) reads each packet with three calls and makes seven objects of it; at
tens of thousands of messages a second that is two thirds of all work. So the stream is read in large
pieces, whole PUBLISH packets are set aside for us, and every other packet (CONNACK, SUBACK, PINGRESP …)
is left for the client, which goes on doing all that is seldom. Law: cut anywhere, the same stream gives
the same messages and the same bytes for the client.

A message longer than LONGEST is never held: its length is read first, its topic and identifier are kept,
and the rest is discarded as it streams. It is given on at its end, without its content, to be rejected,
counted and acknowledged: a broker that gets no acknowledgement sends it again at each start.

Source: MQTT 5.0 (OASIS 2019), 2.1 packet form, 3.3 PUBLISH, 3.4 PUBACK; MQTT 3.1.1 differs by the properties.
"""

import ssl
import struct
import threading
from collections.abc import Iterable
from typing import Any, NamedTuple

from curewatch.wire.parser import PAYLOAD_LONGEST

PIECE = 16_384  # bytes read at once: some ninety messages; larger pieces are not faster, and take memory
PUBLISH = 3  # packet type
# Bytes of a packet that is held: the largest payload that is read, and room for its topic and properties.
# Asked of the broker, too, where the protocol can ask.
LONGEST = PAYLOAD_LONGEST + 4_464
_PINGREQ = b"\xc0\x00"

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
    discarded: int = 0  # bytes of a message that was too long to hold; its payload is then empty


class MessageSocket:
    """Wraps a connected socket; what is not named here is the socket's own."""

    def __init__(self, inner: Any, *, modern: bool) -> None:
        self._inner = inner
        self._modern = modern  # MQTT 5: properties stand before the payload
        self._held = bytearray()  # an unfinished packet; at most one, and one piece
        self._wanted = 2  # bytes in it before looking again is of use
        self._others = bytearray()  # whole packets for the client; at most what one piece holds
        # first byte, body, and how much was discarded; at most what one piece holds
        self._messages: list[tuple[int, bytes, int]] = []
        self._too_long: tuple[int, bytes, int] | None = None  # the one that is passing by, its beginning
        self._passing = 0  # bytes of it that are still to come
        self._passed = False  # some came since last asked
        self._ended: bool | OSError = False
        self._written = bytearray()  # whole packets; at most what is sent in one turn of the loop
        self._writing = threading.Lock()

    def __getattr__(self, name: str) -> Any:
        return getattr(self._inner, name)

    def fileno(self) -> int:
        return int(self._inner.fileno())

    def do_handshake(self) -> None:
        if isinstance(self._inner, ssl.SSLSocket):
            self._inner.do_handshake()

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
        if self._passing:
            piece = self._discard(piece)
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
            if end - start > LONGEST:
                begun = start
                start = self._begin_discarding(stream, start, body, length)
                if start == begun:
                    break
                continue
            if end > size:
                self._wanted = end - start
                break
            if stream[start] >> 4 == PUBLISH:
                self._messages.append((stream[start], stream[body:end], 0))
            else:
                self._others += stream[start:end]
            start = end
        self._held = bytearray(stream[start:])

    def _begin_discarding(self, stream: bytes, start: int, body: int, length: int) -> int:
        """Of a packet that is too long: keep topic and identifier, let the rest pass. Where to go on.

        That is its own start as long as its topic is not all there.
        """
        if stream[start] >> 4 != PUBLISH:
            raise ValueError(f"the broker sent a packet of {length} bytes that is no message")
        known = len(stream) - body
        needed = 4 + (stream[body] << 8 | stream[body + 1]) if known >= 2 else 4
        if known < needed:
            self._wanted = body - start + needed
            return start
        self._too_long = stream[start], stream[body : body + needed], length
        self._passing = length
        return len(stream) - len(self._discard(stream[body:]))

    def _discard(self, piece: bytes) -> bytes:
        """Let go of what belongs to the packet that is too long; what is left of the piece."""
        gone = min(len(piece), self._passing)
        self._passing -= gone
        self._passed = self._passed or gone > 0
        if not self._passing and self._too_long is not None:
            self._messages.append(self._too_long)
            self._too_long = None
        return piece[gone:]

    def keep_alive(self) -> bool:
        """Whether a long message has been passing since last asked; if so the broker is told that we live.

        An answer to the client's own ping waits behind such a message: the client must not judge by it.
        """
        passed, self._passed = self._passed, False
        if passed:
            self.send(_PINGREQ)
        return passed

    def taken(self) -> list[Publication]:
        """The messages that came since last asked, in their order.

        Raises
        ------
        ValueError
            A packet is not as MQTT has it: nothing after it can be trusted.
        """
        messages, self._messages = self._messages, []
        modern = self._modern
        return [
            _without_content(first, body, size) if size else publication(first, body, modern=modern)
            for first, body, size in messages
        ]

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
        with self._writing:
            self._written += data
        return len(data)

    def acknowledge(self, identifiers: Iterable[int]) -> None:
        """Write a PUBACK for each."""
        pack = _PUBACK.pack
        self.send(b"".join([pack(_PUBACK_HEAD, identifier) for identifier in identifiers]))

    @property
    def any_thread_may_send(self) -> bool:
        """Whether a thread may :meth:`flush` while another reads. TLS is for one at a time."""
        return not isinstance(self._inner, ssl.SSLSocket)

    @property
    def unsent(self) -> int:
        return len(self._written)

    def flush(self) -> None:
        """Send what was written, as far as the socket takes it now."""
        with self._writing:
            while self._written:
                try:
                    sent = self._inner.send(self._written)
                except (BlockingIOError, ssl.SSLWantWriteError, ssl.SSLWantReadError):
                    return
                del self._written[:sent]

    def close(self) -> None:
        self._inner.close()


class SortingContext:
    """Wraps a client's socket as an ``ssl.SSLContext`` does, with TLS or without."""

    check_hostname = True  # the client leaves that to the TLS context in here

    def __init__(self, secured: ssl.SSLContext | None, *, modern: bool) -> None:
        self._secured = secured
        self._modern = modern

    def wrap_socket(self, sock: Any, **options: Any) -> MessageSocket:
        inner = self._secured.wrap_socket(sock, **options) if self._secured else sock
        return MessageSocket(inner, modern=self._modern)


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
        raise ValueError("the broker sent a message that is shorter than it states") from cut
    if at > len(body) or quality > 1:
        raise ValueError(
            "the broker sent a message that is shorter than it states"
            if at > len(body)
            else "the broker sent a message at QoS 2 or 3; we subscribe at 1"
        )
    try:
        topic = name.decode()
    except UnicodeDecodeError:
        topic = ""
    return tuple.__new__(
        Publication, (topic, body[at:], quality, first & 8 != 0, first & 1 != 0, identifier, 0)
    )


def _without_content(first: int, beginning: bytes, size: int) -> Publication:
    """A message that was too long, from its beginning. Raises ValueError, too."""
    end = len(beginning) if first >> 1 & 3 else len(beginning) - 2  # QoS 0 has no identifier there
    return publication(first, beginning[:end], modern=False)._replace(discarded=size)


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
