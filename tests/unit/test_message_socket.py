"""The stream of a broker, cut anywhere: our messages and the client's packets."""

import socket
import ssl
import threading
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from curewatch.clock import SystemClock
from curewatch.configuration import MqttSource
from curewatch.daemon.edges import message_socket
from curewatch.daemon.edges.message_socket import MessageSocket, Publication, publication
from curewatch.daemon.edges.mqtt import MqttBroker
from curewatch.daemon.inbox import Inbox

# by hand from MQTT 5.0 (OASIS 2019), 2.2.2 and 3.3; origin: published
PINGRESP = b"\xd0\x00"
SUBACK = b"\x90\x04\x00\x01\x00\x01"
PLAIN = b"\x32\x0c\x00\x03a/b\x00\x0a\x00" + b"12.3"  # QoS 1, identifier 10, no properties
KEPT = b"\x31\x08\x00\x01a\x02\x01\x01" + b"1\n"  # QoS 0, retained, one property
AGAIN = b"\x3a\x87\x01\x00\x01a\x12\x34\x00" + b"7" * 129  # a duplicate of two length bytes
STREAM = SUBACK + PLAIN + PINGRESP + KEPT + AGAIN + PINGRESP
MESSAGES = [
    Publication("a/b", b"12.3", 1, False, False, 10),
    Publication("a", b"1\n", 0, False, True, 0),
    Publication("a", b"7" * 129, 1, True, False, 0x1234),
]


class Pieces:
    """A connection that gives a stream in given pieces, and keeps what is sent."""

    def __init__(self, pieces: list[bytes]) -> None:
        self.pieces, self.sent = pieces, b""

    def recv(self, size: int) -> bytes:
        return self.pieces.pop(0) if self.pieces else b""

    def send(self, data: bytes) -> int:
        self.sent += data[:3]
        return len(data[:3])


def read_all(sock: MessageSocket, turns: int) -> tuple[list[Publication], bytes]:
    messages, others = [], b""
    for _ in range(turns):
        sock.fill()
        messages += sock.taken()
        while sock.for_client and (byte := sock.recv(1)):
            others += byte
    return messages, others


@given(st.sets(st.integers(1, len(STREAM) - 1)))
def test_any_cut_gives_the_same(cuts: set[int]) -> None:
    """However the stream is cut, the messages and what is the client's are the same."""
    places = [0, *sorted(cuts), len(STREAM)]
    pieces = [STREAM[a:b] for a, b in pairwise(places)]
    sock = MessageSocket(Pieces(pieces), modern=True)
    assert read_all(sock, len(pieces)) == (MESSAGES, SUBACK + PINGRESP + PINGRESP)


def test_the_older_protocol_has_no_properties() -> None:
    """In MQTT 3.1.1 the payload begins where MQTT 5 has the properties."""
    assert publication(0x32, b"\x00\x01a\x00\x0a12", modern=False) == Publication(
        "a", b"12", 1, False, False, 10
    )


def test_a_topic_that_is_no_text_belongs_to_nobody() -> None:
    """A topic that is not UTF-8 is still taken, so that it can be refused and acknowledged."""
    assert publication(0x32, b"\x00\x01\xff\x00\x0a\x00", modern=True).topic == ""


@pytest.mark.parametrize(
    ("first", "body"),
    [
        (0x32, b""),
        (0x32, b"\x00\x09a"),
        (0x32, b"\x00\x01a\x00"),
        (0x32, b"\x00\x01a\x00\x0a\x05"),
        (0x34, PLAIN[2:]),
    ],
)
def test_what_is_not_as_it_says_ends_the_connection(first: int, body: bytes) -> None:
    """A message shorter than it says, or at a quality never asked for, is an error and never a reading."""
    with pytest.raises(ValueError, match="the broker sent a message"):
        publication(first, body, modern=True)


def test_a_length_without_an_end_is_refused() -> None:
    """Five length bytes are not MQTT."""
    with pytest.raises(ValueError, match="no length"):
        MessageSocket(Pieces([b"\x32\xff\xff\xff\xff\x01"]), modern=True).fill()


def test_the_end_comes_after_what_came_before_it() -> None:
    """The client finds its last packet first, then that the connection has ended."""
    sock = MessageSocket(Pieces([PINGRESP]), modern=True)
    sock.fill()
    sock.fill()
    assert sock.for_client
    assert (sock.recv(9), sock.recv(9)) == (PINGRESP, b"")


def test_acknowledgements_are_written_whole() -> None:
    """Each is a PUBACK of four bytes (3.4), however little the connection takes at once."""
    connection = Pieces([])
    sock = MessageSocket(connection, modern=True)
    sock.acknowledge((10, 0x1234))
    while sock.unsent:
        sock.flush()
    assert connection.sent == b"\x40\x02\x00\x0a\x40\x02\x12\x34"


def test_packets_of_two_threads_stay_whole() -> None:
    """The loop acknowledges while the broker's thread writes: neither sends a part of the other's."""

    class Interrupted(Pieces):
        def send(self, data: bytes) -> int:
            data = bytes(data)  # as the system takes it
            if not other.ident:
                other.start()
                other.join(0.1)  # it may not come in between
            return super().send(data)

    def acknowledge() -> None:
        sock.acknowledge((11,))
        sock.flush()

    other = threading.Thread(target=acknowledge)
    connection = Interrupted([])
    sock = MessageSocket(connection, modern=True)
    sock.acknowledge((10,))
    sock.flush()
    other.join()
    assert connection.sent == b"\x40\x02\x00\x0a\x40\x02\x00\x0b"


def test_what_is_committed_is_acknowledged_at_once_on_its_own_connection() -> None:
    """Not on another one, and over TLS by the thread that reads."""
    broker = MqttBroker("yard", MqttSource(), Inbox(), SystemClock())
    connection = Pieces([])
    try:
        broker._open = (2, MessageSocket(connection, modern=True))
        broker.acknowledge(1, (10,))
        assert connection.sent == b""
        broker.acknowledge(2, (11,))
        assert connection.sent == b"\x40\x02\x00\x0b"
        with socket.socket() as plain:
            secured = ssl.create_default_context().wrap_socket(plain, server_hostname="creek.example")
            broker._open = (2, MessageSocket(secured, modern=True))
            broker.acknowledge(2, (12,))
            secured.close()
    finally:
        broker._wake_read.close()
        broker._wake_write.close()
    assert list(broker._orders) == [(1, (10,)), (2, (12,))]


LARGE = b"\x32\xac\x02\x00\x03a/b\x00\x0b" + b"8" * 293  # QoS 1, identifier 11, 300 bytes
LARGE_0 = b"\x30\xac\x02\x00\x03a/b" + b"9" * 295
LONG_TOPIC = b"\x32\x8b\x02\x00\xfa" + b"t" * 250 + b"\x00\x0c" + b"1" * 13  # ends soon after its topic
PASSING = PLAIN + LARGE + PINGRESP + LARGE_0 + LONG_TOPIC + KEPT
PASSED = [
    MESSAGES[0],
    Publication("a/b", b"", 1, False, False, 11, 300),
    Publication("a/b", b"", 0, False, False, 0, 300),
    Publication("t" * 250, b"", 1, False, False, 12, 267),
    MESSAGES[1],
]


@given(st.sets(st.integers(1, len(PASSING) - 1)))
def test_what_is_too_long_is_let_pass_however_it_is_cut(cuts: set[int]) -> None:
    """Topic, identifier and length are told at its end; nothing of what follows is lost."""
    places = [0, *sorted(cuts), len(PASSING)]
    pieces = [PASSING[a:b] for a, b in pairwise(places)]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(message_socket, "LONGEST", 200)
        sock = MessageSocket(Pieces(pieces), modern=True)
        assert read_all(sock, len(pieces)) == (PASSED, PINGRESP)


def test_little_is_held_of_what_is_too_long() -> None:
    """Of 3 MB nothing stays but the beginning; meanwhile the broker is told that we live."""
    head = b"\x32\xc7\x8d\xb7\x01\x00\x03a/b\x00\x0b"
    connection = Pieces([head, *[bytes(16_000)] * 187, bytes(8_000)])
    sock = MessageSocket(connection, modern=False)
    for _ in range(187):
        sock.fill()
    assert len(sock._held) == 0
    assert sock.keep_alive()
    assert not sock.keep_alive()
    assert sock.taken() == []
    sock.fill()
    sock.fill()
    assert sock.taken() == [Publication("a/b", b"", 1, False, False, 11, 3_000_007)]


def test_a_long_packet_that_is_no_message_ends_the_connection() -> None:
    """Only messages may be long: nothing else is worth waiting for."""
    with pytest.raises(ValueError, match="no message"):
        MessageSocket(Pieces([b"\x90\xff\xff\x7f" + bytes(9)]), modern=True).fill()
