"""When a weather service is asked for a forecast, and what follows from its answer. No input or output.

Theory of operation: services ask for four things. Say who you are; ask with the stamp of the last answer, so
that nothing is sent twice; do not ask before the answer has expired; leave time after trouble. The memory of
that is a small file beside the logbook, so that a restart does not ask again. Law: nobody is asked before
``not_before``, whatever is typed. A shed's own delay keeps many sheds from asking in the same second.
"""

import zlib
from collections.abc import Mapping
from email.utils import parsedate_to_datetime
from typing import NamedTuple

import msgspec

from curewatch.units import DAY, HOUR, MINUTE

SOONEST = 30 * MINUTE  # between two answers, whatever the service allows [s]
DELAY = (3 * MINUTE, 10 * MINUTE)  # after an answer has expired [s]
FIRST_RETRY, LONGEST_RETRY = 10 * MINUTE, 6 * HOUR  # after trouble, doubled each time [s]
REFUSED = {301, 302, 303, 307, 308, 400, 401, 403, 404, 405, 406, 410}  # it will not change by itself
GOOD, SAME = {200, 203}, 304


class Memory(msgspec.Struct, frozen=True, kw_only=True):
    """What is known of the service."""

    url: str = ""  # of which all this is known
    asked: float | None = None  # UTC [s]
    fetched: float | None = None  # UTC of its last good answer [s]
    not_before: float = 0.0  # UTC [s]
    last_modified: str = ""  # as the service stamped its last answer
    failures: int = 0  # since the last good answer
    trouble: str = ""  # of the last answer; empty if it was good


class ServiceAnswer(NamedTuple):
    """What came back."""

    status: int = 0  # of HTTP; 0 where nothing came
    headers: Mapping[str, str] = {}  # names in small letters
    body: bytes = b""
    trouble: str = ""  # why nothing came


def due(memory: Memory, url: str, now: float) -> bool:
    """Whether it may be asked now. A clock that was set back far does not silence it for ever."""
    return memory.url != url or now >= memory.not_before or memory.not_before > now + 2 * DAY


def after(memory: Memory, answer: ServiceAnswer, url: str, now: float) -> Memory:
    """What is known after its answer."""
    if answer.status not in GOOD | {SAME}:
        return failed(memory, answer, url, now)
    stamp = answer.headers.get("last-modified", "") if answer.status != SAME else memory.last_modified
    expires = _moment(answer.headers.get("expires", "")) or now
    return Memory(
        url=url,
        asked=now,
        fetched=now,
        not_before=min(max(expires, now + SOONEST) + _delay(url), now + DAY),
        last_modified=stamp[:100] if stamp.isascii() and stamp.isprintable() else "",
    )


def failed(memory: Memory, answer: ServiceAnswer, url: str, now: float) -> Memory:
    """What is known after trouble: the wait doubles, or is what the service asks for."""
    failures = 1 + (memory.failures if memory.url == url else 0)
    wait = min(FIRST_RETRY * 2.0 ** min(failures - 1, 20), LONGEST_RETRY)
    if answer.status in REFUSED:
        wait = DAY
    asked_for = _retry_after(answer.headers.get("retry-after", ""), now)
    return Memory(
        url=url,
        asked=now,
        fetched=memory.fetched if memory.url == url else None,
        not_before=now + min(max(wait, asked_for), DAY),
        last_modified=memory.last_modified if memory.url == url else "",
        failures=failures,
        trouble=answer.trouble or f"it answered {answer.status}",
    )


def _retry_after(text: str, now: float) -> float:
    """Seconds to wait, from a number of seconds or a date. RFC 9110, 10.2.3"""
    if text.strip().isdigit():
        return float(text.strip()[:9])
    return max(0.0, (_moment(text) or now) - now)


def _moment(text: str) -> float | None:
    """UTC of a date in HTTP. RFC 9110, 5.6.7"""
    try:
        return parsedate_to_datetime(text).timestamp()
    except (TypeError, ValueError, OverflowError, OSError):
        return None


def _delay(url: str) -> float:
    low, high = DELAY
    return low + (high - low) * (zlib.crc32(url.encode()) % 1000) / 1000


def load(data: bytes) -> Memory:
    """The memory as it was kept; an empty one where it cannot be read."""
    try:
        return msgspec.json.decode(data, type=Memory)
    except msgspec.MsgspecError:
        return Memory()


def dump(memory: Memory) -> bytes:
    """The memory, to be kept."""
    return msgspec.json.encode(memory)
