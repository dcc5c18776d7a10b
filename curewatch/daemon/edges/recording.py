"""A recording as an edge: its pieces become events at their own moments, on a clock that it moves itself."""

from collections.abc import Iterator
from datetime import UTC, tzinfo
from io import SEEK_END, BytesIO
from pathlib import Path
from typing import BinaryIO, NamedTuple

from curewatch.clock import Instant
from curewatch.daemon.events import BytesArrived, Event, MessageArrived, Tick
from curewatch.errors import UsageError, reason
from curewatch.wire import recordings
from curewatch.wire.plausibility import CLOCK_SET

SOURCE = "recording"
LAST = 60.0  # after the last piece, so that what it brought is looked at [s]
MOST_TICKS = 120  # a silence of the recording is walked in steps of at least this part of what is left
END = 65_536  # bytes at each end of a file that are looked at for its span
SHOWN = 60  # bytes of a first line in a message


class RecordingSpan(NamedTuple):
    """From when to when a recording speaks, as far as its first and last lines tell."""

    start: float  # UTC [s]
    end: float  # UTC [s]


def open_recording(path: Path, zone: tzinfo = UTC) -> "Recording":
    """The recording in a file; ``zone`` is that of stamps without an offset.

    Raises
    ------
    UsageError
        The file cannot be read, or no reading with a time of its own stands at its begin.
    """
    try:
        with path.open("rb") as stream:
            stamped = [piece.at for piece in recordings.pieces(_ends(stream), zone=zone) if piece.at > 0.0]
    except OSError as trouble:
        raise UsageError(f"{path}: {reason(trouble)}") from trouble
    if not stamped:
        raise UsageError(
            f"{path}: no reading with a time of its own in it{_begins(path)}; a recording is lines of our "
            "form with at=, SenML, or CSV whose first line names time, temperature, humidity"
        )
    # a board whose clock was not yet set must not take it back to 1970; all of a recording may be old
    believed = [at for at in stamped if at >= CLOCK_SET] or stamped
    return Recording(path, RecordingSpan(min(believed), max(believed)), zone)


def _begins(path: Path) -> str:
    """Its first line, as far as it can be shown."""
    with path.open("rb") as stream:
        first = stream.readline(SHOWN).decode("ascii", "replace").strip()
    shown = "".join(letter for letter in first if " " <= letter <= "~")
    return f" (it begins {shown!r})" if shown else ""


def _ends(stream: BinaryIO) -> BinaryIO:
    """The first and last whole lines of a long file of lines; all of any other."""
    head = stream.read(END)
    size = stream.seek(0, SEEK_END)
    if size <= 2 * END or b"\n" not in head or head.lstrip()[:1] == b"[":
        stream.seek(0)
        return stream
    stream.seek(size - END)
    tail = stream.read(END).partition(b"\n")[2]
    return BytesIO(head.rpartition(b"\n")[0] + b"\n" + tail)


class Recording:
    """The events of one file."""

    def __init__(self, path: Path, span: RecordingSpan, zone: tzinfo = UTC) -> None:
        self.path = path
        self._zone = zone
        self.span = span

    def events(self, step: float = 60.0) -> Iterator[Event]:
        """Pieces as bytes or messages, and a tick for each ``step`` that passes between them. [s]

        Time only moves forward: a piece that is stamped earlier than the one before arrives late, as it
        would in life.
        """
        begin = now = ticked = self.span.start
        with self.path.open("rb") as stream:
            for piece in recordings.pieces(stream, now, self._zone):
                while piece.at - ticked >= step:
                    ticked = _next(ticked, piece.at, step)
                    yield Tick(Instant(ticked, ticked - begin))
                now = max(now, piece.at)
                yield _event(piece, Instant(now, now - begin))
        yield Tick(Instant(now + LAST, now + LAST - begin))


def _next(ticked: float, until: float, step: float) -> float:
    """A step further; in a long silence, of which there may be years, the steps grow."""
    return ticked + max(step, min((until - ticked) / MOST_TICKS, until - ticked))


def _event(piece: recordings.Piece, at: Instant) -> Event:
    """A SenML pack is one message; anything else is a line."""
    if piece.data[:1] == b"[":
        return MessageArrived(SOURCE, "", piece.data, at)
    return BytesArrived(SOURCE, piece.data + b"\n", at)
