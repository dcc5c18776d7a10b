"""Bad data counted: the first of a kind is told at once, the rest after a minute, two, four … an hour.

A sensor that prints noise all night must not fill the screen, and must not go unnoticed either: what goes on
is told ever more seldom, what was quiet for as long as its last wait begins anew. The logbook keeps its own
counts; these are for whoever looks.
"""

from dataclasses import dataclass

from curewatch.daemon.events import Show
from curewatch.readings import Rejected
from curewatch.wire import WHAT_TO_DO, Reason

FIRST, LAST = 60.0, 3600.0  # between two notes of one kind: doubled each time [s]
KINDS = 200  # kinds counted by name; what is beyond goes under one name
LOUD = {Reason.TWO_DEVICES, Reason.NO_SHED}  # somebody must act, or a sensor stays unknown
OTHERS = ("(others)", "(others)", "various")


@dataclass(slots=True)
class Count:
    """One kind of rejection: how many since last told of, and how many in all."""

    since: int = 0
    total: int = 0
    told: float = float("-inf")  # monotonic, when last told of [s]
    wait: float = 0.0  # from then to the next note [s]
    sample: Rejected | None = None


class RejectionTally:
    """All kinds of rejections so far, at most KINDS of them."""

    def __init__(self) -> None:
        self.counts: dict[tuple[str, str, str], Count] = {}  # (source, sensor, reason)

    @property
    def total(self) -> int:
        return sum(count.total for count in self.counts.values())

    def add(self, rejected: Rejected) -> None:
        kind = (rejected.source, rejected.sensor, str(rejected.reason))
        if kind not in self.counts and len(self.counts) >= KINDS:
            kind = OTHERS
        count = self.counts.setdefault(kind, Count())
        count.since += 1
        count.total += 1
        count.sample = rejected

    def due(self, monotonic: float, *, everything: bool = False) -> list[Show]:
        """A line for each kind that has something new and whose wait is over."""
        told = []
        for (source, sensor, reason), count in self.counts.items():
            if count.since and (everything or monotonic - count.told >= count.wait) and count.sample:
                detail = {
                    "source": source,
                    "sensor": sensor,
                    "reason": reason,
                    "count": count.since,
                    "total": count.total,
                    "sample": _text(count.sample.raw),
                }
                whose = f" ({sensor})" if sensor else ""
                text = f"{source}{whose}: {count.since} rejected: {reason}"
                if count.wait == 0.0 and reason in WHAT_TO_DO:  # said once of each kind
                    text += f"; {WHAT_TO_DO[reason]}"
                told.append(Show("rejected", count.sample.at, text, detail, loud=reason in LOUD))
                goes_on = monotonic - count.told < 2 * count.wait
                count.wait = min(LAST, 2 * count.wait) if goes_on else FIRST
                count.since, count.told = 0, monotonic
        return told


def _text(raw: bytes) -> str:
    """Bytes from outside as plain text: nothing in it can move a cursor or be markup of a record."""
    return raw.decode("ascii", "backslashreplace").encode("unicode_escape").decode("ascii")
