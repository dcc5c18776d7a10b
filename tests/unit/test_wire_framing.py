"""Bytes become whole lines, however they are cut."""

import itertools

from hypothesis import given
from hypothesis import strategies as st

from curewatch.readings import Rejected
from curewatch.wire.framing import LONGEST, LineFramer
from curewatch.wire.lines import encode
from curewatch.wire.reasons import Reason

PIECES = st.lists(
    st.one_of(
        st.sampled_from(
            [
                b"T=12.5 RH=80.9\n",
                encode("bench", 12.5, 80.9) + b"\r\n",
                b"\n",
                b"\r\n",
                b"\x00\xff\xfe\x80\n",
                b"x" * 70,
                b"\xc2\xb0C\n",
            ]
        ),
        st.binary(max_size=80),
    ),
    max_size=12,
).map(b"".join)


def fed(data: bytes, cuts: list[int], *, from_start: bool = False) -> list[bytes | Rejected]:
    framer = LineFramer(64, "port", from_start=from_start)
    edges = sorted({0, len(data), *(cut % (len(data) + 1) for cut in cuts)})
    events: list[bytes | Rejected] = []
    for begin, end in itertools.pairwise(edges):
        events.extend(framer.feed(data[begin:end]))
    return events + framer.close()


@given(PIECES, st.lists(st.integers(0, 1000), max_size=20), st.booleans())
def test_any_chunking_of_the_bytes_gives_the_same_events(data, cuts, from_start):
    """How the operating system cuts the stream changes nothing."""
    assert fed(data, cuts, from_start=from_start) == fed(data, [], from_start=from_start)


def test_the_first_fragment_after_opening_is_dropped():
    """A port opened in mid-line shows the tail of a number; it is nobody's number."""
    framer = LineFramer()
    assert framer.feed(b"0.9\nT=12.5 RH=80.9\n") == [b"T=12.5 RH=80.9"]
    assert framer.dropped == 3


def test_a_first_fragment_whose_checksum_holds_is_kept():
    """A board that reports once a minute is heard at once; no cut of its line ever passes."""
    line = encode("bench", 12.5, 80.9, sequence=118)
    for end in (b"\n", b"\r\n"):
        framer = LineFramer()
        assert framer.feed(line + end) == [line + end.strip(b"\n")]
        assert framer.dropped == 0
        framer.reopened()
        assert framer.feed(line + end) == [line + end.strip(b"\n")]
    cut = [line[start:] for start in range(1, len(line) + 1)]
    other = [line.replace(b"12.5", b"22.5"), line.replace(b"cw1", b"cw2"), b"x" + line]
    for fragment in cut + other:
        framer = LineFramer()
        assert framer.feed(fragment + b"\n" + line + b"\n") == [line]
        assert framer.dropped == len(fragment)


def test_after_an_unplug_the_cut_half_never_joins_the_next_line():
    """Half a line from before and half a line from after would make a number that nobody sent."""
    framer = LineFramer(from_start=True)
    assert framer.feed(b"T=12.5 RH=8") == []
    framer.reopened()
    assert framer.feed(b"1.2\nT=12.6 RH=80.0\n") == [b"T=12.6 RH=80.0"]


def test_a_line_without_its_end_is_refused_as_cut():
    """What stands in the buffer at the end of a stream may be a cut number."""
    framer = LineFramer(from_start=True)
    assert framer.feed(b"T=12.5 RH=8") == []
    (event,) = framer.close(5.0)
    assert event == Rejected(Reason.CUT_OFF, b"T=12.5 RH=8", 5.0, "")


def test_ten_megabytes_without_a_newline_are_one_refusal_and_bounded_memory():
    """A device that never ends its line is refused once, and the next line is read."""
    framer = LineFramer(from_start=True)
    events: list[bytes | Rejected] = []
    for _ in range(2560):
        events.extend(framer.feed(b"a" * 4096))
        assert len(framer._buffer) <= LONGEST
    events.extend(framer.feed(b"\nT=1 RH=2\n"))
    assert [event.reason if isinstance(event, Rejected) else event for event in events] == [
        Reason.TOO_LONG,
        b"T=1 RH=2",
    ]
    assert len(events[0].raw) <= 160


def test_noise_that_goes_on_is_called_a_wrong_baud_rate():
    """One noisy fragment is boot noise; three in a row say that the rate is wrong; a good line ends it."""
    framer = LineFramer(from_start=True)
    noise = bytes(range(128, 190)) + b"\n"
    reasons = [event.reason for event in framer.feed(noise * 4)]
    assert reasons == [Reason.NOT_TEXT, Reason.NOT_TEXT, Reason.WRONG_BAUD, Reason.WRONG_BAUD]
    assert framer.feed(b"T=1 RH=2\n") == [b"T=1 RH=2"]
    assert [event.reason for event in framer.feed(noise)] == [Reason.NOT_TEXT]


def test_noise_without_newlines_is_a_wrong_baud_rate_too():
    """At a wrong rate newlines may never appear."""
    framer = LineFramer(64, from_start=True)
    reasons = []
    for _ in range(4):
        reasons.extend(event.reason for event in framer.feed(bytes(range(128, 228)) + b"\n"))
    assert reasons[-1] == Reason.WRONG_BAUD
