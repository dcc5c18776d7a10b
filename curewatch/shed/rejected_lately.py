"""What was rejected lately, read from the logbook: how often, why, and what to do about it."""

from collections.abc import Iterable
from typing import NamedTuple

from curewatch.logbook import LogbookStore
from curewatch.units import DAY, MINUTE
from curewatch.wire import WHAT_TO_DO, Reason

BACK = DAY  # rejections whose last is older are no longer told [s]
STILL = 15 * MINUTE  # a sensor that was rejected within this time speaks, but is not believed [s]
HARMLESS = {Reason.DUPLICATE}  # one reading that came by two ways


class RecentRejection(NamedTuple):
    """One reason of one sensor, or of a source where no sensor is known."""

    source: str
    sensor: str  # '' where the bytes did not tell
    reason: str
    times: int  # since the begin of the day before, UTC
    last_at: float  # UTC [s]

    @property
    def advised(self) -> str:
        """What to do about it."""
        return WHAT_TO_DO.get(self.reason, "see firmware_notes for the forms that are read")


def lately(logbook: LogbookStore, now: float) -> tuple[RecentRejection, ...]:
    """Every kind of rejection whose last is younger than a day, the latest first."""
    found: dict[tuple[str, str, str], RecentRejection] = {}
    for one in logbook.rejected(start=now - BACK):
        if one.reason in HARMLESS or not now - BACK < one.last_at <= now:
            continue
        key = (one.source, one.sensor, one.reason)
        before = found[key].times if key in found else 0
        found[key] = RecentRejection(*key, before + one.times, one.last_at)
    return tuple(sorted(found.values(), key=lambda one: (-one.last_at, one)))


def of_sensor(
    rejected: Iterable[RecentRejection], sensor: str, since: float | None, now: float
) -> RecentRejection | None:
    """The last rejection of a sensor that has been rejected ever since and still is."""
    after = now - STILL if since is None else max(since, now - STILL)
    return next((one for one in rejected if one.sensor == sensor and one.last_at > after), None)


def told(rejected: Iterable[RecentRejection]) -> str:
    """All of it in a line: how many and why; nothing if there was none."""
    reasons: dict[str, int] = {}
    for one in rejected:
        reasons[one.reason] = reasons.get(one.reason, 0) + one.times
    if not reasons:
        return ""
    each = ", ".join(f"{reason} {times}" for reason, times in reasons.items())
    return f"{sum(reasons.values())} rejected since yesterday: {each}"
