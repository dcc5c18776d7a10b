"""Instants and clocks. Nothing else in the package reads a clock.

An :class:`Instant` is taken once, at the edge, and carries both faces of time: ``utc`` for
stamps and ``monotonic`` for durations. The two may disagree when somebody sets the wall clock;
that disagreement is how a clock step is noticed.
"""

import time
from collections.abc import Iterator
from datetime import UTC, datetime
from typing import NamedTuple, Protocol


class Instant(NamedTuple):
    """One moment, on both clocks. ``utc`` is seconds since 1970-01-01T00:00Z. [s]"""

    utc: float
    monotonic: float


class Clock(Protocol):
    """Anything that can say what time it is and wait."""

    def now(self) -> Instant: ...

    def sleep(self, seconds: float) -> None: ...


# The clock that goes on while a laptop sleeps, where there is one (Linux, clock_gettime(2)). With the other,
# which stands still meanwhile, each night under a closed lid would look like a step of the wall clock.
_GOES_ON = getattr(time, "CLOCK_BOOTTIME", time.CLOCK_MONOTONIC)


class SystemClock:
    """The machine's own clocks."""

    def now(self) -> Instant:
        return Instant(time.time(), time.clock_gettime(_GOES_ON))

    def sleep(self, seconds: float) -> None:
        time.sleep(seconds)


class ManualClock:
    """A clock that moves when told: for replays and tests.

    Both faces move together with :meth:`advance`; :meth:`set_utc` moves the wall clock alone.
    """

    def __init__(self, utc: float = 0.0, monotonic: float = 0.0) -> None:
        self._now = Instant(utc, monotonic)

    def now(self) -> Instant:
        return self._now

    def sleep(self, seconds: float) -> None:
        self.advance(seconds)

    def advance(self, seconds: float) -> Instant:
        self._now = Instant(self._now.utc + seconds, self._now.monotonic + seconds)
        return self._now

    def advance_to(self, utc: float) -> Instant:
        """Move both faces forward so that the wall clock reads ``utc``; never backwards."""
        return self.advance(max(0.0, utc - self._now.utc))

    def set_utc(self, utc: float) -> Instant:
        self._now = Instant(utc, self._now.monotonic)
        return self._now


def synchronised() -> bool | None:
    """Whether something keeps this machine's clock to a time server; ``None`` where the kernel cannot say.

    Source: adjtimex(2) of Linux: asked without a change it answers ``TIME_ERROR`` (5) for a clock that
    nobody keeps. Whichever program does it, it tells the kernel.
    """
    import ctypes

    ask = getattr(ctypes.CDLL(None), "adjtimex", None)
    if ask is None:
        return None
    answer = ask(ctypes.create_string_buffer(_TIMEX_BYTES))
    return None if answer < 0 else answer != _TIME_ERROR


_TIME_ERROR = 5
_TIMEX_BYTES = 512  # struct timex is 208 bytes on 64-bit Linux; zeros ask for no change


def iso_utc(utc: float) -> str:
    """The stamp as ISO 8601 in UTC with milliseconds, e.g. ``2026-11-25T20:40:00.000Z``."""
    stamp = datetime.fromtimestamp(round(utc * 1000) / 1000, UTC)
    return stamp.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def utc_from_iso(text: str) -> float:
    """Seconds since the epoch from an ISO 8601 stamp; a stamp without an offset is taken as UTC.

    Raises
    ------
    ValueError
        The text is not an ISO 8601 date and time.
    """
    stamp = datetime.fromisoformat(text)
    return (stamp if stamp.tzinfo else stamp.replace(tzinfo=UTC)).timestamp()


def grid(start: float, end: float, step: float) -> Iterator[float]:
    """Stamps from ``start`` to ``end`` inclusive, a whole number of steps apart. [s]"""
    count = int((end - start) / step + 1e-9)
    return (start + step * index for index in range(count + 1))
