"""Once a local day, when each of several sheds has sealed it: one signed list of all their heads.

It lies beside the first shed's logbook, as ``heads-DAY.json``, and its code stands in every shed's. Law: a
day has one list, whoever is killed when: what is there is gone on with.
"""

from collections.abc import Callable, Iterable, Mapping
from datetime import date
from pathlib import Path
from typing import NamedTuple

from curewatch.clock import Instant
from curewatch.configuration import Configuration, logbook_path
from curewatch.daemon.child import Child, serve
from curewatch.units import HOUR, MINUTE


class HeadsRequest(NamedTuple):
    """What the child is given."""

    file: Path
    logbooks: dict[str, Path]
    day: date
    at: float  # UTC [s]
    stamp_authority: str | None
    stamp_roots_file: Path | None


class DailyHeads:
    """Remembers the day that was listed last."""

    def __init__(self, configuration: Configuration, say: Callable[[str, bool], None], now: Instant) -> None:
        self.configuration = configuration  # replaced on reload
        self._say = say  # words, and whether they are loud
        self._child = Child(__name__)
        self._asked: date | None = None
        self._next = now.monotonic  # when to look again [s]

    def look(self, sealed: Iterable[date | None], now: Instant) -> None:
        """Have the list made, if every shed has sealed the same day; say what was done."""
        self._collect(now)
        if now.monotonic < self._next or self._child.busy:
            return
        self._next = now.monotonic + MINUTE
        days = set(sealed)
        day = next(iter(days)) if len(days) == 1 else None
        if day is None or day == self._asked:
            return
        self._asked, kept = day, self.configuration.logbook
        places = {label: logbook_path(shed) for label, shed in self.configuration.each.items()}
        file = next(iter(places.values())).with_name(f"heads-{day}.json")
        authority, roots = kept.stamp_authority, kept.stamp_roots_file
        self._child.ask(HeadsRequest(file, places, day, now.utc, authority, roots))

    def _collect(self, now: Instant) -> None:
        answer = self._child.collect()
        if answer is None:
            return
        if answer.trouble:
            self._asked, self._next = None, now.monotonic + HOUR
            self._say(f"the heads of the sheds are not listed: {answer.trouble}", True)
        else:
            self._say(f"heads of all sheds listed; code {answer.said}", False)


def answer() -> None:
    """In the child."""
    serve(listed)


def listed(asked: HeadsRequest) -> str:
    """The code of the day's list, made or gone on with."""
    from curewatch.logbook.heads import written
    from curewatch.logbook.stamping import read_authority

    authority = read_authority(asked.stamp_authority, asked.stamp_roots_file)
    places: Mapping[str, Path] = asked.logbooks
    return written(asked.file, places, authority, asked.at, key=f"heads of {asked.day}").code
