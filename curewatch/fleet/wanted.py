"""Which sheds are to be looked at: when something changed that could change the answer, and now and then.

Law: a shed of which there is news is looked at within :data:`BETWEEN`. Any other is looked at each
:data:`ROUTINE`: the hours go on, and silence turns a go into an unknown.
"""

from collections.abc import Iterable

from curewatch.readings import Reading

BETWEEN = 60.0  # between two looks at one shed while there is news [s]
ROUTINE = 600.0  # between two looks at any other [s]
# ASSUMED: half of what a rule of the advice leaves between its two levels
WARMER, DAMPER = 0.5, 0.03  # [K], [1]
SILENT = 300.0  # a reading after this long is news [s]
SENSORS = 500  # of one shed that are followed


class News:
    """What the readings of one shed have said since they were news last."""

    def __init__(self) -> None:
        self._told: dict[str, Reading] = {}  # by sensor; at most SENSORS
        self._heard: dict[str, float] = {}  # when each was measured last, UTC; at most SENSORS [s]

    def among(self, readings: Iterable[Reading]) -> bool:
        """Whether one of these differs from what was told."""
        found = False
        for one in readings:
            before = self._told.get(one.sensor)
            if before is None and len(self._told) >= SENSORS:
                continue
            if before is None or one.time - self._heard[one.sensor] > SILENT or _differs(before, one):
                self._told[one.sensor] = one
                found = True
            self._heard[one.sensor] = max(one.time, self._heard.get(one.sensor, one.time))
        return found


def _differs(before: Reading, now: Reading) -> bool:
    return _apart(before.temperature, now.temperature) >= WARMER or (
        _apart(before.relative_humidity, now.relative_humidity) >= DAMPER
    )


def _apart(before: float | None, now: float | None) -> float:
    return 0.0 if before is None or now is None else abs(now - before)


class Wanted:
    """What one worker asks for."""

    def __init__(self, sheds: Iterable[str], now: float) -> None:
        self._asked = dict.fromkeys(sheds, now)  # monotonic [s]
        self._changed: set[str] = set(self._asked)  # what was stored before this process is news, too

    def changed(self, shed: str) -> None:
        """There is news of this shed."""
        self._changed.add(shed)

    def due(self, now: float) -> list[str]:
        """The sheds to ask for now. Monotonic [s]"""
        found = [shed for shed, asked in self._asked.items() if now - asked >= self._wait(shed)]
        self._changed.difference_update(found)
        self._asked.update(dict.fromkeys(found, now))
        return found

    def _wait(self, shed: str) -> float:
        return BETWEEN if shed in self._changed else ROUTINE
