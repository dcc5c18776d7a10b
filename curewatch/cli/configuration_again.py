"""The configuration of a board that stays open: what its file says now, not what it said at the start."""

from pathlib import Path

from curewatch.configuration import Configuration, load, logbook_path
from curewatch.errors import CurewatchError
from curewatch.shed.known_names import check_names
from curewatch.wording import Wording, wording


class ConfigurationAgain:
    """Read again where its file is another; one that is not valid, or of other logbooks, is not taken."""

    def __init__(self, whole: Configuration, units: str | None) -> None:
        self.whole = whole
        self._units = units
        self._read = self._state()

    def of(self, label: str) -> tuple[Configuration, Wording]:
        """Of one shed, and how its reader wants quantities."""
        state = self._state()
        if state not in (None, self._read):
            self._read = state
            self._take()
        shed = self.whole.each[label]
        return shed, wording(shed.zone, self._units, configured=shed.shed.units)

    def _take(self) -> None:
        try:
            fresh = load(self.whole.file)
            for shed in fresh.each.values():
                check_names(shed)
        except CurewatchError:  # the daemon says what is wrong with it
            return
        if _places(fresh) == _places(self.whole):
            self.whole = fresh

    def _state(self) -> tuple[int, int, int] | None:
        try:
            found = None if self.whole.file is None else self.whole.file.stat()
        except OSError:
            return None
        return None if found is None else (found.st_mtime_ns, found.st_size, found.st_ino)


def _places(whole: Configuration) -> dict[str, Path]:
    return {label: logbook_path(shed) for label, shed in whole.each.items()}
