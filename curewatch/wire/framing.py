"""Bytes from a port become whole lines, and nothing else does.

Theory of operation: bytes are appended to a bounded buffer and cut at newlines. What stands before
the first newline after opening is dropped, because a port opened in mid-line gives the tail of a
number as if it were a number; a line of our form is kept where its checksum shows it whole. A board that
reports once a minute is then heard at its first report. A line that outgrows the bound is rejected once
and skipped to its end.

The law kept: any chunking of the same bytes gives the same events, and the buffer never holds more
than ``longest`` bytes plus one chunk.
"""

from curewatch.readings import Rejected
from curewatch.wire import lines
from curewatch.wire.reasons import Reason, reject

LONGEST = 1024  # bytes; the longest line of our form is under 160, a one-line JSON object under 1,000

_TEXT = bytes([9, 13, *range(32, 127)])  # what a line of a small board is made of
_TEXT_AND_END = _TEXT + b"\n"
NOISE_SHARE = 0.3  # share of other bytes from which a fragment is noise rather than a line (assumed)
NOISE_RUN = 3  # noisy fragments in a row that look like a wrong baud rate rather than boot noise (assumed)


def share_of_noise(data: bytes) -> float:
    """The share of bytes that no text line has. Well-formed UTF-8 counts as text."""
    if not data:
        return 0.0
    odd = len(data.translate(None, _TEXT))
    if odd and not data.isascii():
        try:
            data.decode("utf-8")
        except UnicodeDecodeError:
            return odd / len(data)
        odd = sum(1 for byte in data if byte < 32 and byte not in (9, 13)) + data.count(127)
    return odd / len(data)


class LineFramer:
    """Feed it bytes; it gives lines without their ends, and rejections for what can be no line."""

    def __init__(self, longest: int = LONGEST, source: str = "", *, from_start: bool = False) -> None:
        self.longest = longest  # bytes a line may have
        self.source = source
        self._buffer = b""  # never more than `longest` bytes between calls
        self._dropping = not from_start  # the first fragment after opening may be cut
        self._skipping = False  # inside a line that was already rejected as too long
        self._noisy = 0  # noisy fragments in a row, counted up to NOISE_RUN
        self.dropped = 0  # bytes of first fragments dropped; only counted

    def reopened(self) -> None:
        """The port was opened anew: what is in the buffer was cut, and the next fragment may be."""
        self._buffer = b""
        self._dropping = True
        self._skipping = False

    def feed(self, data: bytes, at: float = 0.0) -> list[bytes | Rejected]:
        """Whole lines and rejections, in the order they ended."""
        data = self._buffer + data
        pieces = data.split(b"\n")
        self._buffer = pieces.pop()
        events: list[bytes | Rejected] = []
        if pieces:
            gap = self._dropping or self._skipping
            events.extend(self._after_gap(pieces) if gap else pieces)
            if self._noisy or data.translate(None, _TEXT_AND_END) or max(map(len, pieces)) > self.longest:
                events = [self._judge(event, at) for event in events]
        if len(self._buffer) > self.longest:
            events.extend(self._overflow(at))
        return events

    def close(self, at: float = 0.0) -> list[Rejected]:
        """The end of the stream: a line without its end was cut, even when it looks whole."""
        rest, self._buffer = self._buffer, b""
        if not rest or self._dropping or self._skipping:
            return []
        return [reject(Reason.CUT_OFF, rest, at, self.source)]

    def _after_gap(self, events: list[bytes]) -> list[bytes]:
        """Leave out what began before the gap, unless its checksum holds; one too long is rejected later."""
        first = len(events[0])
        too_long = first > self.longest
        keep_first = not self._skipping and (too_long or lines.is_whole(events[0]))
        if not self._skipping and not keep_first:
            self.dropped += first
        self._dropping = self._skipping = False
        return events if keep_first else events[1:]

    def _overflow(self, at: float) -> list[Rejected]:
        head, self._buffer = self._buffer[: self.longest], b""
        if self._skipping:
            return []
        self._skipping = True
        return [self._reject_long(head, at)]

    def _reject_long(self, head: bytes, at: float) -> Rejected:
        if share_of_noise(head) > NOISE_SHARE:
            return self._noise(head, at)
        return reject(Reason.TOO_LONG, head, at, self.source)

    def _judge(self, line: bytes | Rejected, at: float) -> bytes | Rejected:
        if isinstance(line, Rejected):
            return line
        if len(line) > self.longest:
            return self._reject_long(line[: self.longest], at)
        if share_of_noise(line) > NOISE_SHARE:
            return self._noise(line, at)
        if line.strip():
            self._noisy = 0
        return line

    def _noise(self, line: bytes, at: float) -> Rejected:
        self._noisy = min(self._noisy + 1, NOISE_RUN)
        reason = Reason.WRONG_BAUD if self._noisy >= NOISE_RUN else Reason.NOT_TEXT
        return reject(reason, line, at, self.source)
